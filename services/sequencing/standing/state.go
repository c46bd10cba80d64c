package standing

import (
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// state is a situation made ready to be checked.
type state struct {
	Situation
	// stands and hooked are by timber.
	stands, hooked []bool
	braces         []model.Brace
	props          []prop
	ends           [2]*end
	// person is where the person stands that tells most, nil before it is looked for.
	person *grasp
	grasps []grasp
	// trials are what is run, the first windyTrials of them with wind.
	trials      []trial
	windyTrials int
	// shares are the largest shares of the runs so far, +Inf for a fall; the search for the highest gust begins with the worst.
	shares map[place]float64
	notes  []string
}

// prop is what a temporary brace bears, in N: as a column, as a tie, in its fastenings; in bending, in N·m, and the compression
// at which that grows without end; its length in metres, and the share of its anchor that 1 N along it takes, pulled and
// pushed, and what that holds across, without wind and with.
type prop struct {
	pushN, pullN, headN    float64
	bendNM, eulerN, longM  float64
	anchorPull, anchorPush [2]float64
	anchorAcross           [2]float64
}

// end is a situation as a structure at one end of the range of stiffness.
type end struct {
	st *model.Structure
	sv *statics.Solver
	// breeze are the loads of a gust of 1 m/s in the four directions.
	breeze [4][]statics.LineLoad
	// long is the length of each member in metres.
	long []float64
	// axes are the directions of each member as package statics has them, mass is its mass in kg/m, and even is where the even
	// load on it in N/m is added up.
	axes [][3]geom.Vec
	mass []float64
	even []geom.Vec
	feet []foot
	tops []top
	// bases are the answers to the weight alone, from which the trials begin.
	bases []base
}

// foot is a stick's foot on the deck: its joint in the frame and in the structure, its node, its contacts, the support that holds it
// down or −1, and whether it is held from sliding.
type foot struct {
	joint, at, timber, node int
	contacts                []int
	support                 int
	held                    bool
}

// top is an end of a stick whose sway is looked at.
type top struct {
	timber, node int
	heightM      float64
	highest      bool
}

// leastSwayM is the height under which a sway says nothing, in metres.
const leastSwayM = 1.2

// prepare checks a situation and builds its structures.
func (c *Checker) prepare(sit Situation) (*state, error) {
	s := &state{Situation: sit, shares: map[place]float64{}, stands: make([]bool, len(c.frame.Timbers())), hooked: make([]bool, len(c.frame.Timbers()))}
	if err := c.checkSituation(s); err != nil {
		return nil, err
	}
	c.addProps(s)
	for i := range s.ends {
		e, err := c.endOf(s, i)
		if err != nil {
			return nil, err
		}
		s.ends[i] = e
	}
	return s, nil
}

// addProps works out what the braces are and bear.
func (c *Checker) addProps(s *state) {
	for i := range s.Braces {
		b := &s.Braces[i]
		m := b.Structure()
		p := prop{pushN: b.PushN(c.rules.SlendernessPush), pullN: b.PullN(), headN: b.Head.HoldsN}
		p.longM = b.LengthMM() / 1000
		p.bendNM, p.eulerN = b.BendNM()
		for k, windy := range [2]bool{false, true} {
			cd := c.durationOf(windy)
			p.anchorPull[k], _ = b.AnchorUseFor(1, cd)
			p.anchorPush[k], _ = b.AnchorUseFor(-1, cd)
			p.anchorAcross[k] = b.AnchorAcrossN(cd)
		}
		if p.pushN == 0 {
			m.PullOnly = true
			s.notes = append(s.notes, fmt.Sprintf("Brace %s is slender, le/d %.0f over %g: it is counted to pull only.", b.ID, b.Slenderness(), c.rules.SlendernessPush))
		}
		s.braces, s.props = append(s.braces, m), append(s.props, p)
	}
}

// endOf builds the structure of one end of the range.
func (c *Checker) endOf(s *state, i int) (*end, error) {
	st, err := c.builders[i].Build(model.State{Standing: s.Standing, Pegged: s.Pegged, Braces: s.braces})
	if err != nil {
		return nil, err
	}
	sv, err := statics.Prepare(st.Model)
	if err != nil {
		return nil, err
	}
	return c.endFor(s, st, sv), nil
}

// endFor looks once at what all results of a structure are judged by.
func (c *Checker) endFor(s *state, st *model.Structure, sv *statics.Solver) *end {
	n := len(st.Model.Members)
	e := &end{
		st: st, sv: sv, breeze: c.breeze(st, s.braces),
		long: make([]float64, n), axes: make([][3]geom.Vec, n), mass: make([]float64, n), even: make([]geom.Vec, n),
	}
	for m := range st.Model.Members {
		x := &st.Model.Members[m]
		a, b := endsOf(st.Model, m)
		d := geom.Sub(b, a)
		e.long[m], e.mass[m] = geom.Norm(d), x.Material.Rho*x.Section.A
		along := geom.Unit(d)
		across := geom.Unit(geom.Cross(along, x.YRef))
		e.axes[m] = [3]geom.Vec{along, geom.Cross(across, along), across}
	}
	c.findFeet(e)
	findTops(e)
	return e
}

func (c *Checker) findFeet(e *end) {
	for at := range e.st.Joints {
		j := &e.st.Joints[at]
		if len(j.Contacts) == 0 {
			continue
		}
		first := &e.st.Model.Contacts[j.Contacts[0]]
		timber, _ := c.frame.Ends(j.Joint)
		f := foot{joint: j.Joint, at: at, timber: timber, node: first.Node, contacts: j.Contacts, support: -1, held: first.Held}
		f.support = slices.IndexFunc(e.st.Model.Supports, func(u statics.Support) bool { return u.Node == first.Node })
		e.feet = append(e.feet, f)
	}
}

func findTops(e *end) {
	highest := 0.0
	for timber, members := range e.st.Members {
		if len(members) == 0 {
			continue
		}
		i, j := e.st.Model.Members[members[0]].I, e.st.Model.Members[members[len(members)-1]].J
		for _, node := range [2]int{i, j} {
			if z := e.st.Model.Nodes[node].At.Z; z >= leastSwayM {
				e.tops = append(e.tops, top{timber: timber, node: node, heightM: z})
				highest = math.Max(highest, z)
			}
		}
	}
	for i := range e.tops {
		e.tops[i].highest = e.tops[i].heightM > highest-1e-6
	}
}

// checkSituation reports what is wrong with a situation, naming the piece, and fills in who stands.
func (c *Checker) checkSituation(s *state) error {
	timbers := c.frame.Timbers()
	if faults := within(nil, "gust_m_per_s", s.GustMPS, 0, MostGustMPS, "m/s"); len(faults) > 0 {
		return &statics.InputError{Piece: faults[0].Field, Problem: faults[0].Message}
	}
	if len(s.Standing) == 0 {
		return &statics.InputError{Piece: "standing", Problem: "nothing stands; name the sticks and assemblies that do"}
	}
	if len(s.Pegged) != len(c.frame.Joints()) {
		return &statics.InputError{Piece: "pegged", Problem: fmt.Sprintf("it speaks of %d joints and the frame has %d; say for each whether its pegs are in", len(s.Pegged), len(c.frame.Joints()))}
	}
	for _, list := range [2]struct {
		of   []int
		flag []bool
		name string
	}{{s.Standing, s.stands, "standing"}, {s.OnHook, s.hooked, "on_hook"}} {
		for _, i := range list.of {
			switch {
			case i < 0 || i >= len(timbers):
				return &statics.InputError{Piece: list.name, Problem: fmt.Sprintf("the frame has no stick %d; give indices from 0 to %d", i, len(timbers)-1)}
			case s.stands[i] && list.name == "on_hook":
				return &statics.InputError{Piece: timbers[i].Mark, Problem: "it stands and hangs on the hook; leave it out of one"}
			case list.flag[i]:
				return &statics.InputError{Piece: timbers[i].Mark, Problem: "it is named twice; name it once"}
			}
			list.flag[i] = true
		}
	}
	// In the order of the frame, whatever the order in which they were named.
	s.Standing, s.OnHook = slices.Sorted(slices.Values(s.Standing)), slices.Sorted(slices.Values(s.OnHook))
	return c.checkBraces(s)
}

func (c *Checker) checkBraces(s *state) error {
	seen := map[string]bool{}
	for i := range s.Braces {
		b := &s.Braces[i]
		if seen[b.ID] {
			return &statics.InputError{Piece: "brace " + b.ID, Problem: "two braces have this id; give each its own"}
		}
		seen[b.ID] = true
		if err := b.Check(); err != nil {
			return err
		}
		for _, t := range [2]int{b.Timber, b.FootTimber} {
			if t >= len(c.frame.Timbers()) {
				return &statics.InputError{Piece: "brace " + b.ID, Problem: fmt.Sprintf("the frame has no stick %d that it could hold; name one that stands", t)}
			}
		}
	}
	return nil
}
