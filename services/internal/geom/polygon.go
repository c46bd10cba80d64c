package geom

import (
	"cmp"
	"math"
	"slices"
)

// AreaXY is the signed area of the polygon seen from above; positive when its corners run
// counter-clockwise. Fewer than three corners enclose nothing.
func AreaXY(corners []Vec) float64 {
	twice := 0.0
	for i, p := range corners {
		q := corners[(i+1)%len(corners)]
		twice += p.X*q.Y - q.X*p.Y
	}
	return twice / 2
}

// InsideXY reports whether p, seen from above, lies in the polygon or on its edge.
func InsideXY(p Vec, corners []Vec) bool {
	inside := false
	for i, a := range corners {
		b := corners[(i+1)%len(corners)]
		if onSegmentXY(p, a, b) {
			return true
		}
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			inside = !inside
		}
	}
	return inside
}

func onSegmentXY(p, a, b Vec) bool {
	const tol = 1e-9
	abx, aby := b.X-a.X, b.Y-a.Y
	apx, apy := p.X-a.X, p.Y-a.Y
	length := math.Hypot(abx, aby)
	if length == 0 {
		return math.Hypot(apx, apy) <= tol
	}
	along := (apx*abx + apy*aby) / length
	return math.Abs(abx*apy-aby*apx)/length <= tol && along >= -tol && along <= length+tol
}

// HullXY is the convex hull of the points seen from above, counter-clockwise, at height 0.
func HullXY(points []Vec) []Vec {
	ps := make([]Vec, len(points))
	for i, p := range points {
		ps[i] = Vec{X: p.X, Y: p.Y}
	}
	slices.SortFunc(ps, func(a, b Vec) int {
		return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y))
	})
	ps = slices.Compact(ps)
	if len(ps) < 3 {
		return ps
	}
	half := func(order func(func(Vec))) []Vec {
		var chain []Vec
		order(func(p Vec) {
			for len(chain) >= 2 && crossXY(chain[len(chain)-2], chain[len(chain)-1], p) <= 0 {
				chain = chain[:len(chain)-1]
			}
			chain = append(chain, p)
		})
		return chain[:len(chain)-1]
	}
	lower := half(func(visit func(Vec)) {
		for _, p := range ps {
			visit(p)
		}
	})
	upper := half(func(visit func(Vec)) {
		for _, p := range slices.Backward(ps) {
			visit(p)
		}
	})
	return append(lower, upper...)
}

func crossXY(o, a, b Vec) float64 { return (a.X-o.X)*(b.Y-o.Y) - (a.Y-o.Y)*(b.X-o.X) }

// DistanceToSegment is how far p is from the stretch between a and b.
func DistanceToSegment(p, a, b Vec) float64 {
	return Dist(p, NearestOnSegment(p, a, b))
}

// NearestOnSegment is the point between a and b that is nearest to p.
func NearestOnSegment(p, a, b Vec) Vec {
	ab := Sub(b, a)
	l2 := Dot(ab, ab)
	if l2 == 0 {
		return a
	}
	t := min(1, max(0, Dot(Sub(p, a), ab)/l2))
	return Along(a, t, ab)
}
