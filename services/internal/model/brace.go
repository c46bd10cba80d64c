package model

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/statics"
)

const (
	// mostSlender is the most le/d of a brace that is counted on to push: the limit of the wood standard for columns during
	// construction, from memory.
	mostSlender = 75
	// shortestMM is the least length of a brace.
	shortestMM = 100
	// besideMM is how far beyond the brace's own size its end may lie outside the stick that it is fixed to.
	besideMM = 50
	// offDeckMM is how far from the level of the deck the foot of a brace on it may lie.
	offDeckMM = 500
	// touchMM is how deep a brace may reach into a stick and still count as touching it.
	touchMM = 5
)

// braces puts the temporary braces in.
func (w *work) braces(hooks []hook) {
	w.out.BraceMembers = make([]int, len(w.s.Braces))
	for k := range w.s.Braces {
		br := &w.s.Braces[k]
		top, foot := metres(br.Top), metres(br.Foot)
		m := statics.Member{
			Name: br.Name, Kind: statics.Bar, I: w.nodeOf(hooks[2*k]),
			Material: statics.Material{E: br.EPa, G: br.EPa / shearRatio, Rho: br.DensityKgPerM3},
			Section:  statics.Rectangle(br.WidthMM*1e-3, br.DepthMM*1e-3),
		}
		if br.PullOnly {
			m.Kind = statics.Tie
		}
		m.ArmI = geom.Sub(top, w.m.Nodes[m.I].At)
		m.GripI.Hold[statics.UX].K = br.TopNPerM
		m.GripJ.Hold[statics.UX].K = br.FootNPerM
		if br.Ground == OnTimber {
			m.J = w.nodeOf(hooks[2*k+1])
			m.ArmJ = geom.Sub(foot, w.m.Nodes[m.J].At)
		} else {
			m.J = len(w.m.Nodes)
			name := "foot of " + br.Name
			w.m.Nodes = append(w.m.Nodes, statics.Node{Name: name, At: foot})
			w.m.Supports = append(w.m.Supports, statics.Support{
				Name: name, Node: m.J, Fixed: [6]bool{true, true, true, true, true, true},
			})
		}
		w.out.BraceMembers[k] = len(w.m.Members)
		w.m.Members = append(w.m.Members, m)
		w.out.Parts = append(w.out.Parts, Part{Timber: -1, Brace: k, ToMM: geom.Dist(br.Top, br.Foot)})
	}
}

// checkBrace names what is wrong with a brace.
func (w *work) checkBrace(br *Brace) error {
	name := br.Name
	if name == "" {
		name = "a brace without a name"
	}
	if br.Timber < 0 || br.Timber >= len(w.b.sticks) || !w.standing[br.Timber] {
		return fault(name, "it holds no timber that stands; name one")
	}
	if !geom.Finite(br.Top) || !geom.Finite(br.Foot) {
		return fault(name, "an end of it is not a point; give numbers")
	}
	for _, v := range [...]struct {
		what        string
		is          float64
		least, most float64
		unit        string
	}{
		{"width", br.WidthMM, 5, 1000, "mm"},
		{"depth", br.DepthMM, 5, 1000, "mm"},
		{"modulus", br.EPa, 1e8, 1e12, "Pa"},
		{"density", br.DensityKgPerM3, 0, 20_000, "kg/m³"},
		{"stiffness of its top fastening", br.TopNPerM, 1e3, 1e12, "N/m"},
		{"stiffness of its foot", br.FootNPerM, 1e3, 1e12, "N/m"},
		{"length", geom.Dist(br.Top, br.Foot), shortestMM, 30_000, "mm"},
	} {
		if !(v.is >= v.least && v.is <= v.most) {
			return fault(name, "its %s, %.4g %s, is not between %.4g and %.4g; put it right", v.what, v.is, v.unit, v.least, v.most)
		}
	}
	if thin, length := min(br.WidthMM, br.DepthMM), geom.Dist(br.Top, br.Foot); !br.PullOnly && length > mostSlender*thin {
		return fault(name, "it is %.0f times as long as it is thick, at most %d for a brace that pushes; shorten it, use stouter lumber or count it to pull only",
			length/thin, mostSlender)
	}
	if err := w.checkEnd(name, "top", br, br.Timber, br.Top); err != nil {
		return err
	}
	switch br.Ground {
	case OnDeck:
		if math.Abs(br.Foot.Z) > offDeckMM {
			return fault(name, "its foot is on the deck but lies %.0f mm from its level; put the foot right", br.Foot.Z)
		}
	case OnGround:
	case OnTimber:
		if br.FootTimber < 0 || br.FootTimber >= len(w.b.sticks) || !w.standing[br.FootTimber] {
			return fault(name, "its foot is on no timber that stands; name one")
		}
		if br.FootTimber == br.Timber {
			return fault(name, "both of its ends are on %s; fix one to another timber or to the deck", w.b.sticks[br.Timber].mark)
		}
		return w.checkEnd(name, "foot", br, br.FootTimber, br.Foot)
	default:
		return fault(name, "it is not known what its foot is fixed to; say deck, ground or timber")
	}
	return nil
}

