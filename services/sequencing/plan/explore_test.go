package plan_test

import (
	"fmt"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/internal/rough"
)

const (
	blind = joinery.BlindMortiseAndTenon
	dove  = joinery.DovetailedHousing
	bear  = joinery.PostBaseBearing
	dowel = joinery.PostBaseDowelled
)

func show(t *testing.T, name string, d frame.Draft) {
	f, err := frame.Parse(d)
	if err != nil {
		fmt.Println("=====", name, "PARSE", err)
		return
	}
	r, err := plan.Make(t.Context(), f, site(), crew())
	fmt.Println("=====", name)
	if err != nil {
		fmt.Println("  LOCKED:", err)
		return
	}
	for _, w := range replay(f, r) {
		fmt.Println("  REPLAY", w)
	}
	for _, m := range r.Moves {
		fmt.Println(" ", m.Number, m.Machine, m.Persons, m.Closing, m.Instruction)
		for _, b := range m.After {
			fmt.Println("      after", b.Move, b.Reason)
		}
		for _, b := range m.Braces {
			fmt.Println("      brace", b.Mark, b.Top, b.Foot, b.Rule)
		}
	}
}

// rect: four posts, plates, ties
func (h *hand) beam(mark string, role frame.Role, from, to string, a, b geom.Vec, kind joinery.Kind, asm string) {
	h.stick(mark, role, a, b, asm)
	h.join(kind, mark, frame.AtStart, from, a)
	h.join(kind, mark, frame.AtEnd, to, b)
}

