package standing

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// golden reads the golden rows of the hand-formula set on wind and overturning (v21), by name.
func golden(t *testing.T) map[string]float64 {
	t.Helper()
	text, err := os.ReadFile("../../../testdata/statics/v21_wind_and_overturning.json")
	if err != nil {
		t.Fatal(err)
	}
	var set struct {
		Rows []struct {
			Name     string
			Expected float64
			Golden   bool
		}
	}
	if err := json.Unmarshal(text, &set); err != nil {
		t.Fatal(err)
	}
	rows := map[string]float64{}
	for _, r := range set.Rows {
		if r.Golden {
			rows[r.Name] = r.Expected
		}
	}
	return rows
}

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if math.Abs(got-want) > share*math.Abs(want) {
		t.Errorf("%s is %.7g, want %.7g within %g", what, got, want, share)
	}
}

func TestPressure(t *testing.T) {
	t.Parallel()
	rows := golden(t)
	r := DefaultRules()
	near(t, "q at 10 m/s", r.PressurePa(10), rows["asce_q_10ms"], 1e-9)
	// 115 mph, Kz·Kd = 0.85·0.85; 1 mph is 0.44704 m/s.
	r.Exposure = 0.85 * 0.85
	near(t, "q at 115 mph", r.PressurePa(115*0.44704), rows["asce_q_115mph_expC_4m6"], 1e-4)
	// A factor of 0.75 is on the speed, so 0.5625 on the pressure (v21, arithmetic).
	whole := r.PressurePa(20)
	r.PeriodFactor = 0.75
	near(t, "q in a short period", r.PressurePa(20), 0.5625*whole, 1e-12)
}

func TestWindOnSticks(t *testing.T) {
	t.Parallel()
	rows := golden(t)
	r := DefaultRules()
	post := geom.AxesOf(geom.V(0, 0, 0), geom.V(0, 0, 3000), 0)
	near(t, "the force on a post", 3*r.WindPerM(10, post, 200, 200, geom.V(0, 1, 0)), rows["post_200_3m_10ms_cf2"], 1e-9)

	// The bent of the reference, b18: its sticks on their centre lines in the plane of X and Z, the size seen along Y.
	area, force, moment := 0.0, 0.0, 0.0
	for _, s := range []struct{ x1, z1, x2, z2, b float64 }{
		{0, 0, 0, 3, 0.2},
		{7.2, 0, 7.2, 3, 0.2},
		{0, 3, 7.2, 3, 0.25},
		{0, 3, 3.6, 5.7, 0.2},
		{7.2, 3, 3.6, 5.7, 0.2},
		{3.6, 3, 3.6, 5.7, 0.2},
		{3.6, 3.6, 1.8, 4.35, 0.15},
		{3.6, 3.6, 5.4, 4.35, 0.15},
		{0, 2.2, 0.8, 3, 0.15},
		{7.2, 2.2, 6.4, 3, 0.15},
	} {
		a, b := geom.V(s.x1, 0, s.z1), geom.V(s.x2, 0, s.z2)
		perM := r.WindPerM(10, geom.AxesOf(a, b, 0), 1000*s.b, 1000*s.b, geom.V(0, 1, 0))
		l := geom.Dist(a, b)
		area, force, moment = area+s.b*l, force+perM*l, moment+perM*l*(s.z1+s.z2)/2
	}
	near(t, "the area of the bent", area, rows["bent_frontal_area_normal_wind"], 1e-6)
	near(t, "the force on the bent", force, rows["bent_wind_force_10ms_cf2"], 1e-6)
	near(t, "the moment on the bent", moment, rows["bent_overturning_moment_about_deck"], 1e-6)
	speed := 10 * math.Sqrt(rows["lone_bent_righting_moment_200mm_posts"]/moment)
	near(t, "the speed that tips the bent", speed, rows["lone_bent_speed_at_FS_1"], 1e-6)
}

func TestWindSlantsOff(t *testing.T) {
	t.Parallel()
	r := DefaultRules()
	along := geom.AxesOf(geom.V(0, 0, 0), geom.V(4000, 0, 0), 0)
	if got := r.WindPerM(10, along, 200, 250, geom.V(1, 0, 0)); got != 0 {
		t.Errorf("wind along a stick presses with %g N/m on its length", got)
	}
	// At 30 degrees to the wind half of the length is seen, and the depth across it.
	slanted := geom.AxesOf(geom.V(0, 0, 0), geom.V(4000*math.Cos(math.Pi/6), 4000*math.Sin(math.Pi/6), 0), 0)
	near(t, "wind on a slanted stick", r.WindPerM(10, slanted, 200, 250, geom.V(1, 0, 0)), 61.3*2*0.25*0.5, 1e-9)
	// A square post turned by 45 degrees shows its diagonal.
	turned := geom.AxesOf(geom.V(0, 0, 0), geom.V(0, 0, 3000), 45)
	near(t, "wind on a turned post", r.WindPerM(10, turned, 200, 200, geom.V(0, 1, 0)), 61.3*2*0.2*math.Sqrt2, 1e-9)
}

// Two bents of the same sticks, one behind the other: in a wind square to them the second is spared its share, in one along
// them hardly anything is.
func TestShielding(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	standing := standingOf(f, bentOf(t, f, 0), bentOf(t, f, 1))
	total := func(shielding float64, way int) float64 {
		r := DefaultRules()
		r.Shielding = shielding
		c := NewChecker(f, r)
		s, err := c.prepare(Situation{Standing: standing, Pegged: pegged(f, true)})
		if err != nil {
			t.Fatal(err)
		}
		e, sum := s.ends[0], 0.0
		for _, l := range e.breeze[way] {
			sum += geom.Norm(l.W) * e.long[l.Member]
		}
		return sum
	}
	bare, spared := total(0, 0), total(0.5, 0)
	// One of two bents in the lee, spared half: three quarters are left, less what a bent shields of itself.
	if share := spared / bare; share > 0.76 || share < 0.6 {
		t.Errorf("of the wind square to the bents %.2f is left", share)
	}
	near(t, "the wind from the other side", total(0.5, 1), spared, 0.02)
	if share := total(0.5, 2) / total(0, 2); share < 0.5 || share > 1 {
		t.Errorf("of the wind along the bents %.2f is left", share)
	}
}
