package gateway

import _ "embed"

// description is the published OpenAPI description. The routes of the gateway are checked
// against it, so that what it says is what happens.
//
//go:embed openapi/openapi.json
var description string
