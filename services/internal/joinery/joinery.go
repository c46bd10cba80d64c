// Package joinery knows how timbers meet: how much wood a joint takes away, how far a tenon
// reaches, and along which directions the entering timber may leave the receiving one. It works on
// values of its own, so it can be used and tested without a frame.
//
// # Directions of a joint
//
// n is the outward unit normal of the receiving face entered, a the axis of the entering stick, o the
// direction out of it at the end that enters (−a at its start, +a at its end and for a joint along it).
// The receiving face is the long face of the receiving stick whose normal opposes o best; ties go to
// the first of plus depth, minus depth, plus width, minus width. A birdsmouth sits on the long face
// that points most upward. For a steel connection along the entering stick it is the face that looks
// best towards that stick's axis. For a scarf it is the end of the receiving stick that opposes o.
// A post base has the deck: n is up.
//
// t is the tenon's width direction, the receiving stick's axis (a mortise lies along the grain), and m
// the thickness direction, perpendicular to n and t. For a scarf t is the receiving stick's width
// direction and m its depth direction; for a post base t is the entering stick's depth direction and m
// its width direction. m is signed to point to the plus depth face of the entering stick when it lies nearer
// to its depth than to its width, else to the plus width face; a shoulder offset counts that way.
package joinery

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// Kind is how two timbers meet.
type Kind int32

// The kinds of joint.
const (
	KindUnspecified        Kind = 0
	BlindMortiseAndTenon   Kind = 1
	ThroughMortiseAndTenon Kind = 2
	WedgedMortiseAndTenon  Kind = 3
	HousedMortiseAndTenon  Kind = 4
	ForkAndTongue          Kind = 5
	DovetailedHousing      Kind = 6
	Lap                    Kind = 7
	Scarf                  Kind = 8
	Birdsmouth             Kind = 9
	SteppedFoot            Kind = 10
	SlipTenon              Kind = 11
	KnifePlate             Kind = 12
	SteelConnection        Kind = 13
	PostBaseBearing        Kind = 14
	PostBaseDowelled       Kind = 15
	PostBaseKnifePlate     Kind = 16
	lastKind                    = PostBaseKnifePlate
)

// String is the kind in trade words.
func (k Kind) String() string {
	names := [...]string{
		"unspecified joint", "blind mortise and tenon", "through mortise and tenon",
		"wedged mortise and tenon", "housed mortise and tenon", "fork and tongue",
		"dovetailed housing", "lap", "scarf", "birdsmouth", "stepped foot", "slip tenon",
		"knife plate", "steel connection", "bearing post base", "dowelled post base",
		"knife plate post base",
	}
	if k < 0 || int(k) >= len(names) {
		return "unknown joint"
	}
	return names[k]
}

// Known reports whether the kind is one of the kinds of joint.
func (k Kind) Known() bool { return k > KindUnspecified && k <= lastKind }

// PostBase reports whether the joint is between a timber and the deck.
func (k Kind) PostBase() bool { return k >= PostBaseBearing && k <= PostBaseKnifePlate }

// Mortised reports whether a tenon enters a mortise that is closed on its four sides.
func (k Kind) Mortised() bool {
	return k >= BlindMortiseAndTenon && k <= HousedMortiseAndTenon
}

// Through reports whether the mortise goes through the receiving timber.
func (k Kind) Through() bool {
	return k == ThroughMortiseAndTenon || k == WedgedMortiseAndTenon
}

// NeedsTenon reports whether the joint cannot be without a tenon, tongue or tail.
func (k Kind) NeedsTenon() bool {
	return k.Mortised() || k == ForkAndTongue || k == DovetailedHousing || k == SlipTenon
}

// TakesTenon reports whether the joint may have a tenon, tongue, tail, loose tongue, plate or dowel.
func (k Kind) TakesTenon() bool {
	switch k {
	case Lap, Scarf, SteppedFoot, KnifePlate, PostBaseDowelled, PostBaseKnifePlate:
		return true
	}
	return k.NeedsTenon()
}

// TakesAlong reports whether the joint may lie somewhere along the entering timber instead of at
// one of its ends.
func (k Kind) TakesAlong() bool {
	return k == Lap || k == Birdsmouth || k == SteelConnection || k == PostBaseBearing
}

// projects reports whether the entering stick carries the tongue on itself, so that it makes the
// stick longer.
func (k Kind) projects() bool {
	switch k {
	case ForkAndTongue, DovetailedHousing, Lap, Scarf, SteppedFoot:
		return true
	}
	return k.Mortised()
}

// sloped reports whether the end of the entering stick is cut to lie on the face that it enters.
func (k Kind) sloped() bool { return !k.PostBase() && k != Birdsmouth }

// End is a place on the entering stick.
type End int32

// The places of a joint on the entering stick.
const (
	EndUnspecified End = 0
	AtStart        End = 1
	AtEnd          End = 2
	Along          End = 3
)

// String is the place in trade words.
func (e End) String() string {
	switch e {
	case AtStart:
		return "start"
	case AtEnd:
		return "end"
	case Along:
		return "along"
	}
	return "unspecified end"
}

// Face is a long face of a stick, in its own axes.
type Face int32

// The long faces of a stick.
const (
	FaceUnspecified Face = 0
	PlusDepth       Face = 1
	MinusDepth      Face = 2
	PlusWidth       Face = 3
	MinusWidth      Face = 4
)

// String is the face in trade words.
func (f Face) String() string {
	names := [...]string{"unspecified face", "plus depth", "minus depth", "plus width", "minus width"}
	if f < 0 || int(f) >= len(names) {
		return "unknown face"
	}
	return names[f]
}

