package z88

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

const (
	// stiff is how many times stiffer than what it carries a rigid part is.
	stiff = 2000
	// faint is the stiffness of what is free, as a share of what is held.
	faint = 1e-6
	// short is how long, in metres, a short soft member is. Shorter ones are so stiff in bending that the solver loses its
	// digits: at half a millimetre whole percents.
	short = 0.005
	// nearby is how near, in metres, two places are that are one.
	nearby = 1e-6
	// modulus is that of parts that stand for springs and rigid arms, in Pa. Any would do.
	modulus = 1e9
)

// stiffness is what rigid parts near a member or a spring are measured by.
type stiffness struct {
	// along is in N/m and turn in N·m/rad.
	along, turn float64
}

// localAxes are x from end to end, z = x × yref and y = z × x, as package statics defines them.
func localAxes(x, yref geom.Vec) [3]geom.Vec {
	if yref == (geom.Vec{}) {
		yref = geom.Vec{Z: 1}
		if math.Hypot(x.X, x.Y) < 1e-3 {
			yref = geom.Vec{X: 1}
		}
	}
	z := geom.Unit(geom.Cross(x, yref))
	return [3]geom.Vec{x, geom.Cross(z, x), z}
}

func (b *builder) ends(p *statics.Member) (from, to geom.Vec) {
	return geom.Add(b.m.Nodes[p.I].At, p.ArmI), geom.Add(b.m.Nodes[p.J].At, p.ArmJ)
}

// member adds a member with its arms, grips and loads.
func (b *builder) member(i int) error {
	p := &b.m.Members[i]
	from, to := b.ends(p)
	x := geom.Unit(geom.Sub(to, from))
	axes := localAxes(x, p.YRef)
	b.axes = append(b.axes, axes)
	b.first, b.last, b.shares = append(b.first, -1), append(b.last, -1), append(b.shares, [2]statics.Vec6{})
	if b.final != nil && len(b.final.Idle) > i && b.final.Idle[i] {
		b.share(i, from, to) // its weight is there all the same
		return nil
	}
	l, e, s := geom.Dist(from, to), p.Material.E, p.Section
	if p.Kind != statics.Beam {
		k := 1 / (l/(e*s.A) + give(p.GripI) + give(p.GripJ))
		near := stiffness{k, 0}
		thin := 1e-9 * k * l * l * l / e
		at := b.beam(beam{
			i: b.arm(p.I, from, near), j: b.arm(p.J, to, near), e: e, a: k * l / e, level: thin, other: thin, it: thin,
		})
		b.first[i], b.last[i] = at, at
		b.share(i, from, to)
		return nil
	}
	level, other := s.Iy, s.Iz // about local y and z
	switch {
	case math.Abs(axes[1].Z) < 1e-6 && (math.Hypot(x.X, x.Y) > 1e-6 || math.Abs(axes[1].X) < 1e-6):
	case math.Abs(axes[2].Z) < 1e-6 && (math.Hypot(x.X, x.Y) > 1e-6 || math.Abs(axes[2].X) < 1e-6):
		level, other = other, level
	case math.Abs(level-other) > 1e-9*level:
		return errNotLevel
	}
	long := max(l, 1) // the pieces of a timber can be short
	near := stiffness{e * s.A / long, e * max(s.Iy, s.Iz) / long}
	pulled := b.pulled(i)
	start := b.grip(p.I, from, axes, gripOf(p.GripI, pulled[0]), near)
	end := b.grip(p.J, to, axes, gripOf(p.GripJ, pulled[1]), near)
	b.pieces(i, start, end, beam{e: e, a: s.A, level: level, other: other, it: s.J * p.Material.G / (e / 2)})
	return nil
}

// give is the flexibility of a bar's end spring in m/N.
func give(g statics.Grip) float64 {
	h := g.Hold[statics.UX]
	if h.K > 0 {
		return 1 / h.K
	}
	return 0
}

func (b *builder) pulled(i int) [2]bool {
	if b.final == nil || len(b.final.Pulled) <= i {
		return [2]bool{}
	}
	return b.final.Pulled[i]
}

