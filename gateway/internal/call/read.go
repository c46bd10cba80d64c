package call

import (
	"net/http"

	"github.com/pikepole/pikepole/gateway/internal/problem"
	"github.com/pikepole/pikepole/gateway/internal/wire"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// Unreadable is the refusal of a body that cannot be read as the message it should be; nil when the error is
// another.
func Unreadable(err error) *problem.Document {
	mistake, ok := wire.ParseMistake(err.Error())
	if !ok {
		return nil
	}
	if mistake.Field == "" {
		return problem.New(http.StatusBadRequest, fault.ReasonInvalid, mistake.Message)
	}
	d := problem.New(http.StatusBadRequest, fault.ReasonInvalid, mistake.Field+" "+mistake.Message+".")
	return d.WithField(mistake.Field, mistake.Message)
}