func (w *work) checkEnd(name, end string, br *Brace, timber int, at geom.Vec) error {
	s := &w.b.sticks[timber]
	if off := s.solid.DistanceMM(at); off > max(br.WidthMM, br.DepthMM)+besideMM {
		return fault(name, "its %s lies %.0f mm off %s, which it should hold; move it onto the timber", end, off, s.mark)
	}
	return nil
}

// Through finds the first of the timbers, by index, that a brace passes through. Its own timbers count only when it runs in
// at one side and out at another; any other may be touched, but not cut into by more than 5 mm. The brace is taken as thick as
// its thinner side, all round.
func Through(f *frame.Frame, br *Brace, timbers []int) (timber int, through bool) {
	box := geom.BoxOf(br.Top, br.Foot).Grow(reach(br))
	for _, i := range timbers {
		s := f.Stick(i)
		if box.Overlaps(boxOf(s)) && pierces(s, br, i) {
			return i, true
		}
	}
	return 0, false
}

// reach is how far a brace counts as reaching from its centre line.
func reach(br *Brace) float64 { return max(min(br.WidthMM, br.DepthMM)/2-touchMM, 0) }

// pierces reports whether a brace passes through stick i.
func pierces(s joinery.Stick, br *Brace, i int) bool {
	own := i == br.Timber || br.Ground == OnTimber && i == br.FootTimber
	grow := reach(br)
	if own {
		grow = -touchMM
	}
	from, to, hit := crossing(s, br.Top, br.Foot, grow)
	if !hit {
		return false
	}
	return !own || from > 0 && to < 1
}

// crossing is the stretch of a segment, as shares of it, inside a square-ended stick grown on all sides.
func crossing(s joinery.Stick, p, q geom.Vec, grow float64) (from, to float64, hit bool) {
	a, w, d := s.Axes.Local(geom.Sub(p, s.Start))
	da, dw, dd := s.Axes.Local(geom.Sub(q, p))
	from, to = 0, 1
	half := s.ShoulderMM() / 2
	for _, slab := range [3][3]float64{
		{a - half, da, half + grow}, {w, dw, s.WidthMM/2 + grow}, {d, dd, s.DepthMM/2 + grow},
	} {
		x, dx, h := slab[0], slab[1], slab[2]
		if math.Abs(dx) < 1e-9 {
			if math.Abs(x) >= h {
				return 0, 0, false
			}
			continue
		}
		t0, t1 := (-h-x)/dx, (h-x)/dx
		if t0 > t1 {
			t0, t1 = t1, t0
		}
		from, to = max(from, t0), min(to, t1)
	}
	return from, to, from < to
}
