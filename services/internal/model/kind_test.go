package model_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// shedOf is a shed of two bents whose beams are joined by one kind of joint.
func shedOf(kind joinery.Kind) frame.Draft {
	d := frametest.Shed(2)
	for i := range d.Joints {
		j := &d.Joints[i]
		if j.Kind.PostBase() {
			continue
		}
		j.Kind = kind
		j.Pegs = &joinery.Pegs{Count: 1, DiameterMM: 25.4, LengthMM: 250, Wood: "white-oak", FromShoulderMM: 40}
		switch kind {
		case joinery.ThroughMortiseAndTenon, joinery.WedgedMortiseAndTenon:
			j.Tenon.LengthMM = 8 * frametest.Inch
		case joinery.HousedMortiseAndTenon:
			j.Tenon.HousingDepthMM = 12.7
		case joinery.SteelConnection, joinery.Birdsmouth, joinery.SteppedFoot:
			j.Tenon, j.Pegs = nil, nil
		}
	}
	return d
}

// feetOf gives all posts another base.
func feetOf(d frame.Draft, kind joinery.Kind) frame.Draft {
	for i := range d.Joints {
		if d.Joints[i].Kind.PostBase() {
			d.Joints[i].Kind = kind
		}
	}
	return d
}

func level(mark string, role frame.Role, start, end geom.Vec) frame.Timber {
	return frame.Timber{
		Mark: mark, Role: role, WidthMM: 150, DepthMM: 150, Start: start, End: end,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 19,
	}
}

// overTies is a shed with a stick that lies across both tie beams, by a joint of one kind along it.
func overTies(kind joinery.Kind) frame.Draft {
	d := frametest.Shed(2)
	inch := frametest.Inch
	tie := 6.5*frametest.Foot + 4*inch // top
	z := tie + 75
	if kind == joinery.Lap {
		z = tie
	}
	d.Timbers = append(d.Timbers, level("X", frame.RoleJoist, geom.V(-400, 3000, z), geom.V(4600, 3000, z)))
	for i, tieMark := range []string{"T1", "T2"} {
		x := float64(i)*12*frametest.Foot + 4*inch
		j := frame.Joint{ID: "X-" + tieMark, Kind: kind, Entering: "X", EnteringEnd: joinery.Along, Receiving: tieMark, At: geom.V(x, 3000, tie)}
		if kind == joinery.Lap {
			j.Tenon = &joinery.Tenon{LengthMM: 150, ThicknessMM: 60, WidthMM: 150}
		}
		d.Joints = append(d.Joints, j)
	}
	return d
}

// onSills stands the posts of a rough frame on sills, one under each wall, scarfed in the middle of a bay.
func onSills(d frame.Draft) frame.Draft {
	d.Joints = slices.DeleteFunc(d.Joints, func(j frame.Joint) bool { return j.Kind.PostBase() })
	for _, wall := range []string{"A", "B"} {
		var posts []frame.Timber
		for _, t := range d.Timbers {
			if t.Role == frame.RolePost && strings.HasSuffix(t.Mark, wall) {
				posts = append(posts, t)
			}
		}
		at := func(x float64) geom.Vec { return geom.V(x, posts[0].Start.Y, -75) }
		first, middle, last := posts[0].Start.X-150, 1800.0, posts[len(posts)-1].Start.X+150
		for i, span := range [2][2]float64{{first, middle}, {middle, last}} {
			mark := "SI-" + wall + string(rune('1'+i))
			d.Timbers = append(d.Timbers, level(mark, frame.RoleSill, at(span[0]), at(span[1])))
			d.Joints = append(d.Joints, frame.Joint{
				ID: mark + ".deck", Kind: joinery.PostBaseBearing, Entering: mark, EnteringEnd: joinery.Along, At: at((span[0] + span[1]) / 2),
			})
		}
		d.Joints = append(d.Joints, frame.Joint{
			ID: "scarf." + wall, Kind: joinery.Scarf, Scarf: joinery.ScarfHalved, Entering: "SI-" + wall + "2", EnteringEnd: joinery.AtStart, Receiving: "SI-" + wall + "1",
			At: at(middle), Tenon: &joinery.Tenon{LengthMM: 400, ThicknessMM: 75, WidthMM: 150},
			Pegs: &joinery.Pegs{Count: 2, DiameterMM: 25.4, LengthMM: 200, Wood: "white-oak", FromShoulderMM: 100, SpacingMM: 150},
		})
		for _, post := range posts {
			sill := "SI-" + wall + "1"
			if post.Start.X > middle {
				sill = "SI-" + wall + "2"
			}
			d.Joints = append(d.Joints, frame.Joint{
				ID: post.Mark + ".sill", Kind: joinery.BlindMortiseAndTenon, Entering: post.Mark, EnteringEnd: joinery.AtStart, Receiving: sill,
				At: post.Start, Tenon: &joinery.Tenon{LengthMM: 50, ThicknessMM: 40, WidthMM: 60},
			})
		}
	}
	return d
}

