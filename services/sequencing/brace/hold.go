package brace

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// builtUp is what is left of the column factor of boards that are nailed face to face, bending over their faces; from
// memory, the national standard's clause on built-up columns.
const builtUp = 0.6

// LengthMM is from point to point.
func (b Brace) LengthMM() float64 { return geom.Dist(b.Top, b.Foot) }

// SlopeDeg is how steep it stands, from level.
func (b Brace) SlopeDeg() float64 {
	return geom.Degrees(math.Atan2(math.Abs(b.Top.Z-b.Foot.Z), math.Hypot(b.Top.X-b.Foot.X, b.Top.Y-b.Foot.Y)))
}

// Slenderness is le/d of the whole section between its ends, taken as hinges.
func (b Brace) Slenderness() float64 {
	return b.LengthMM() / math.Min(b.Lumber.WidthMM, b.Lumber.DepthMM)
}

// OnTimber reports whether the foot is fixed to another timber.
func (b Brace) OnTimber() bool { return b.FootTimber >= 0 }

// PushN is what the brace bears before it buckles, in newtons, for normal duration, counting it on hinges at both ends; 0 when it is
// more slender than the limit, or than wood.MostSlenderness. Duration of load hardly changes it. It says nothing of
// its ends. Boards nailed face to face have three fifths of the column factor over their faces.
func (b Brace) PushN(slendernessLimit float64) float64 {
	if s := b.Slenderness(); !(s <= math.Min(slendernessLimit, wood.MostSlenderness)) {
		return 0
	}
	d, err := b.Lumber.Design()
	if err != nil {
		return 0
	}
	l := b.Lumber
	over := wood.ColumnFactor(d.Fc, d.EMin, b.LengthMM()/l.WidthMM, 0.8)
	if l.Plies > 1 {
		over *= builtUp
	}
	along := wood.ColumnFactor(d.Fc, d.EMin, b.LengthMM()/l.DepthMM, 0.8)
	return d.Fc * math.Min(over, along) * l.WidthMM * l.DepthMM * 1e-6
}

// PullN is what the board bears in tension, in newtons, for normal duration, on three quarters of its section, the rest
// being left to fasteners. It says nothing of its ends.
func (b Brace) PullN() float64 {
	d, err := b.Lumber.Design()
	if err != nil {
		return 0
	}
	return 0.75 * d.Ft * b.Lumber.WidthMM * b.Lumber.DepthMM * 1e-6
}

// BendNM is what the brace bears in bending over its thinner side in newton-metres, for normal duration, and eulerN the
// compression in newtons at which that bending would grow without end: FcE·A, three fifths of it for boards nailed face
// to face, which bend each on its own.
func (b Brace) BendNM() (bendNM, eulerN float64) {
	d, err := b.Lumber.Design()
	if err != nil {
		return 0, 0
	}
	l := b.Lumber
	thin, wide := math.Min(l.WidthMM, l.DepthMM)/1000, math.Max(l.WidthMM, l.DepthMM)/1000
	slender := b.Slenderness()
	bendNM, eulerN = math.Min(d.Fb, d.FbFlat)*wide*thin*thin/6, 0.822*d.EMin/(slender*slender)*wide*thin
	if l.Plies > 1 {
		bendNM, eulerN = bendNM/float64(l.Plies), builtUp*eulerN
	}
	return bendNM, eulerN
}

// AnchorUse is how much of its anchor a force along the brace takes, tension positive, in newtons, and by which
// formula. Up and across add up: an anchor that is drawn both ways holds less. It is 0 for a foot on a timber.
func (b Brace) AnchorUse(axialN float64) (share float64, formula string) {
	return b.AnchorUseFor(axialN, 1)
}

// AnchorUseFor is AnchorUse for a load of another duration. The load duration factor is on fasteners drawn up or across
// out of a deck; what bears down on the deck across its grain has none, and neither has soil.
func (b Brace) AnchorUseFor(axialN, duration float64) (share float64, formula string) {
	if b.OnTimber() {
		return 0, ""
	}
	sin, cos := math.Sincos(geom.Radians(b.SlopeDeg()))
	size, factor := math.Abs(axialN), ""
	if b.Anchor.Ground == model.OnGround {
		duration = 1
	} else if duration != 1 {
		factor = "CD·"
	}
	across := quotient(size*cos, b.AnchorAcrossN(duration))
	if axialN < 0 {
		return quotient(size*sin, b.Anchor.DownN) + across, fmt.Sprintf("F·sin(slope)/down + F·cos(slope)/(%sacross)", factor)
	}
	return quotient(size*sin, b.Anchor.UpN*duration) + across, fmt.Sprintf("F·sin(slope)/(%sup) + F·cos(slope)/(%sacross)", factor, factor)
}