// gripOf is how an end is held once it is known whether it pulls.
func gripOf(g statics.Grip, pulled bool) [6]statics.Hold {
	h := g.Hold
	if pulled && g.Pull != nil {
		h[statics.UX] = *g.Pull
	}
	return h
}

// arm is a rigid arm from a node to a place; it gives the node there.
func (b *builder) arm(from int, at geom.Vec, near stiffness) int {
	if geom.Dist(b.nodes[from].at, at) < nearby {
		return from
	}
	to := b.node(at)
	b.rigid(from, to, near)
	return to
}

// join joins two nodes rigidly, by way of a third when they lie at one place.
func (b *builder) join(from, to int, near stiffness) {
	if at := b.nodes[to].at; geom.Dist(b.nodes[from].at, at) < nearby {
		from = b.arm(from, geom.Along(at, short, geom.Up()), near)
	}
	b.rigid(from, to, near)
}

func (b *builder) rigid(from, to int, near stiffness) {
	l := geom.Dist(b.nodes[from].at, b.nodes[to].at)
	i := stiff * max(near.turn*l, near.along*l*l*l/3) / modulus
	b.beam(beam{i: from, j: to, e: modulus, a: stiff * near.along * l / modulus, level: i, other: i, it: 2 * i})
}

// grip adds the arm and the soft parts between a node and a member's end, and gives the node at the member's end.
func (b *builder) grip(from int, at geom.Vec, axes [3]geom.Vec, h [6]statics.Hold, near stiffness) int {
	parts := softOf(axes, h, near)
	if len(parts) == 0 {
		return b.arm(from, at, near)
	}
	if turn := turning(h); turn > 0 {
		near.turn = max(turn, near.turn/stiff)
	}
	return b.chain(from, at, parts, near)
}

// turning is the stiffest spring of an end that is rigid in no turn, or 0: what is rigid beside it need not be measured by the
// member, and the less stiff it is, the more digits are left.
func turning(h [6]statics.Hold) float64 {
	most := 0.0
	for _, turn := range h[3:] {
		if turn == (statics.Hold{}) {
			return 0
		}
		most = max(most, turn.K)
	}
	return most
}

// soft is a short member of a chain.
type soft struct {
	along geom.Vec
	// k and turn are its stiffness along and about its axis, in N/m and N·m/rad.
	k, turn float64
}

// softOf are the short members that stand in for holds that are not rigid.
func softOf(axes [3]geom.Vec, h [6]statics.Hold, near stiffness) []soft {
	var out []soft
	for a := range 3 {
		if h[a] == (statics.Hold{}) && h[a+3] == (statics.Hold{}) {
			continue
		}
		out = append(out, soft{axes[a], holdOf(h[a], near.along), holdOf(h[a+3], near.turn)})
	}
	return out
}

func holdOf(h statics.Hold, near float64) float64 {
	switch {
	case h.Free:
		return faint * near
	case h.K > 0:
		return h.K
	}
	return stiff * near
}

// chain joins a node to a place by soft members, one after another, and gives the node there. All of them end at the place, and
// rigid members lead to their beginnings: a force through the place must not turn any of them.
func (b *builder) chain(from int, at geom.Vec, parts []soft, near stiffness) int {
	for _, p := range parts {
		begin, end := b.arm(from, geom.Along(at, -short, p.along), near), b.node(at)
		i := stiff * near.turn * short / modulus
		b.beam(beam{
			i: begin, j: end, e: modulus, a: p.k * short / modulus, level: i, other: i, it: p.turn * short / (modulus / 2),
		})
		from = end
	}
	return from
}

// span is an even load between two places of a member, and stop a load at one.
type span struct {
	from, to float64
	w        geom.Vec
}

// loads are the loads of the case on member i: spans, and point loads by their places.
func (b *builder) loads(i int, l float64) (spans []span, points []statics.PointLoad) {
	p := &b.m.Members[i]
	spans = append(spans, span{0, l, geom.Scale(p.Material.Rho*p.Section.A, b.c.Gravity)})
	for _, q := range b.c.Line {
		if q.Member == i {
			to := q.To
			if to == 0 {
				to = l
			}
			spans = append(spans, span{q.From, to, q.W})
		}
	}
	for _, q := range b.c.Point {
		if q.Member == i {
			points = append(points, q)
		}
	}
	return spans, points
}

