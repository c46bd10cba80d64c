package rough

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// Sizes of joints, common practice.
const (
	mainPegMM, lightPegMM     = 25.4, 19.05
	mainTenonMM, lightTenonMM = 114.3, 88.9
	mainDrawBoreMM            = 25.4 / 8
	lightDrawBoreMM           = 25.4 / 16
	pegProudMM                = 50.8 // how much longer a peg is than the timber is thick
	pegWood                   = "white-oak"
	mortiseClearMM            = 3
	webMM                     = 12 // left at the bottom of a mortise, or between two that face each other
	wantWidthMM, leastWidthMM = 100, 50
	tailMM                    = 38.1
	tailDepthShare, tailShare = 0.6, 0.75
	pegSpacingDiameters       = 3
	pegSideDiameters          = 1.5    // of tenon beside two pegs, both sides together
	defaultEdge, defaultEnd   = 2.5, 3 // peg distances where no tests are known
)

// cut is a pegged blind mortise and tenon to lay out.
type cut struct {
	id, entering string
	end          frame.End
	receiving    string
	// driven is the side from which the pegs come.
	driven geom.Vec
	// light joints have the smaller tenon and peg: braces, struts, girts, and rafter heads, which only bear.
	light bool
	// roomMM is the timber that the mortise may use when another faces it; 0 for all of it.
	roomMM float64
	// brace marks the joints of knee braces, which have one peg.
	brace bool
}

// join lays out a blind mortise and tenon: as long as the room for its mortise and the stock of a sloped
// stick let it, draw-bored and pegged.
func (b *builder) join(c cut) {
	entering, receiving := b.solid(c.entering), b.solid(c.receiving)
	j := joinery.Joint{Kind: joinery.BlindMortiseAndTenon, Entering: entering, End: c.end, Receiving: receiving}
	j.At = j.Place()
	d := joinery.DirectionsOf(j)

	room := c.roomMM
	if room == 0 {
		room = receiving.ExtentMM(d.N)
	} else {
		room += webMM / 2 // each of two that face each other leaves half of the web
	}
	length, peg, drawBore := mainTenonMM, mainPegMM, mainDrawBoreMM
	if c.light {
		length, peg, drawBore = lightTenonMM, lightPegMM, lightDrawBoreMM
	}
	length = math.Min(length, room-webMM-mortiseClearMM)

	// The tenon is cut from the stick's own stock: half of its depth holds L·|n·d| + w/2·|t·d|.
	alongDepth, acrossDepth := math.Abs(geom.Dot(d.N, entering.Axes.Depth)), math.Abs(geom.Dot(d.Width, entering.Axes.Depth))
	stock := entering.DepthMM / 2
	if alongDepth > 1e-9 {
		length = math.Min(length, (stock-leastWidthMM/2*acrossDepth)/alongDepth)
	}
	width := math.Min(wantWidthMM, 2*(stock-length*alongDepth)/math.Max(acrossDepth, 1e-9))
	if alongDepth <= 1e-9 {
		width = entering.DepthMM / 2
	}
	length, width = hundredths(length), hundredths(width)
	pegs := joinery.Pegs{
		Count: 1, DiameterMM: peg, LengthMM: hundredths(receiving.ExtentMM(d.Thickness) + pegProudMM), Wood: pegWood,
		DrivenFrom: joinery.FaceTowards(receiving.Axes, c.driven), Hole: joinery.HoleBoredThroughInShop,
		DrawBoreOffsetMM: drawBore, FromShoulderMM: b.fromShoulder(length, peg),
	}
	if !c.brace && width >= (pegSpacingDiameters+pegSideDiameters)*peg {
		pegs.Count, pegs.SpacingMM = 2, pegSpacingDiameters*peg
	}
	b.d.Joints = append(b.d.Joints, frame.Joint{
		ID: c.id, Kind: j.Kind, Entering: c.entering, EnteringEnd: c.end, Receiving: c.receiving, At: j.At,
		Tenon: &joinery.Tenon{
			LengthMM: length, ThicknessMM: tongueMM(math.Min(entering.ExtentMM(d.Thickness), receiving.ExtentMM(d.Thickness))),
			WidthMM: width, ClearanceMM: mortiseClearMM,
		},
		Pegs: &pegs,
	})
}

// fromShoulder is where the pegs go: as far from the mortised face as tests found good, unless that
// leaves too little tenon behind them; then both distances give way alike.
func (b *builder) fromShoulder(length, peg float64) float64 {
	edge, end := defaultEdge, float64(defaultEnd)
	if least, ok := wood.PegDistancesOf(b.k.Species); ok {
		edge, end = least.Edge, least.End
	}
	return hundredths(math.Min(edge*peg, length*edge/(edge+end)))
}

// hundredths rounds a size to what can be read on any rule, and keeps the rounding of sums out of the frame.
func hundredths(mm float64) float64 { return math.Round(mm*100) / 100 }

// dovetail lets a purlin's end drop into the top of a rafter, flush with it.
func (b *builder) dovetail(id, purlin string, end frame.End, rafter string) {
	s, r := b.solid(purlin), b.solid(rafter)
	thickness := hundredths(tailDepthShare * s.DepthMM)
	j := joinery.Joint{Entering: s, End: end}
	b.d.Joints = append(b.d.Joints, frame.Joint{
		ID: id, Kind: joinery.DovetailedHousing, Entering: purlin, EnteringEnd: end, Receiving: rafter, At: j.Place(),
		Tenon: &joinery.Tenon{
			LengthMM: hundredths(math.Min(tailMM, (r.WidthMM-webMM)/2)), ThicknessMM: thickness, WidthMM: hundredths(tailShare * s.WidthMM),
			ShoulderOffsetMM: (s.DepthMM - thickness) / 2,
		},
	})
}

// tongue lets the ridge beam's end drop into the open fork of a king post's head; the tongues of two
// ridge beams share it.
func (b *builder) tongue(id, ridge string, end frame.End, king string) {
	s, k := b.solid(ridge), b.solid(king)
	j := joinery.Joint{Entering: s, End: end}
	length := hundredths(k.WidthMM/2 - 1)
	b.d.Joints = append(b.d.Joints, frame.Joint{
		ID: id, Kind: joinery.ForkAndTongue, Entering: ridge, EnteringEnd: end, Receiving: king, At: j.Place(),
		Tenon: &joinery.Tenon{LengthMM: length, ThicknessMM: tongueMM(s.WidthMM), WidthMM: s.DepthMM, ClearanceMM: 1},
		Pegs: &joinery.Pegs{
			Count: 1, DiameterMM: lightPegMM, LengthMM: hundredths(k.DepthMM + pegProudMM), Wood: pegWood,
			DrivenFrom: joinery.FaceTowards(k.Axes, geom.V(0, -1, 0)), Hole: joinery.HoleNearCheekBored,
			FromShoulderMM: b.fromShoulder(length, lightPegMM),
		},
	})
}
