package standup

import (
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// Lifted is the structure of a bent at one tilt in degrees from flat, or hanging free, as Check analyses it at one end of the range of
// joint stiffness, with its supports and its loads: for a second opinion by other means. Feet and slings that let go are
// left out of the supports. It is in the bent's own upright coordinates, with gravity turned. Its error is a
// *statics.InputError.
func Lifted(p Problem, tiltDeg float64, hanging bool, s model.Stiffness) (*statics.Model, statics.Case, error) {
	c, set, err := newChecker(p)
	if err != nil {
		return nil, statics.Case{}, err
	}
	if !(tiltDeg >= 0 && tiltDeg <= 90) {
		return nil, statics.Case{}, fault("tilt", "%g degrees from flat is not from 0 to 90; put it right", tiltDeg)
	}
	l, err := c.load(set, s)
	if err != nil {
		return nil, statics.Case{}, err
	}
	o, err := l.rig.solve(attitude{tiltDeg: tiltDeg, hanging: hanging})
	if err != nil {
		return nil, statics.Case{}, err
	}
	return o.model, o.load, nil
}