// AnchorAcrossN is what its anchor holds across for a load of some duration; +Inf for a foot on a timber.
func (b Brace) AnchorAcrossN(duration float64) float64 {
	switch {
	case b.OnTimber():
		return math.Inf(1)
	case b.Anchor.Ground == model.OnGround:
		return b.Anchor.AcrossN
	}
	return b.Anchor.AcrossN * duration
}

// AnchorN is the force along the brace in newtons that its anchor bears, pulled or pushed; +Inf for a foot on a timber.
func (b Brace) AnchorN(pulled bool) float64 {
	one := 1.0
	if !pulled {
		one = -1
	}
	share, _ := b.AnchorUse(one)
	if share == 0 {
		return math.Inf(1)
	}
	return 1 / share
}

// quotient is demand over capacity; nothing holds nothing.
func quotient(demand, capacity float64) float64 {
	switch {
	case demand <= 1e-12:
		return 0
	case capacity <= 0:
		return math.Inf(1)
	}
	return demand / capacity
}

// Structure is the brace as package model takes it: its foot gives at its fastening and, where it does not stand on a
// timber, at its anchor. One that is more slender than wood.MostSlenderness only pulls; a stricter rule is for the
// caller to set. An unknown species has no stiffness, which package model refuses.
func (b Brace) Structure() model.Brace {
	m := model.Brace{
		Name: b.ID, Timber: b.Timber, Top: b.Top, Foot: b.Foot, Ground: b.Anchor.Ground, FootTimber: b.FootTimber,
		WidthMM: b.Lumber.WidthMM, DepthMM: b.Lumber.DepthMM, DensityKgPerM3: b.Lumber.DensityKgPerM3(),
		TopNPerM: b.Head.GivesNPerM, FootNPerM: b.Head.GivesNPerM,
		PullOnly: b.Slenderness() > wood.MostSlenderness,
	}
	if d, err := b.Lumber.Design(); err == nil {
		m.EPa = d.E
	}
	if b.OnTimber() {
		m.Ground = model.OnTimber
		return m
	}
	if a, h := b.Anchor.GivesNPerM, b.Head.GivesNPerM; a > 0 && h > 0 {
		m.FootNPerM = 1 / (1/a + 1/h)
	}
	return m
}

// Check finds what keeps a brace from being one; a *statics.InputError names it.
func (b Brace) Check() error {
	bad := func(format string, args ...any) error {
		return &statics.InputError{Piece: "brace " + b.ID, Problem: fmt.Sprintf(format, args...)}
	}
	l := b.Lumber
	switch {
	case !geom.Finite(b.Top) || !geom.Finite(b.Foot):
		return bad("its top or foot is not made of numbers; give both points")
	case !(b.LengthMM() >= leastLongMM):
		return bad("it is %.0f mm long from top to foot; braces are at least %.0f mm", b.LengthMM(), leastLongMM)
	case !(b.LengthMM() <= mostLongMM):
		return bad("it is %.0f mm long from top to foot; at most %.0f mm are taken", b.LengthMM(), mostLongMM)
	case !(l.WidthMM >= leastMM && l.WidthMM <= mostMM && l.DepthMM >= leastMM && l.DepthMM <= mostMM):
		return bad("its lumber of %g × %g mm is no board; give sizes from %.0f to %.0f mm", l.WidthMM, l.DepthMM, leastMM, mostMM)
	case l.Plies < 1 || l.Plies > mostPlies:
		return bad("it has %d boards face to face; 1 to %d are taken", l.Plies, mostPlies)
	case !(b.Head.HoldsN >= 0 && b.Head.HoldsN <= mostHoldN) || !(b.Head.GivesNPerM >= leastGives && b.Head.GivesNPerM <= mostGives):
		return bad("its fastening %q holds %g N and gives %g N/m; give what it holds, up to %.0f N, and a stiffness from %g to %g N/m",
			b.Head.ID, b.Head.HoldsN, b.Head.GivesNPerM, mostHoldN, leastGives, mostGives)
	case b.Timber < 0:
		return bad("it names no timber that it holds; give one")
	case b.Timber == b.FootTimber:
		return bad("both its ends are on %s; a brace runs between two pieces", b.Mark)
	}
	if _, err := l.Design(); err != nil {
		return bad("its lumber is not known: %v", err)
	}
	if b.OnTimber() {
		return nil
	}
	a := b.Anchor
	hold := func(v float64) bool { return v >= 0 && v <= mostHoldN }
	if !hold(a.UpN) || !hold(a.AcrossN) || !hold(a.DownN) || !(a.GivesNPerM >= leastGives && a.GivesNPerM <= mostGives) {
		return bad("its anchor %q must say what it holds up, across and down, up to %.0f N, and a stiffness from %g to %g N/m", a.ID, mostHoldN, leastGives, mostGives)
	}
	if a.Ground != model.OnDeck && a.Ground != model.OnGround {
		return bad("its foot is on no timber, so its anchor %q must be on deck or ground", a.ID)
	}
	return nil
}
