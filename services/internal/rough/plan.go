package rough

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
)

const (
	// relishMM is the least tie beam that is left outside the foot of a rafter.
	relishMM = 75
	// strutFootMM is the least king post between the tie beam and a strut's foot.
	strutFootMM = 60
)

// across is a point in the plane of a bent: u outwards from the middle, z up.
type across struct{ u, z float64 }

// planned are the points and sections from which every stick follows.
type planned struct {
	x                                                          []float64 // bent lines
	span                                                       float64
	post, tie, king, rafter, strut, brace, beam, purlin, ridge size
	pitch, sin, cos                                            float64
	postTop, tieTop, kingTop, beamBottom, ridgeZ               float64
	foot, head                                                 across // of the rafters, on their centre lines
	strutFoot, strutHead                                       across
	strutRad                                                   float64
}

// plan works out where everything lies.
func plan(k King, sizes map[frame.Role]size) planned {
	p := planned{
		span: k.SpanMM, postTop: k.PostHeightMM, pitch: geom.Radians(k.RoofPitchDeg),
		post: sizes[frame.RolePost], tie: sizes[frame.RoleTieBeam], king: sizes[frame.RoleKingPost],
		rafter: sizes[frame.RolePrincipalRafter], strut: sizes[frame.RoleStrut], brace: sizes[frame.RoleKneeBrace],
		beam: sizes[frame.RoleGirt], purlin: sizes[frame.RolePurlin], ridge: sizes[frame.RoleRidgeBeam],
	}
	p.sin, p.cos = math.Sincos(p.pitch)
	if k.GirtDropMM == 0 {
		p.beam = sizes[frame.RolePlate]
	}
	x := 0.0
	for bent := range k.BentCount {
		p.x = append(p.x, x)
		x += k.BaySpacingsMM[min(bent, len(k.BaySpacingsMM)-1)]
	}
	p.tieTop = p.postTop + p.tie.DepthMM
	p.beamBottom = p.postTop - k.GirtDropMM - p.beam.DepthMM
	p.truss()
	p.struts()
	return p
}

// truss places the rafters between tie beam and king post, and the ridge beam level with them: its top
// arrises lie in the roof planes.
func (p *planned) truss() {
	half := p.rafter.DepthMM / 2
	p.foot = across{p.span/2 - relishMM - half/p.sin, p.tieTop}
	face := p.king.DepthMM / 2
	p.head = across{face, p.tieTop + (p.foot.u-face)*p.sin/p.cos}
	roof := p.head.z + half/p.cos // the roof plane at the king post's face
	p.kingTop = math.Max(roof+(face-p.ridge.WidthMM/2)*p.sin/p.cos, roof+clearMM/2)
	p.ridgeZ = p.kingTop - p.ridge.DepthMM/2
}

// struts run from the king post's foot to the undersides of the rafters, as steep as the roof within 30
// to 45 degrees.
func (p *planned) struts() {
	p.strutRad = math.Min(math.Max(p.pitch, math.Pi/6), math.Pi/4)
	slope, roof := math.Tan(p.strutRad), p.sin/p.cos
	rise := p.strut.DepthMM/2/math.Cos(p.strutRad) + strutFootMM
	p.strutFoot = across{p.head.u, p.tieTop + rise}
	u := (p.foot.u*roof - p.rafter.DepthMM/2/p.cos - rise + p.head.u*slope) / (roof + slope)
	p.strutHead = across{u, p.strutFoot.z + (u-p.head.u)*slope}
}

// rafterMM is the length of a rafter from shoulder to shoulder.
func (p planned) rafterMM() float64 { return (p.foot.u - p.head.u) / p.cos }

// clearBays are the clear lengths between the posts of neighbouring bents.
func (p planned) clearBays() []float64 {
	clear := make([]float64, len(p.x)-1)
	for i := range clear {
		clear[i] = p.x[i+1] - p.x[i] - p.post.WidthMM
	}
	return clear
}

// wall is one side of the frame.
type wall struct {
	letter  string
	outward float64 // of Y
}

func walls() [2]wall { return [2]wall{{"A", -1}, {"B", 1}} }

// at is a point of a bent on one side.
func (p planned) at(bent int, w wall, c across) geom.Vec {
	return geom.V(p.x[bent]+p.post.WidthMM/2, p.span/2+w.outward*c.u, c.z)
}
