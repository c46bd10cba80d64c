package makesafe

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/platform/units"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// refuse says why no braces were found: what is missing, when it is lumber, else what still fails with the most that could
// be set.
func (v *solver) refuse(ctx context.Context, set []choice, stuck *standing.Verdict, why string) error {
	p := Plan{Before: v.plan.Before, Verdict: stuck, Steps: v.s.steps, Ended: "No list of braces was found."}
	p.Add = v.s.braces(set)
	p.Cuts = brace.Cuts(p.Add, v.s.c.yard.stock)
	switch missing, err := v.missing(ctx); {
	case err != nil:
		return err
	case why != "":
		p.Refusal = fmt.Sprintf("No list of braces was found before %s; allow more steps.", why)
	case missing != "":
		p.Refusal = missing
	default:
		p.Refusal = v.s.c.refusal(len(v.s.usable), len(set), stuck)
	}
	v.plan = p
	if v.improve != nil {
		v.improve(p)
	}
	return nil
}

// missing says which boards are missing when the state could be made safe with as many as wanted of what the stock has; empty
// when that is not what is wrong.
func (v *solver) missing(ctx context.Context) (string, error) {
	y := v.s.c.yard
	if !y.counted {
		return "", nil
	}
	plenty := v.search(y.plenty())
	plenty.most = v.s.most
	set, stuck, err := plenty.build(ctx, nil)
	if err != nil || stuck != nil {
		return "", spent(err)
	}
	set, err = plenty.drop(ctx, set)
	if spent(err) != nil {
		return "", err
	}
	return y.lacks(plenty.braces(set)), nil
}

// lacks says which boards the yard lacks for some braces, as a sentence.
func (y *yard) lacks(set []brace.Brace) string {
	short := y.short(set)
	if len(short) == 0 {
		return ""
	}
	type lack struct {
		name  string
		n     int
		long  float64
		least float64
	}
	var lacks []lack
	for i := range short {
		b := &short[i]
		mm := b.Cut().LengthMM
		k := slices.IndexFunc(lacks, func(l lack) bool { return l.name == b.Lumber.Name })
		if k < 0 {
			lacks = append(lacks, lack{name: b.Lumber.Name, least: mm})
			k = len(lacks) - 1
		}
		lacks[k].n++
		lacks[k].long, lacks[k].least = max(lacks[k].long, mm), min(lacks[k].least, mm)
	}
	var words []string
	for _, l := range lacks {
		words = append(words, fmt.Sprintf("%d more of %s, %s long (%.0f mm)", l.n, l.name, units.FeetInches(l.long), l.long))
	}
	return fmt.Sprintf("It takes %d braces, and the lumber at hand is not enough for them: %s %s missing.",
		len(set), strings.Join(words, " and "), isAre(len(short)))
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// refusal says why no braces do, when more of the lumber that there is would not help.
func (c *catalogue) refusal(usable, set int, stuck *standing.Verdict) string {
	what := ""
	if stuck != nil {
		what = stuck.Governing.Words
		if what == "" {
			what = stuck.Governing.Kind.String() + " at " + stuck.Governing.Piece
		}
		what = strings.TrimSuffix(what, ".")
	}
	if usable == 0 {
		return "No brace can be set here: " + c.whyNone() + " What fails: " + what + "."
	}
	note := ""
	if c.yard.shortest > 0 && c.longest() < c.yard.shortest*1.5 {
		note = fmt.Sprintf(" Longer boards would open more places; the longest is %s (%.0f mm).", units.FeetInches(c.longest()), c.longest())
	}
	return fmt.Sprintf("With %d braces in the places that are clear it still fails: %s.%s", set, what, note)
}

// whyNone says why there is no place at all.
func (c *catalogue) whyNone() string {
	s := c.yard.stock
	switch {
	case len(s.Lumber) == 0:
		return "the stock has no lumber; put in the boards on the deck."
	case len(s.Fastenings) == 0:
		return "the stock has no fastening; put in nails or screws."
	case !slices.ContainsFunc(s.Anchors, func(a brace.Anchor) bool { return a.Ground == model.OnDeck || a.Ground == model.OnGround }):
		return "the stock has no anchor for deck or ground; put one in."
	case c.longest() == 0:
		return "no board is left; put in the boards on the deck."
	case c.yard.shortest > 0 && !slices.ContainsFunc(c.places, func(p place) bool { return p.brace.FootTimber < 0 }):
		return fmt.Sprintf("the shortest brace takes a board of %s (%.0f mm) and the longest at hand is %s (%.0f mm).",
			units.FeetInches(c.yard.shortest), c.yard.shortest, units.FeetInches(c.longest()), c.longest())
	}
	return "timbers, the edge of the deck, other braces or what comes next are in the way of every one."
}

// longest is the longest board of the stock that is left.
func (c *catalogue) longest() float64 {
	most := 0.0
	for _, l := range c.yard.stock.Lumber {
		most = max(most, l.LongestMM())
	}
	return most
}