// A post on a knife plate that is bolted does not lift; one that is not bolted does, like one that only bears.
func TestKnifePlateHoldsDown(t *testing.T) {
	t.Parallel()
	for kind, holds := range map[joinery.Kind][2]bool{
		joinery.PostBaseBearing: {false, false}, joinery.PostBaseDowelled: {false, false}, joinery.PostBaseKnifePlate: {false, true},
	} {
		f := frametest.Parse(t, feetOf(frametest.Shed(1), kind))
		post := index(t, f, "P1A")
		for bolted, want := range holds {
			s := model.State{Standing: []int{post}, Pegged: make([]bool, len(f.Joints()))}
			if bolted == 1 {
				s.Pegged = pegged(f)
			}
			st := build(t, f, s, model.Soft)
			r := solve(t, st.Model, statics.Options{}, statics.Case{Name: "lifted", Gravity: geom.V(0, 0, 2)})[0]
			if (r.Outcome == statics.Solved) != want {
				t.Errorf("%s, bolted %v: %s", kind, bolted == 1, why(&r))
			}
		}
	}
}

// A girt that is rolled an eighth of a turn has its pegs parallel to none of its faces: its joints are links with axes of their own.
func TestRolledStickIsLinked(t *testing.T) {
	t.Parallel()
	d := frametest.Shed(2)
	for i := range d.Timbers {
		if d.Timbers[i].Mark == "G2A" {
			d.Timbers[i].RollDeg = 45
		}
	}
	f := frametest.Parse(t, d)
	st := build(t, f, complete(f), model.Stiff)
	if len(st.Model.Links) != 2 || !strings.Contains(strings.Join(st.Notes, " "), "not parallel") {
		t.Errorf("%d links; notes %q", len(st.Model.Links), st.Notes)
	}
	if r := solve(t, st.Model, statics.Options{}, leaning("weight", 0, geom.V(1, 0, 0)))[0]; r.Outcome != statics.Solved {
		t.Error(why(&r))
	}
}

// Whatever joins it, a pegged frame under its own weight is no mechanism: nothing spins, slides out or hangs on nothing.
func TestNoKindOfJointIsAMechanism(t *testing.T) {
	t.Parallel()
	barn, err := rough.Make(king(3))
	if err != nil {
		t.Fatal(err)
	}
	drafts := map[string]frame.Draft{
		"on sills": onSills(barn), "lap along": overTies(joinery.Lap), "birdsmouth along": overTies(joinery.Birdsmouth),
		"steel along": overTies(joinery.SteelConnection),
		"dowelled":    feetOf(shedOf(joinery.BlindMortiseAndTenon), joinery.PostBaseDowelled),
		"knife plate": feetOf(shedOf(joinery.BlindMortiseAndTenon), joinery.PostBaseKnifePlate),
	}
	for _, kind := range []joinery.Kind{
		joinery.BlindMortiseAndTenon, joinery.ThroughMortiseAndTenon, joinery.WedgedMortiseAndTenon, joinery.HousedMortiseAndTenon,
		joinery.DovetailedHousing, joinery.Lap, joinery.SteppedFoot, joinery.SlipTenon,
		joinery.KnifePlate, joinery.SteelConnection,
	} {
		drafts[kind.String()] = shedOf(kind)
	}
	for name, d := range drafts {
		f := frametest.Parse(t, d)
		for _, stiffness := range []model.Stiffness{model.Soft, model.Stiff} {
			st := build(t, f, complete(f), stiffness)
			r := solve(t, st.Model, statics.Options{}, leaning("weight", 0, geom.V(1, 0, 0)))[0]
			if r.Outcome != statics.Solved || r.Residual > 1e-6 {
				t.Errorf("%s, %s: %s, residual %g", name, stiffness, why(&r), r.Residual)
				continue
			}
			up := 0.0
			for _, b := range r.Bearings {
				up += b.Normal
			}
			for _, x := range r.Reactions {
				up += x[statics.UZ]
			}
			mass, _ := f.Weigh(all(f))
			if w := mass * statics.StandardGravity; up < 0.9999*w || up > 1.0001*w {
				t.Errorf("%s, %s: the deck bears %.1f N of %.1f N", name, stiffness, up, w)
			}
		}
	}
}
