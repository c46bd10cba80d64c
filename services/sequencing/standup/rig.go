package standup

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// rig is a bent as a structure in its own upright coordinates, freed of the deck, with the places by which it is held.
type rig struct {
	model *statics.Model
	// feet are the nodes that pivot on the deck edge, in order along the bent; picks are those that the slings hold.
	feet  []int
	picks [2]int
	// along is the level direction of the bent's plane, normal the one out of it: that face is up while it lies flat.
	along, normal geom.Vec
	// slingDeg is the angle of the legs from level; 90 is vertical.
	slingDeg float64
	// factor is on the weight.
	factor float64
}

// attitude is one position of the bent.
type attitude struct {
	tiltDeg float64
	hanging bool
}

// up is what is upward at a tilt, in the bent's coordinates, and out the level direction across the bent in which
// its top comes over.
func (r *rig) up(tiltDeg float64) (up, out geom.Vec) {
	sin, cos := math.Sincos(geom.Radians(tiltDeg))
	z := geom.Up()
	return geom.Along(geom.Scale(cos, r.normal), sin, z), geom.Along(geom.Scale(sin, r.normal), -cos, z)
}

// gravity is the weight at a tilt.
func (r *rig) gravity(tiltDeg float64) geom.Vec {
	up, _ := r.up(tiltDeg)
	return geom.Scale(-statics.StandardGravity*r.factor, up)
}

// roller holds a node along one direction.
func roller(name string, node int, along geom.Vec) statics.Support {
	return statics.Support{Name: name, Node: node, Axis: along}
}

// held are the supports of an attitude.
type held struct {
	supports []statics.Support
	// slings are the supports at the picks that carry; feetUp, feetOut those under the feet, −1 where the foot is up.
	slings          [2]int
	feetUp, feetOut []int
	// swing is the support that keeps it from swinging while it hangs free; −1 otherwise.
	swing int
}

// hold makes the supports: the slings hold the picks up; the feet are pins on the deck edge that only push, the first of
// them fixed along the deck, the others free to spread; hanging free, the picks also keep it in its place and the first
// foot keeps it from swinging, with a force that has to come out as nothing.
func (r *rig) hold(a attitude, lifted []bool, slack [2]bool) held {
	up, out := r.up(a.tiltDeg)
	h := held{feetUp: make([]int, len(r.feet)), feetOut: make([]int, len(r.feet)), swing: -1}
	add := func(name string, node int, along geom.Vec) int {
		h.supports = append(h.supports, roller(name, node, along))
		return len(h.supports) - 1
	}
	for k, node := range r.picks {
		h.slings[k] = -1
		if !slack[k] {
			h.slings[k] = add("sling", node, up)
		}
	}
	for i, node := range r.feet {
		h.feetUp[i], h.feetOut[i] = -1, -1
		if a.hanging {
			continue
		}
		h.feetOut[i] = add("foot", node, out)
		if !lifted[i] {
			h.feetUp[i] = add("foot", node, up)
		}
	}
	if !a.hanging {
		add("foot", r.feet[0], r.along)
		return h
	}
	add("sling", r.picks[0], r.along)
	add("sling", r.picks[0], r.normal)
	add("sling", r.picks[1], r.normal)
	h.swing = add("swing", r.feet[0], r.normal)
	return h
}

// outcome is what came of one attitude.
type outcome struct {
	attitude
	// model and load are what was solved, with its supports.
	model  *statics.Model
	load   statics.Case
	solver *statics.Solver
	result *statics.Result
	// sling are the forces up at the picks, squeezeN what angled legs push them together with.
	sling    [2]float64
	squeezeN float64
	// footUp are the forces up on the feet, lifted says which have come off the deck.
	footUp []float64
	lifted []bool
	slack  [2]bool
	swingN float64
	// pick are forces up at the picks that are given, not found.
	pick [2]float64
}

// solve finds how the bent bears one attitude: first with the slings straight up; a foot or a sling that would have to
// pull down lets go, the worst first; then with the squeeze of angled legs. Its error is a *statics.InputError.
func (r *rig) solve(a attitude) (*outcome, error) {
	if !a.hanging && a.tiltDeg > almostPlumbDeg {
		return r.plumb(a)
	}
	o := &outcome{attitude: a, lifted: make([]bool, len(r.feet))}
	for range len(r.feet) + len(r.picks) + 1 {
		h := r.hold(a, o.lifted, o.slack)
		if err := r.run(o, h, 0); err != nil {
			return nil, err
		}
		if o.result.Outcome != statics.Solved || !o.letGo(h) {
			break
		}
	}
	if o.result.Outcome != statics.Solved || r.slingDeg >= 90 {
		return o, nil
	}
	o.squeezeN = r.squeeze(o)
	return o, r.run(o, r.hold(a, o.lifted, o.slack), o.squeezeN)
}

// almostPlumbDeg is the tilt from which slings straight up hardly keep the bent from turning about its feet.
const almostPlumbDeg = 89.0

