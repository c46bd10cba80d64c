package standup

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/platform/units"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// remedies tries what riggers do, each on top of the pegs that have to be in, and then all of it together.
func (c *checker) remedies(ctx context.Context, s setup, t *tried) ([]Remedy, error) {
	var list []Remedy
	try := func(with setup) (*tried, error) {
		return c.check(ctx, with)
	}
	if pegs := c.wantPegs(s, t); len(pegs) > 0 {
		// Once some are driven the others are too: what is lashed on later may turn the force in any of them round.
		s.pegged = slices.Repeat([]bool{true}, len(s.pegged))
		got, err := try(s)
		if err != nil {
			return nil, err
		}
		list = append(list, Remedy{
			Words: fmt.Sprintf("Drive all pegs of the bent before it is lifted; %s %s pulled.", c.ids(pegs), plural(len(pegs), "is", "are")), Holds: got.holds(), Governing: got.governing,
		})
		if got.holds() {
			return list, nil
		}
		t = got
	}
	return c.add(s, t, list, try)
}

// add tries each option alone, and where none holds the fewest of them together that do; else those that come nearest.
func (c *checker) add(s setup, t *tried, list []Remedy, try func(setup) (*tried, error)) ([]Remedy, error) {
	options := c.options(s, t)
	solved := ""
	for _, r := range options {
		if r.group == solved && solved != "" {
			continue // a heavier one of what holds already
		}
		with := s
		r.apply(&with)
		got, err := try(with)
		if err != nil {
			return nil, err
		}
		list = append(list, Remedy{Words: r.words, Holds: got.holds(), Governing: got.governing})
		if got.holds() {
			solved = r.group
		}
	}
	if solved != "" {
		return list, nil
	}
	var best *Remedy
	for _, some := range subsets(options) {
		with := s
		for _, r := range some {
			r.apply(&with)
		}
		got, err := try(with)
		if err != nil {
			return nil, err
		}
		if best == nil || helps(got.governing, best.Governing) {
			best = &Remedy{Words: "Together: " + together(some) + ".", Holds: got.holds(), Governing: got.governing}
		}
		if best.Holds {
			break
		}
	}
	if best != nil {
		list = append(list, *best)
	}
	return list, nil
}

// subsets are the sets of two and more options of different groups, smaller ones first. Kick blocks are in all of them where
// they are wanted, and a strongback across the posts in none: it does little that the others do not.
func subsets(options []option) [][]option {
	var always, free []option
	for _, o := range options {
		switch o.group {
		case "blocks":
			always = append(always, o)
		case "across":
		default:
			free = append(free, o)
		}
	}
	var list [][]option
	for mask := range 1 << len(free) {
		some := slices.Clone(always)
		clash := false
		for i, o := range free {
			if mask>>i&1 == 1 {
				clash = clash || slices.ContainsFunc(some, func(p option) bool { return p.group == o.group })
				some = append(some, o)
			}
		}
		if !clash && len(some) > 1 {
			list = append(list, some)
		}
	}
	slices.SortStableFunc(list, func(a, b []option) int { return len(a) - len(b) })
	return list
}

func together(chosen []option) string {
	var names []string
	for _, o := range chosen {
		names = append(names, o.short)
	}
	return listed(names)
}

// helps reports whether one usage is better than another by more than rounding.
func helps(a, b standing.Usage) bool { return a.Share < 0.999*b.Share }

// option is a remedy that may help.
type option struct {
	// group names what it is: of one group only one can be on.
	group        string
	words, short string
	apply        func(s *setup)
}

// options are the remedies that a set-up does not have yet.
func (c *checker) options(s setup, t *tried) []option {
	var list []option
	if s.slingDeg < 90 {
		list = append(list, option{
			group: "spreader", short: "a spreader", apply: func(s *setup) { s.slingDeg = 90 },
			words: "Hang it from a spreader, with the slings straight up, instead of legs at an angle.",
		})
	}
	if t.kind(standing.Sliding) && !s.blocked {
		list = append(list, option{
			group: "blocks", short: "kick blocks", apply: func(s *setup) { s.blocked = true },
			words: "Nail kick blocks to the deck behind the feet, so that they pivot and do not slide.",
		})
	}
	if posts := c.posts(); len(s.tied) == 0 && len(posts) > 1 {
		list = append(list, option{
			group: "tie", short: "a tie across the feet", apply: func(s *setup) { s.tied = posts },
			words: fmt.Sprintf("Tie the feet of %s with a 2x6 across them, four structural screws at each.", c.marks(posts)),
		})
	}
	if torn := slices.Clone(t.torn); len(torn) > 0 && len(s.strapped) == 0 {
		list = append(list, option{
			group: "straps", short: "straps across the pulled joints", apply: func(s *setup) { s.strapped = torn },
			words: fmt.Sprintf("Draw ratchet straps tight across %s, so that they do not hang on their pegs.", c.ids(torn)),
		})
	}
	return append(list, c.strongbacks(s, t)...)
}