// pieces cuts a member where its loads change and adds the pieces with their loads.
func (b *builder) pieces(i, start, end int, like beam) {
	from, to := b.nodes[start].at, b.nodes[end].at
	p := &b.m.Members[i]
	whole := geom.Dist(geom.Add(b.m.Nodes[p.I].At, p.ArmI), geom.Add(b.m.Nodes[p.J].At, p.ArmJ))
	spans, points := b.loads(i, whole)
	cuts := []float64{0, whole}
	for _, s := range spans {
		cuts = append(cuts, s.from, s.to)
	}
	for _, q := range points {
		cuts = append(cuts, q.At)
	}
	slices.Sort(cuts)
	cuts = slices.CompactFunc(cuts, func(x, y float64) bool { return math.Abs(y-x) < 1e-6*whole })
	at := start
	for k := 1; k < len(cuts); k++ {
		next := end
		if k < len(cuts)-1 {
			next = b.node(geom.Along(from, cuts[k]/whole, geom.Sub(to, from)))
		}
		e := like
		e.i, e.j = at, next
		last := b.beam(e)
		if k == 1 {
			b.first[i] = last
		}
		b.last[i] = last
		for _, s := range spans {
			if s.from < cuts[k]-1e-9 && s.to > cuts[k-1]+1e-9 {
				b.even(last, s.w, cuts[k]-cuts[k-1])
			}
		}
		for _, q := range points {
			b.point(q, last, k, cuts)
		}
		at = next
	}
}

// point puts a point load on the cut that it made. One on the very end of a member is still the member's, not the node's: it counts
// between the two.
func (b *builder) point(q statics.PointLoad, at, k int, cuts []float64) {
	whole, f := cuts[len(cuts)-1], force(q.F, q.M)
	e := &b.beams[at]
	switch {
	case math.Abs(q.At-cuts[k]) < 2e-6*whole:
		add(&b.nodes[e.j].load, f)
		if k == len(cuts)-1 {
			add(&e.even[1], f)
		}
	case k == 1 && q.At < 2e-6*whole:
		add(&b.nodes[e.i].load, f)
		add(&e.even[0], f)
	}
}

// even puts the loads at the nodes of a beam that do the work of an even load of w newtons a metre over l metres: half of it at
// either end, and w·l²/12 of turning against each other.
func (b *builder) even(at int, w geom.Vec, l float64) {
	e := &b.beams[at]
	x := geom.Unit(geom.Sub(b.nodes[e.j].at, b.nodes[e.i].at))
	half, turn := geom.Scale(l/2, w), geom.Scale(l*l/12, geom.Cross(x, w))
	i, j := force(half, turn), force(half, geom.Scale(-1, turn))
	add(&e.even[0], i)
	add(&e.even[1], j)
	add(&b.nodes[e.i].load, i)
	add(&b.nodes[e.j].load, j)
}

// share gives the loads on a bar to the nodes at its ends, each by the lever; its weight half and half. It is for bars, whose
// ends turn freely.
func (b *builder) share(i int, from, to geom.Vec) {
	p := &b.m.Members[i]
	l := geom.Dist(from, to)
	spans, points := b.loads(i, l)
	for _, s := range spans {
		points = append(points, statics.PointLoad{At: (s.from + s.to) / 2, F: geom.Scale(s.to-s.from, s.w)})
	}
	for _, q := range points {
		f := q.At / l
		fi, fj := geom.Scale(1-f, q.F), geom.Scale(f, q.F)
		add(&b.shares[i][0], force(fi, geom.Vec{}))
		add(&b.shares[i][1], force(fj, geom.Vec{}))
		add(&b.nodes[p.I].load, force(fi, geom.Cross(p.ArmI, fi)))
		add(&b.nodes[p.J].load, force(fj, geom.Cross(p.ArmJ, fj)))
	}
}
