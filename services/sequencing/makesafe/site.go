package makesafe

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
)

// Where a foot may be set. Settings of ours, but for bracing's, which are the same here.
const (
	// edgeMM is kept between the foot of a brace and the edge of the deck: a cleat and its lags need wood around them.
	edgeMM = 100
	// stakeMM is kept between a stake and the edge of the deck.
	stakeMM = 300
	// feetMM is kept between the feet of two braces.
	feetMM = 250
	// cleatMM is half of the side of a cleat.
	cleatMM = 100
	// lowMM is the height of what is in the way of a cleat.
	lowMM = 120
	// overEdgeMM is kept between a brace to a stake and the edge of the deck below it.
	overEdgeMM = 120
)

// outside is how far a point lies outside the deck in plan; negative inside, −Inf where the outline is not known.
func (s Site) outside(p geom.Vec) float64 {
	n := len(s.Deck)
	if n < 3 {
		return math.Inf(-1)
	}
	near := math.Inf(1)
	q := geom.V(p.X, p.Y, 0)
	for i, a := range s.Deck {
		b := s.Deck[(i+1)%n]
		near = min(near, geom.DistanceToSegment(q, geom.V(a.X, a.Y, 0), geom.V(b.X, b.Y, 0)))
	}
	if geom.InsideXY(q, s.Deck) {
		return -near
	}
	return near
}

// stands says whether the foot of a brace may be set at a point of the deck or the ground.
func (s Site) stands(top, foot geom.Vec, g model.Ground) bool {
	out := s.outside(foot)
	if g == model.OnDeck {
		return out <= -edgeMM
	}
	if out < stakeMM {
		return false
	}
	// The brace passes over every edge between with room to spare.
	n := len(s.Deck)
	d := geom.Sub(foot, top)
	for i, a := range s.Deck {
		e := geom.Sub(s.Deck[(i+1)%n], a)
		cross := d.X*e.Y - d.Y*e.X
		if math.Abs(cross) < dustMM {
			continue
		}
		t := ((a.X-top.X)*e.Y - (a.Y-top.Y)*e.X) / cross
		k := ((a.X-top.X)*d.Y - (a.Y-top.Y)*d.X) / cross
		if t > 0 && t < 1 && k >= 0 && k <= 1 && top.Z+t*d.Z < overEdgeMM {
			return false
		}
	}
	return true
}
