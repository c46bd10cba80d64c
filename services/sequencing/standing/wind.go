package standing

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// pressureFactor is half the density of air in q = 0.613·Kz·Kzt·Kd·V² (ASCE 7, Pa and m/s).
const pressureFactor = 0.613

// PressurePa is the velocity pressure of a gust in m/s: q = 0.613·Exposure·(PeriodFactor·V)², ASCE 7 in SI units. The
// factor for the construction period is on the speed, so its square is on the pressure.
func (r Rules) PressurePa(gustMPS float64) float64 {
	v := r.PeriodFactor * gustMPS
	return pressureFactor * r.Exposure * v * v
}

// WindPerM is the force of the wind on a metre of a stick, in N/m along the wind: w = q·cf·b·sin φ, with b in metres the
// extent of its section across wind and axis and φ the angle between the wind and its axis. The extent of the whole
// section is taken from shoulder to shoulder, so overlaps at joints count twice.
func (r Rules) WindPerM(gustMPS float64, axes geom.Axes, widthMM, depthMM float64, wind geom.Vec) float64 {
	across := geom.Cross(wind, axes.Axis)
	sine := geom.Norm(across)
	if sine < 1e-9 {
		return 0
	}
	b := axes.Extent(widthMM, depthMM, geom.Scale(1/sine, across)) / 1000
	return r.PressurePa(gustMPS) * r.ForceCoefficient * b * sine
}

// pressOf is the force of a gust of 1 m/s on a metre of each timber in the four directions.
func pressOf(f *frame.Frame, r Rules, ways [4]way) [][4]float64 {
	press := make([][4]float64, len(f.Timbers()))
	for i, t := range f.Timbers() {
		for k, w := range ways {
			press[i][k] = r.WindPerM(1, f.Axes(i), t.WidthMM, t.DepthMM, w.dir)
		}
	}
	return press
}

// breeze are the line loads of a gust of 1 m/s in the four directions on every member of a structure, braces included.
// A brace is taken with its broad side across the wind, since nobody says how it is turned.
func (c *Checker) breeze(st *model.Structure, braces []model.Brace) [4][]statics.LineLoad {
	var loads [4][]statics.LineLoad
	var lee *lee
	if c.rules.Shielding > 0 {
		lee = newLee(c.frame, st)
	}
	for i := range loads {
		loads[i] = make([]statics.LineLoad, 0, len(st.Parts))
	}
	for m, p := range st.Parts {
		for i, w := range c.ways {
			var perM float64
			if p.Timber >= 0 {
				perM = c.press[p.Timber][i]
			} else {
				a, b := endsOf(st.Model, m)
				broad := math.Max(braces[p.Brace].WidthMM, braces[p.Brace].DepthMM) / 1000
				perM = c.rules.PressurePa(1) * c.rules.ForceCoefficient * broad * geom.Norm(geom.Cross(w.dir, geom.Unit(geom.Sub(b, a))))
			}
			if lee != nil {
				perM *= 1 - c.rules.Shielding*lee.share(m, w.dir)
			}
			if perM > 0 {
				loads[i] = append(loads[i], statics.LineLoad{Member: m, W: geom.Scale(perM, w.dir)})
			}
		}
	}
	return loads
}

// endsOf are the ends of a member in metres, its arms counted.
func endsOf(m *statics.Model, i int) (a, b geom.Vec) {
	x := &m.Members[i]
	return geom.Add(m.Nodes[x.I].At, x.ArmI), geom.Add(m.Nodes[x.J].At, x.ArmJ)
}

// lee finds which members stand behind others.
type lee struct {
	model *statics.Model
	parts []model.Part
	// reach is half the larger side of each member's section, in metres.
	reach []float64
}

func newLee(f *frame.Frame, st *model.Structure) *lee {
	l := &lee{model: st.Model, parts: st.Parts, reach: make([]float64, len(st.Parts))}
	for m, p := range st.Parts {
		if p.Timber >= 0 {
			t := f.Timbers()[p.Timber]
			l.reach[m] = math.Min(t.WidthMM, t.DepthMM) / 2000
		}
	}
	return l
}

// share is how much of a member lies behind other timbers in a wind: of three points along it, those from which a line
// against the wind meets another timber.
func (l *lee) share(m int, wind geom.Vec) float64 {
	a, b := endsOf(l.model, m)
	hidden := 0.0
	for _, at := range [...]float64{1.0 / 6, 0.5, 5.0 / 6} {
		if l.hidden(m, geom.Along(a, at, geom.Sub(b, a)), wind) {
			hidden += 1.0 / 3
		}
	}
	return hidden
}

func (l *lee) hidden(m int, p, wind geom.Vec) bool {
	for o, part := range l.parts {
		if part.Timber < 0 || part.Timber == l.parts[m].Timber {
			continue
		}
		a, b := endsOf(l.model, o)
		d := geom.Sub(b, a)
		// Seen along the wind, where is the other's axis nearest to the point?
		flat := geom.Along(d, -geom.Dot(d, wind), wind)
		from := geom.Sub(p, a)
		from = geom.Along(from, -geom.Dot(from, wind), wind)
		length := geom.Dot(flat, flat)
		if length == 0 {
			continue
		}
		s := min(max(geom.Dot(from, flat)/length, 0), 1)
		nearest := geom.Along(a, s, d)
		before := geom.Dot(geom.Sub(p, nearest), wind) > l.reach[o]
		if before && geom.Norm(geom.Along(from, -s, flat)) <= l.reach[o] {
			return true
		}
	}
	return false
}