// Known reports whether the face is one of the four long faces.
func (f Face) Known() bool { return f >= PlusDepth && f <= MinusWidth }

// Adjoins reports whether two faces share an edge.
func (f Face) Adjoins(g Face) bool {
	return f.Known() && g.Known() && (f <= MinusDepth) != (g <= MinusDepth)
}

// Normal is the outward unit normal of the face on a stick with the given axes.
func (f Face) Normal(x geom.Axes) geom.Vec {
	switch f {
	case PlusDepth:
		return x.Depth
	case MinusDepth:
		return geom.Scale(-1, x.Depth)
	case PlusWidth:
		return x.Width
	case MinusWidth:
		return geom.Scale(-1, x.Width)
	}
	return geom.Vec{}
}

// FaceTowards is the long face whose outward normal points best along d; ties go to the first of
// plus depth, minus depth, plus width, minus width.
func FaceTowards(x geom.Axes, d geom.Vec) Face {
	const tie = 1e-9
	best, most := PlusDepth, math.Inf(-1)
	for f := PlusDepth; f <= MinusWidth; f++ {
		if dot := geom.Dot(f.Normal(x), d); dot > most+tie {
			best, most = f, dot
		}
	}
	return best
}

// ScarfTable is which way the two halves of a scarf come together.
type ScarfTable int32

// The tables of a scarf.
const (
	ScarfUnspecified ScarfTable = 0
	ScarfHalved      ScarfTable = 1
	ScarfSideways    ScarfTable = 2
	ScarfEndwise     ScarfTable = 3
)

// String is the table in trade words.
func (s ScarfTable) String() string {
	names := [...]string{"no scarf", "halved", "sideways", "endwise"}
	if s < 0 || int(s) >= len(names) {
		return "unknown table"
	}
	return names[s]
}

// PegHole is the state of the peg hole when the stick leaves the shop.
type PegHole int32

// The states of a peg hole.
const (
	HoleUnspecified               PegHole = 0
	HoleNone                      PegHole = 1
	HoleNearCheekBored            PegHole = 2
	HoleBoredThroughInShop        PegHole = 3
	HoleBoredThroughAfterAssembly PegHole = 4
)

// String is the state in trade words.
func (h PegHole) String() string {
	names := [...]string{
		"unspecified hole", "no hole", "near cheek bored", "bored through in the shop",
		"bored through after assembly",
	}
	if h < 0 || int(h) >= len(names) {
		return "unknown hole"
	}
	return names[h]
}

// Stick is what joinery must know of a timber: its shoulders, its axes and its finished section.
type Stick struct {
	Start, End       geom.Vec
	Axes             geom.Axes
	WidthMM, DepthMM float64
}

// NewStick makes a stick with the axes that start, end and roll give it.
func NewStick(start, end geom.Vec, rollDeg, widthMM, depthMM float64) Stick {
	return Stick{Start: start, End: end, Axes: geom.AxesOf(start, end, rollDeg), WidthMM: widthMM, DepthMM: depthMM}
}

// ShoulderMM is the length from shoulder to shoulder.
func (s Stick) ShoulderMM() float64 { return geom.Dist(s.Start, s.End) }

// AreaMM2 is the area of the finished section.
func (s Stick) AreaMM2() float64 { return s.WidthMM * s.DepthMM }

// ExtentMM is how far the section reaches along the direction u, over both sides of its centre.
func (s Stick) ExtentMM(u geom.Vec) float64 { return s.Axes.Extent(s.WidthMM, s.DepthMM, u) }

// DistanceMM is how far a point lies outside the square-ended stick; 0 inside it.
func (s Stick) DistanceMM(p geom.Vec) float64 {
	along, w, d := s.Axes.Local(geom.Sub(p, s.Start))
	out := geom.V(
		max(0, -along, along-s.ShoulderMM()),
		max(0, math.Abs(w)-s.WidthMM/2),
		max(0, math.Abs(d)-s.DepthMM/2),
	)
	return geom.Norm(out)
}

// Tenon is the tongue of a joint, or what stands for it: see the fields of the frame model.
type Tenon struct {
	LengthMM         float64 // from the face entered to the tip, a housing included
	ThicknessMM      float64 // along m
	WidthMM          float64 // along t
	ShoulderOffsetMM float64 // from the stick's centre, along m
	HousingDepthMM   float64 // to which the whole end is let in
	ClearanceMM      float64 // left at the bottom of the mortise
}

// Pegs are the pegs of one joint, all alike.
type Pegs struct {
	Count            int
	DiameterMM       float64
	LengthMM         float64
	Wood             string // key of the species
	DrivenFrom       Face   // of the receiving timber
	Hole             PegHole
	DrawBoreOffsetMM float64 // how much nearer to the shoulder the hole in the tenon is
	FromShoulderMM   float64 // to the centres of the pegs
	SpacingMM        float64 // between neighbouring centres; 0 for a single peg
}

// VolumeMM3 is the volume of all pegs of the joint.
func (p Pegs) VolumeMM3() float64 {
	return float64(p.Count) * math.Pi / 4 * p.DiameterMM * p.DiameterMM * p.LengthMM
}

// Joint is where a stick meets another or the deck. Receiving means nothing for a post base.
type Joint struct {
	Kind      Kind
	Entering  Stick
	End       End
	Receiving Stick
	Tenon     *Tenon
	Pegs      *Pegs
	At        geom.Vec
	Scarf     ScarfTable
}
