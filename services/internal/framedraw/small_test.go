package framedraw_test

import (
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
)

// box is a parsed shed.
func box(t testing.TB, bents int) *frame.Frame {
	t.Helper()
	f, err := frame.Parse(frametest.Shed(bents))
	if err != nil {
		t.Fatalf("the shed is not valid: %v", err)
	}
	return f
}
