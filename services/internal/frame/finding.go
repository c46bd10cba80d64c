package frame

import (
	"fmt"
	"strings"
)

// Finding is one fault or warning.
type Finding struct {
	// Field is the path of the field, such as timbers[3].width_mm.
	Field string
	// Piece is the mark or id of the piece or joint; empty when there is none.
	Piece string
	// Message says what is wrong and what to do, as a sentence.
	Message string
}

// String is the finding on one line.
func (f Finding) String() string {
	if f.Piece == "" {
		return fmt.Sprintf("%s: %s", f.Field, f.Message)
	}
	return fmt.Sprintf("%s (%s): %s", f.Field, f.Piece, f.Message)
}

// Faults is the error of Parse: everything that is wrong with a draft.
type Faults struct {
	Faults []Finding
}

// Error names the first faults and says how many there are.
func (f *Faults) Error() string {
	const shown = 3
	var b strings.Builder
	fmt.Fprintf(&b, "the frame has %d faults", len(f.Faults))
	if len(f.Faults) == 1 {
		b.Reset()
		b.WriteString("the frame has a fault")
	}
	for i, fault := range f.Faults {
		if i == shown {
			b.WriteString("; …")
			break
		}
		b.WriteString("; ")
		b.WriteString(fault.String())
	}
	return b.String()
}
