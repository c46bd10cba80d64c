package standup

import (
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/platform/units"
)

// leanNoteDeg is the lean out of plumb from which it is said.
const leanNoteDeg = 1.0

// holdOf is what a joint of the bent holds.
func (c *checker) holdOf(j int) (joinery.Hold, error) {
	design := func(i int) (wood.Design, error) {
		t := c.f.Timbers()[i]
		return wood.DesignOf(t.Species, t.Grade, t.WidthMM, t.DepthMM, t.MoisturePercent)
	}
	entering, receiving := c.f.Ends(j)
	if receiving < 0 {
		receiving = entering
	}
	e, err := design(entering)
	if err != nil {
		return joinery.Hold{}, err
	}
	r, err := design(receiving)
	if err != nil {
		return joinery.Hold{}, err
	}
	o := joinery.DefaultHold()
	o.PegHoldsN = c.rules.PegHoldsN
	return joinery.HoldOf(c.f.Joinery(j), joinery.HoldWood{Entering: e, Receiving: r}, o), nil
}

// notes are what was assumed, and what happens between the steps.
func (c *checker) notes(s setup, t *tried) []string {
	list := []string{
		fmt.Sprintf("All forces count the weight %.2f times for the motion of the hook; the slings, spreader and hook block are not in it.", c.factor),
		"It is looked at at rest in each position, the slings straight over the points; wind, tag lines and snatching are not in it.",
		"Feet pivot where their centers stand, on a hard edge; the first is held along the bent, the others may spread.",
	}
	list = append(list, fmt.Sprintf("Lying flat it has the face up that looks %s in the frame.", c.looks()))
	if s.slingDeg < 90 {
		list = append(list, fmt.Sprintf("Two legs at %.0f degrees from level push the points together; the flatter leg has that angle.", s.slingDeg))
	}
	if n := len(t.steps); n >= 2 {
		before, after := t.steps[n-2].HookN, t.steps[n-1].HookN
		if after > before+1 && before > 0 {
			list = append(list, fmt.Sprintf("As it comes off the deck the load on the hook jumps from %.0f to %.0f lb: lift slowly there, with hands on the feet.",
				units.PoundsForceFromN(before), units.PoundsForceFromN(after)))
		}
	}
	if high := math.Abs(c.on(s.points[0]).Z - c.on(s.points[1]).Z); high > evenMM {
		list = append(list, fmt.Sprintf("The points lie %s apart in height: the legs differ in length, and the bent hangs level only when they are cut to it.", units.FeetInches(high)))
	}
	if t.leans > leanNoteDeg {
		list = append(list, fmt.Sprintf("Hanging free it leans %.1f degrees out of plumb, since its center of gravity is not in the plane of the slings.", t.leans))
	}
	var loose []int
	for _, step := range t.steps {
		for _, j := range step.Pulled {
			if !c.pulls(j) && !slices.Contains(loose, j) {
				loose = append(loose, j)
			}
		}
	}
	if len(loose) > 0 {
		slices.Sort(loose)
		list = append(list, fmt.Sprintf("No peg holds %s together while it is lifted: strap what drops out, or leave it loose.", c.ids(loose)))
	}
	for _, j := range t.waiting {
		list = append(list, fmt.Sprintf("%s hangs on one joint alone and is taken as tied to it: tie it up before the lift, or leave it off.", c.f.Joints()[j].Entering))
	}
	return append(list, "It is a check for planning: a qualified person and local rules decide on the lift.")
}

// looks says in words which way the face looks that is up while the bent lies flat.
func (c *checker) looks() string {
	deg := geom.Degrees(math.Atan2(c.plane.normal.Y, c.plane.normal.X))
	words := [...]string{"along plus X", "along plus Y", "along minus X", "along minus Y"}
	quarter := math.Round(deg / 90)
	if math.Abs(deg-90*quarter) < 0.5 {
		return words[(int(quarter)+4)%4]
	}
	return fmt.Sprintf("%.0f degrees from X", math.Mod(deg+360, 360))
}
