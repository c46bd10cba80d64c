package frame_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// The centre of gravity of composite bodies, each "b×d×length@x,y" in inches and feet with its own centroid in
// feet: laid out as sticks along X with Y as height, each on a base of its own.
func TestPublishedBodies(t *testing.T) {
	t.Parallel()
	file, err := os.Open(filepath.Join("..", "..", "..", "testdata", "published", "bodies.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		var density, x, y, weight, tolerance float64
		var bodies string
		scan(t, row[1], "weight_lb_per_ft3=%g;bodies=%s", &density, &bodies)
		scan(t, row[2], "%g %g %g", &x, &y, &weight)
		scan(t, row[3], "%g", &tolerance)
		const foot, inch = 304.8, 25.4
		var d frame.Draft
		for i, body := range strings.Split(bodies, "|") {
			var b, depth, length, cx, cy float64
			scan(t, body, "%gx%gx%g@%g,%g", &b, &depth, &length, &cx, &cy)
			stick := portal().Timbers[0]
			stick.Mark, stick.Assembly, stick.WidthMM, stick.DepthMM = fmt.Sprint(i), "", b*inch, depth*inch
			stick.Start, stick.End = geom.V((cx-length/2)*foot, 0, cy*foot), geom.V((cx+length/2)*foot, 0, cy*foot)
			d.Timbers = append(d.Timbers, stick)
			d.Joints = append(d.Joints, frame.Joint{
				ID: fmt.Sprint(i), Kind: joinery.PostBaseBearing, Entering: stick.Mark, EnteringEnd: frame.AtStart, At: stick.Start,
			})
		}
		f := frametest.Parse(t, d)
		all, volume := make([]int, len(d.Timbers)), 0.0
		for i := range all {
			all[i] = i
			volume += f.Solid(i).VolumeMM3
		}
		_, cg := f.Weigh(all)
		got := [3]float64{cg.X / foot, cg.Z / foot, volume / (foot * foot * foot) * density}
		held := row[5] == "published" || row[5] == "computed"
		for k, want := range [3]float64{x, y, weight} {
			if math.Abs(got[k]-want) > tolerance && held {
				t.Errorf("%s: %v, want %s (%s)", row[1], got, row[2], row[4])
			}
		}
	}
}

func scan(t *testing.T, text, format string, into ...any) {
	t.Helper()
	if _, err := fmt.Sscanf(text, format, into...); err != nil {
		t.Fatalf("%q: %v", text, err)
	}
}
