package units_test

import (
	"fmt"

	"github.com/pikepole/pikepole/services/platform/units"
)

func ExampleFeetInches() {
	fmt.Println(units.FeetInches(3746.5))
	fmt.Println(units.FeetInches(304.79))
	// Output:
	// 12'-3 1/2"
	// 1'-0"
}