func TestExplore(t *testing.T) {
	V := geom.V
	{ // sills under posts, loose
		h := newHand()
		h.stick("S1", frame.RoleSill, V(0, 0, 100), V(6000, 0, 100), "")
		h.join(bear, "S1", frame.Along, "", V(3000, 0, 0))
		for i, x := range []float64{200, 5800} {
			p := fmt.Sprintf("P%d", i+1)
			h.stick(p, frame.RolePost, V(x, 0, 200), V(x, 0, 3000), "")
			h.join(blind, p, frame.AtStart, "S1", V(x, 0, 200))
			h.join(blind, p, frame.AtEnd, "PL", V(x, 0, 3000))
		}
		h.stick("PL", frame.RolePlate, V(0, 0, 3100), V(6000, 0, 3100), "")
		show(t, "sill", h.d)
	}
	{ // wall panels with tie beams dovetailed, joists, common rafters with birdsmouth on plates
		h := newHand()
		for w, y := range []float64{0, 6000} {
			a := fmt.Sprintf("wall-%c", 'A'+w)
			h.assembly(a, frame.AssemblyWallPanel)
			pl := fmt.Sprintf("PL%d", w)
			h.stick(pl, frame.RolePlate, V(-100, y, 3100), V(8100, y, 3100), a)
			for i, x := range []float64{100, 4000, 7900} {
				p := fmt.Sprintf("P%d%c", i+1, 'A'+w)
				h.post(p, x, y, 3000, a, bear)
				h.join(blind, p, frame.AtEnd, pl, V(x, y, 3000))
			}
		}
		for i, x := range []float64{600, 4500, 7400} {
			h.beam(fmt.Sprintf("T%d", i), frame.RoleTieBeam, "PL0", "PL1", V(x, 100, 3100), V(x, 5900, 3100), dove, "")
		}
		for i, x := range []float64{300, 1500, 2700} {
			r1, r2 := fmt.Sprintf("RA%d", i), fmt.Sprintf("RB%d", i)
			h.sized(r1, frame.RoleCommonRafter, V(x, -300, 3000), V(x, 3000, 6300), "", 150)
			h.sized(r2, frame.RoleCommonRafter, V(x, 6300, 3000), V(x, 3000, 6300), "", 150)
			h.join(joinery.Birdsmouth, r1, frame.Along, "PL0", V(x, -0, 3200))
			h.join(joinery.Birdsmouth, r2, frame.Along, "PL1", V(x, 6000, 3200))
			h.join(joinery.Lap, r1, frame.AtEnd, r2, V(x, 3000, 6300))
		}
		show(t, "walls", h.d)
	}
	{ // walls with blind ties
		h := newHand()
		for w, y := range []float64{0, 6000} {
			a := fmt.Sprintf("wall-%c", 'A'+w)
			h.assembly(a, frame.AssemblyWallPanel)
			for i, x := range []float64{0, 4000} {
				h.post(fmt.Sprintf("P%d%c", i+1, 'A'+w), x, y, 3000, a, bear)
			}
			h.beam(fmt.Sprintf("G%c", 'A'+w), frame.RoleGirt, fmt.Sprintf("P1%c", 'A'+w), fmt.Sprintf("P2%c", 'A'+w), V(100, y, 2500), V(3900, y, 2500), blind, a)
		}
		for i, x := range []float64{0, 4000} {
			h.beam(fmt.Sprintf("T%d", i+1), frame.RoleTieBeam, fmt.Sprintf("P%dA", i+1), fmt.Sprintf("P%dB", i+1), V(x, 100, 2700), V(x, 5900, 2700), blind, "")
		}
		show(t, "walls-blind", h.d)
	}
	{ // no assemblies, 2 bents
		k := numbers(2)
		k.PurlinsPerSlope = 1
		d, _ := rough.Make(k)
		d.Assemblies = nil
		for i := range d.Timbers {
			d.Timbers[i].Assembly = ""
		}
		show(t, "loose rough 2", d)
	}
	{ // single post
		h := newHand()
		h.post("P1", 0, 0, 3000, "", bear)
		show(t, "single", h.d)
		h.post("P2", 4000, 0, 3000, "", bear)
		show(t, "two separate", h.d)
		h.beam("G", frame.RoleGirt, "P1", "P2", V(100, 0, 2600), V(3900, 0, 2600), blind, "")
		show(t, "two and girt", h.d)
	}
	{ // dowelled posts with girt
		h := newHand()
		h.post("P1", 0, 0, 3000, "", dowel)
		h.post("P2", 4000, 0, 3000, "", dowel)
		h.beam("G", frame.RoleGirt, "P1", "P2", V(100, 0, 2600), V(3900, 0, 2600), blind, "")
		show(t, "dowelled posts girt", h.d)
		h.post("P3", 4000, 4000, 3000, "", dowel)
		h.beam("T", frame.RoleTieBeam, "P2", "P3", V(4000, 100, 2600), V(4000, 3900, 2600), blind, "")
		show(t, "dowelled corner", h.d)
	}
	{ // cantilever and strut
		h := newHand()
		h.post("P1", 0, 0, 4000, "", bear)
		h.stick("B", frame.RoleTieBeam, V(100, 0, 3000), V(3000, 0, 3000), "")
		h.join(blind, "B", frame.AtStart, "P1", V(100, 0, 3000))
		h.sized("X", frame.RoleKneeBrace, V(100, 0, 2000), V(1000, 0, 2900), "", 100)
		h.join(joinery.SteelConnection, "X", frame.AtStart, "P1", V(100, 0, 2000))
		h.join(joinery.SteelConnection, "X", frame.AtEnd, "B", V(1000, 0, 2900))
		show(t, "cantilever", h.d)
	}
	{ // scarfed plates over 4 posts
		h := newHand()
		for i, x := range []float64{100, 3000, 6000, 9000, 11900} {
			p := fmt.Sprintf("P%d", i+1)
			h.post(p, x, 0, 3000, "", bear)
			pl := "PLa"
			if x > 5000 {
				pl = "PLb"
			}
			h.join(blind, p, frame.AtEnd, pl, V(x, 0, 3000))
		}
		h.stick("PLa", frame.RolePlate, V(0, 0, 3100), V(4500, 0, 3100), "")
		h.stick("PLb", frame.RolePlate, V(4500, 0, 3100), V(12000, 0, 3100), "")
		h.join(joinery.Scarf, "PLb", frame.AtStart, "PLa", V(4500, 0, 3100))
		h.d.Joints[len(h.d.Joints)-1].Tenon = &joinery.Tenon{LengthMM: 600, ThicknessMM: 100, WidthMM: 200}
		show(t, "scarf", h.d)
	}
	{ // truss on standing posts
		h := newHand()
		for i, x := range []float64{0, 4000} {
			a := fmt.Sprintf("truss-%d", i+1)
			h.assembly(a, frame.AssemblyRoofTruss)
			t, ra, rb := fmt.Sprintf("T%d", i+1), fmt.Sprintf("RA%d", i+1), fmt.Sprintf("RB%d", i+1)
			h.stick(t, frame.RoleTieBeam, V(x, -100, 3100), V(x, 6100, 3100), a)
			h.sized(ra, frame.RolePrincipalRafter, V(x, 200, 3200), V(x, 3000, 6000), a, 150)
			h.sized(rb, frame.RolePrincipalRafter, V(x, 5800, 3200), V(x, 3000, 6000), a, 150)
			h.join(blind, ra, frame.AtStart, t, V(x, 200, 3200))
			h.join(blind, rb, frame.AtStart, t, V(x, 5800, 3200))
			h.join(joinery.ForkAndTongue, ra, frame.AtEnd, rb, V(x, 3000, 6000))
			for w, y := range []float64{0, 6000} {
				p := fmt.Sprintf("P%d%c", i+1, 'A'+w)
				h.post(p, x, y, 3000, "", bear)
				h.join(blind, p, frame.AtEnd, t, V(x, y, 3000))
			}
		}
		for w, y := range []float64{0, 6000} {
			h.beam(fmt.Sprintf("G%c", 'A'+w), frame.RoleGirt, fmt.Sprintf("P1%c", 'A'+w), fmt.Sprintf("P2%c", 'A'+w), V(100, y, 2500), V(3900, y, 2500), blind, "")
		}
		show(t, "truss", h.d)
	}
	{ // steel girts
		h := newHand()
		for i, x := range []float64{0, 4000} {
			a := fmt.Sprintf("bent-%d", i+1)
			h.assembly(a, frame.AssemblyBent)
			for w, y := range []float64{0, 6000} {
				h.post(fmt.Sprintf("P%d%c", i+1, 'A'+w), x, y, 3000, a, bear)
			}
			h.beam(fmt.Sprintf("T%d", i+1), frame.RoleTieBeam, fmt.Sprintf("P%dA", i+1), fmt.Sprintf("P%dB", i+1), V(x, 100, 2700), V(x, 5900, 2700), blind, a)
		}
		for w, y := range []float64{0, 6000} {
			h.beam(fmt.Sprintf("G%c", 'A'+w), frame.RoleGirt, fmt.Sprintf("P1%c", 'A'+w), fmt.Sprintf("P2%c", 'A'+w), V(100, y, 2500), V(3900, y, 2500), joinery.SteelConnection, "")
		}
		for i, x := range []float64{700, 1400} {
			h.sized(fmt.Sprintf("J%d", i), frame.RoleJoist, V(x, 100, 2500), V(x, 5900, 2500), "", 150)
			h.join(dove, fmt.Sprintf("J%d", i), frame.AtStart, "GA", V(x, 100, 2500))
			h.join(dove, fmt.Sprintf("J%d", i), frame.AtEnd, "GB", V(x, 5900, 2500))
		}
		show(t, "steel girts, joists", h.d)
	}
}
