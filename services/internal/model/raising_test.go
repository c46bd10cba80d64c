package model_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// rakers brace the posts of the first bent along X, on the west side, and their feet stand on the deck.
func rakers(t testing.TB, f *frame.Frame) []model.Brace {
	a, b := raker(t, f, "P-1A"), raker(t, f, "P-1B")
	b.Name = "B2"
	return []model.Brace{a, b}
}

// plated is the first bent with the plate or girt of wall A and both of its braces, before the next bent comes.
func plated(t testing.TB, f *frame.Frame, pegs bool) model.State {
	s := bentState(f)
	for _, mark := range []string{"G-A12", "WB-A1E", "WB-A2W"} {
		s.Standing = append(slices.Clip(s.Standing), index(t, f, mark))
	}
	if !pegs {
		for j, joint := range f.Joints() {
			s.Pegged[j] = !strings.HasPrefix(joint.ID, "G-A12") && !strings.HasPrefix(joint.ID, "WB-A")
		}
	}
	return s
}

// A girt set on a lone bent, its far end free, pulls the bent over about its feet; on a braced one it stands once its
// pegs are in, and draws its tenon out of the post and falls before.
func TestGirtBeforeTheNextBent(t *testing.T) {
	t.Parallel()
	f := made(t, king(2))
	weight := leaning("weight", 0, geom.V(1, 0, 0))
	for name, test := range map[string]struct {
		pegs, braced, stands bool
		words                string
	}{
		"lone":           {true, false, false, "the feet P-1A and P-1B"},
		"braced":         {true, true, true, ""},
		"braced, no peg": {false, true, false, "G-A12"},
	} {
		s := plated(t, f, test.pegs)
		if test.braced {
			s.Braces = rakers(t, f)
		}
		for _, stiffness := range []model.Stiffness{model.Soft, model.Stiff} {
			st := build(t, f, s, stiffness)
			r := solve(t, st.Model, statics.Options{}, weight)[0]
			if (r.Outcome == statics.Solved) != test.stands || !strings.Contains(why(&r), test.words) {
				t.Errorf("%s, %s: %s", name, stiffness, why(&r))
			}
		}
	}
}

// The brace that waits at the girt's far end for its post is tied up: it hangs there, and its joint says so.
func TestBraceThatWaitsIsTiedUp(t *testing.T) {
	t.Parallel()
	f := made(t, king(2))
	s := plated(t, f, true)
	s.Braces = rakers(t, f)
	st := build(t, f, s, model.Soft)
	var tied []string
	for _, j := range st.Joints {
		if j.Tied {
			tied = append(tied, f.Joints()[j.Joint].ID)
		}
	}
	if !slices.Equal(tied, []string{"WB-A2W.beam"}) {
		t.Errorf("tied up are %v", tied)
	}
	if last := st.Notes[len(st.Notes)-1]; !strings.Contains(last, "WB-A2W is held at one end only") {
		t.Errorf("the last note is %q", last)
	}
	whole := build(t, f, complete(f), model.Soft)
	for _, n := range whole.Notes {
		if strings.Contains(n, "one end only") {
			t.Errorf("nothing waits in the whole frame, but a note says: %s", n)
		}
	}
}

// Each joint that is closed is found once, where its sticks meet.
func TestJointsAreWhereTheyClose(t *testing.T) {
	t.Parallel()
	f := made(t, king(3))
	st := build(t, f, complete(f), model.Soft)
	seen := make(map[int]bool)
	for _, j := range st.Joints {
		if seen[j.Joint] {
			t.Errorf("%s is there twice", f.Joints()[j.Joint].ID)
		}
		seen[j.Joint] = true
		at := geom.Scale(1e-3, f.Joinery(j.Joint).Place())
		var got geom.Vec
		switch {
		case j.Member >= 0:
			m := &st.Model.Members[j.Member]
			got = geom.Add(st.Model.Nodes[m.I].At, m.ArmI)
			if j.AtJ {
				got = geom.Add(st.Model.Nodes[m.J].At, m.ArmJ)
			}
		case j.Link >= 0:
			got = st.Model.Links[j.Link].At
		default:
			for _, c := range j.Contacts {
				contact := &st.Model.Contacts[c]
				got = geom.Add(got, geom.Scale(0.25, geom.Add(st.Model.Nodes[contact.Node].At, contact.Arm)))
			}
		}
		if geom.Dist(got, at) > 1e-9 {
			t.Errorf("%s is at %v, want %v", f.Joints()[j.Joint].ID, got, at)
		}
	}
	if len(seen) != len(f.Joints()) {
		t.Errorf("%d of %d joints", len(seen), len(f.Joints()))
	}
}

// Which pieces hold two bents up lengthwise, as the reference asks of its problem b19 (COMPUTED): on pins for feet, the frame is a
// mechanism only when both the long braces and the temporary ones are away; one temporary brace alone is no mechanism, but
// sways many times as much.
func TestWhatHoldsTwoBentsUp(t *testing.T) {
	t.Parallel()
	k := king(2)
	k.PurlinsPerSlope = 0
	f := made(t, k)
	sway := func(long bool, braces []model.Brace) (float64, statics.Result) {
		s := model.State{Pegged: pegged(f), Braces: braces}
		for i, timber := range f.Timbers() {
			if long || !strings.HasPrefix(timber.Mark, "WB-") {
				s.Standing = append(s.Standing, i)
			}
		}
		st := build(t, f, s, model.Stiff)
		pinFeet(st.Model)
		r := solve(t, st.Model, statics.Options{}, statics.Case{Name: "along", Nodal: []statics.NodalLoad{{Node: st.Model.Members[st.Members[index(t, f, "K-1")][0]].J, F: statics.Vec6{1000}}}})[0]
		return swayM(&r), r
	}
	both := rakers(t, f)
	everything, r := sway(true, both)
	if r.Outcome != statics.Solved {
		t.Fatalf("everything: %s", why(&r))
	}
	noTemporary, r := sway(true, nil)
	if r.Outcome != statics.Solved || noTemporary < everything {
		t.Errorf("no temporary braces: %.2f mm, with them %.2f mm, %s", noTemporary*1e3, everything*1e3, why(&r))
	}
	noLong, r := sway(false, both)
	if r.Outcome != statics.Solved || noLong < everything {
		t.Errorf("no long braces: %.2f mm, with them %.2f mm, %s", noLong*1e3, everything*1e3, why(&r))
	}
	if one, r := sway(false, both[:1]); r.Outcome != statics.Solved || one < 3*noLong {
		t.Errorf("one brace left: %.2f mm, both %.2f mm, %s", one*1e3, noLong*1e3, why(&r))
	}
	if _, r = sway(false, nil); r.Outcome != statics.Moves || len(r.Motions) != 1 {
		t.Errorf("nothing left: %s, want one motion", why(&r))
	}
}

// pinFeet puts pins, which hold twisting too, in the place of bearing feet.
func pinFeet(m *statics.Model) {
	pinned := make(map[int]bool)
	for _, c := range m.Contacts {
		if !pinned[c.Node] {
			pinned[c.Node] = true
			m.Supports = append(m.Supports, statics.Support{Name: c.Name, Node: c.Node, Fixed: [6]bool{true, true, true, false, false, true}})
		}
	}
	m.Contacts = nil
}