// strongbacks are the ways to lash one on.
func (c *checker) strongbacks(s setup, t *tried) []option {
	var list []option
	light, heavy := strongbackLumber()
	if up, z := c.uprights(); s.across == nil && len(up) > 1 {
		list = append(list, option{
			group: "across", short: "a strongback across the posts", apply: func(s *setup) { s.across = &light },
			words: fmt.Sprintf("Lash a strongback, a %s on edge, across %s about %s up.", light.Name, c.marks(up), units.FeetInches(z)),
		})
	}
	if posts := c.posts(); s.up == nil && len(posts) > 1 {
		first, last := c.f.Timbers()[posts[0]].Mark, c.f.Timbers()[posts[len(posts)-1]].Mark
		for _, l := range heavy {
			list = append(list, option{
				group: "up", short: "strongbacks (" + l.Name + ") from the feet up to the slings", apply: func(s *setup) { s.up = &l },
				words: fmt.Sprintf("Lash strongbacks, each a %s on edge, from near the feet of %s and %s straight up to the slings, and to every stick that they cross.",
					l.Name, first, last),
			})
		}
	}
	if i, ok := t.overstressed(c); ok && s.along == nil {
		mark, l := c.f.Timbers()[i].Mark, heavy[0]
		list = append(list, option{
			group: "along", short: "a strongback along " + mark, apply: func(s *setup) { s.along, s.alongTimber = &l, i },
			words: fmt.Sprintf("Lash a strongback, a %s on edge, along %s over its whole length.", l.Name, mark),
		})
	}
	return list
}

// strongbackLumber is what is lashed on, of the default stock's kind: a pair of 2x6, and the heavier ones in order.
func strongbackLumber() (light brace.Lumber, heavy []brace.Lumber) {
	for _, l := range brace.DefaultStock().Lumber {
		if l.ID == "2x6-2" {
			light = l
		}
	}
	pair, three := light, light
	pair.ID, pair.Name, pair.DepthMM = "2x10-2", "pair of 2x10", 9.25*wood.InchMM
	three.ID, three.Name, three.DepthMM = "2x12-3", "set of three 2x12", 11.25*wood.InchMM
	three.WidthMM, three.Plies = 4.5*wood.InchMM, 3
	return light, []brace.Lumber{pair, three}
}

// kind reports whether a step is governed by a failure of a kind.
func (t *tried) kind(k standing.FailureKind) bool {
	return slices.ContainsFunc(t.steps, func(s Step) bool { return s.Governing.Kind == k && s.Governing.Share > 1 })
}

// overstressed is the stick that is overstressed the most.
func (t *tried) overstressed(c *checker) (timber int, ok bool) {
	most := 1.0
	for _, s := range t.steps {
		if u := s.Governing; u.Kind == standing.Overstressed && u.Share > most {
			if i, found := c.f.Index(u.Piece); found {
				timber, ok, most = i, true, u.Share
			}
		}
	}
	return timber, ok
}

// wantPegs are the joints that are not pegged, are pulled at some step, and would hold if they were.
func (c *checker) wantPegs(s setup, t *tried) []int {
	var list []int
	for _, st := range t.steps {
		for _, j := range st.Pulled {
			if !s.pegged[j] && c.pulls(j) && !slices.Contains(list, j) {
				list = append(list, j)
			}
		}
	}
	slices.Sort(list)
	return list
}

// pulls reports whether a joint holds against being drawn apart once it is pegged.
func (c *checker) pulls(j int) bool {
	h, err := c.holdOf(j)
	return err == nil && h.PullN > 0
}

// posts are the sticks that stand on the deck, in order along the bent.
func (c *checker) posts() []int {
	var list []int
	for j := range c.f.Joints() {
		entering, receiving := c.f.Ends(j)
		if receiving < 0 && c.has(entering) && math.Abs(c.f.Axes(entering).Axis.Z) > uprightSine && !slices.Contains(list, entering) {
			list = append(list, entering)
		}
	}
	slices.SortFunc(list, c.byAlong)
	return list
}

// mostNamed is how many pieces are named in a sentence.
const mostNamed = 8

func listed(names []string) string {
	if len(names) > mostNamed {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:mostNamed], ", "), len(names)-mostNamed)
	}
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

func (c *checker) ids(joints []int) string {
	var names []string
	for _, j := range joints {
		names = append(names, c.f.Joints()[j].ID)
	}
	return listed(names)
}

func (c *checker) marks(timbers []int) string {
	var names []string
	for _, i := range timbers {
		names = append(names, c.f.Timbers()[i].Mark)
	}
	return listed(names)
}
