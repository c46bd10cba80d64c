package units_test

import (
	"fmt"
	"strings"

	"pgregory.net/rapid"
)

// read takes a length as written apart, by other means than it was put together.
func read(t *rapid.T, text string) (feet, inches, num, den int) {
	den = 1
	text = strings.TrimPrefix(text, "-")
	var err error
	if strings.Contains(text, "/") {
		_, err = fmt.Sscanf(text, `%d'-%d %d/%d"`, &feet, &inches, &num, &den)
	} else {
		_, err = fmt.Sscanf(text, `%d'-%d"`, &feet, &inches)
	}
	if err != nil {
		t.Fatalf("%s can not be read: %v", text, err)
	}
	return feet, inches, num, den
}
