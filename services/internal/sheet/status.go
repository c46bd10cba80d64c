package sheet

import (
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// Status is how far a figure can be trusted, as a message.
func Status(s wood.Status) sheetv1.SourceStatus {
	switch s {
	case wood.Published:
		return sheetv1.SourceStatus_SOURCE_STATUS_PUBLISHED
	case wood.Computed:
		return sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED
	case wood.CommonPractice:
		return sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE
	}
	return sheetv1.SourceStatus_SOURCE_STATUS_FROM_MEMORY
}