// plumb is the bent plumb on its feet, the hook still carrying what it did just before: at plumb itself slings straight up
// say nothing of how much they carry, and a hand keeps it from tipping.
func (r *rig) plumb(a attitude) (*outcome, error) {
	before, err := r.solve(attitude{tiltDeg: almostPlumbDeg})
	if err != nil || before.result.Outcome != statics.Solved {
		return before, err
	}
	o := &outcome{attitude: a, lifted: before.lifted, slack: before.slack, squeezeN: before.squeezeN}
	h := r.hold(a, o.lifted, [2]bool{true, true})
	h.supports = append(h.supports, roller("hand", r.picks[0], r.normal))
	o.pick = before.sling
	if err := r.run(o, h, o.squeezeN); err != nil {
		return nil, err
	}
	o.sling = before.sling
	return o, nil
}

// squeeze is the level force that two legs to one hook push the picks together with: H = V1·a1/h where the hook hangs
// a1 beside the one pick and a2 beside the other, over the middle of what they carry, and h over both so that the flatter
// leg has the angle asked for. With the hook midway it is V/tan b.
func (r *rig) squeeze(o *outcome) float64 {
	sum := o.sling[0] + o.sling[1]
	span := math.Abs(geom.Dot(geom.Sub(r.model.Nodes[r.picks[1]].At, r.model.Nodes[r.picks[0]].At), r.along))
	if !(sum > 0) || !(span > 0) {
		return 0
	}
	one := span * o.sling[1] / sum
	height := math.Tan(geom.Radians(r.slingDeg)) * math.Max(one, span-one)
	return o.sling[0] * one / height
}

// run solves the structure as it is held, with a squeeze, and reads what holds it.
func (r *rig) run(o *outcome, h held, squeezeN float64) error {
	m := *r.model
	m.Supports = h.supports
	m.Contacts = nil
	solver, err := statics.Prepare(&m)
	if err != nil {
		return err
	}
	o.sling, o.footUp, o.swingN = [2]float64{}, make([]float64, len(r.feet)), 0
	c := statics.Case{Name: "weight", Gravity: r.gravity(o.tiltDeg)}
	up, _ := r.up(o.tiltDeg)
	for k, force := range o.pick {
		if force != 0 {
			c.Nodal = append(c.Nodal, nodal(r.picks[k], geom.Scale(force, up)))
		}
	}
	if squeezeN != 0 {
		inward := geom.Scale(squeezeN, r.along)
		if geom.Dot(geom.Sub(m.Nodes[r.picks[1]].At, m.Nodes[r.picks[0]].At), r.along) < 0 {
			inward = geom.Scale(-1, inward)
		}
		c.Nodal = append(c.Nodal, nodal(r.picks[0], inward), nodal(r.picks[1], geom.Scale(-1, inward)))
	}
	results, err := solver.Solve([]statics.Case{c}, statics.Options{})
	if err != nil {
		return err
	}
	o.model, o.load, o.solver, o.result = &m, c, solver, &results[0]
	if o.result.Outcome == statics.Solved {
		o.read(h)
	}
	return nil
}

func nodal(node int, f geom.Vec) statics.NodalLoad {
	return statics.NodalLoad{Node: node, F: statics.Vec6{f.X, f.Y, f.Z}}
}

// read takes the forces of the supports.
func (o *outcome) read(h held) {
	axial := func(i int) float64 {
		if i < 0 {
			return 0
		}
		return o.result.Axial[i]
	}
	o.sling = [2]float64{axial(h.slings[0]), axial(h.slings[1])}
	for i, s := range h.feetUp {
		o.footUp[i] = axial(s)
	}
	o.swingN = axial(h.swing)
}

// letGo finds the foot or the sling that would have to pull down the hardest, and lets it go; false when none does.
func (o *outcome) letGo(h held) bool {
	least := -1e-6 * (math.Abs(o.sling[0]) + math.Abs(o.sling[1]))
	foot, sling := -1, -1
	for i, n := range o.footUp {
		if h.feetUp[i] >= 0 && n < least {
			least, foot = n, i
		}
	}
	for k, n := range o.sling {
		if h.slings[k] >= 0 && n < least {
			least, foot, sling = n, -1, k
		}
	}
	switch {
	case sling >= 0:
		o.slack[sling] = true
	case foot >= 0:
		o.lifted[foot] = true
	default:
		return false
	}
	return true
}

// hookN is the force on the hook.
func (o *outcome) hookN() float64 { return o.sling[0] + o.sling[1] }

// baseUpN is the force up on all feet.
func (o *outcome) baseUpN() float64 {
	sum := 0.0
	for _, n := range o.footUp {
		sum += n
	}
	return sum
}

// off says whether the bent is out of balance: fewer than two feet bear, or a sling hangs slack.
func (o *outcome) off() bool { return o.tips() || o.slack[0] || o.slack[1] }

// tips says whether feet have come off the deck so that fewer than two bear. A third one between them may.
func (o *outcome) tips() bool {
	bearing := 0
	for _, up := range o.lifted {
		if !up {
			bearing++
		}
	}
	return slices.Contains(o.lifted, true) && bearing < 2
}
