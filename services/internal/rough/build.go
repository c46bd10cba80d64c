package rough

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// builder lays the sticks and joints down.
type builder struct {
	k     King
	p     planned
	d     frame.Draft
	index map[string]int
}

func (b *builder) grid() {
	b.d.Title = b.k.Title
	for i, x := range b.p.x {
		b.d.Grid.BentLines = append(b.d.Grid.BentLines, frame.GridLine{Label: fmt.Sprint(i + 1), Point: geom.V(x, 0, 0), HeadingDeg: 90})
	}
	b.d.Grid.WallLines = []frame.GridLine{
		{Label: "A", Point: geom.V(0, 0, 0)},
		{Label: "B", Point: geom.V(0, b.p.span, 0)},
	}
	b.d.Grid.Levels = []frame.Level{
		{Label: "deck", ZMM: 0},
		{Label: "post top", ZMM: b.p.postTop},
		{Label: "tie beam top", ZMM: b.p.tieTop},
		{Label: "ridge", ZMM: b.p.kingTop},
	}
}

// stick adds a timber. Its reference faces are those that look best towards first and second.
func (b *builder) stick(mark string, role frame.Role, s size, start, end geom.Vec, rollDeg float64, assembly string, first, second geom.Vec) {
	finish := frame.FinishRoughSawn
	if b.k.Planed {
		finish = frame.FinishPlaned
	}
	x := geom.AxesOf(start, end, rollDeg)
	b.index[mark] = len(b.d.Timbers)
	b.d.Timbers = append(b.d.Timbers, frame.Timber{
		Mark: mark, Role: role, WidthMM: s.WidthMM, DepthMM: s.DepthMM,
		NominalWidthIn: &s.nominalWidthIn, NominalDepthIn: &s.nominalDepthIn,
		Start: start, End: end, RollDeg: rollDeg,
		ReferenceFaces: []frame.Face{joinery.FaceTowards(x, first), joinery.FaceTowards(x, second)},
		Species:        b.k.Species, Grade: b.k.Grade, Finish: finish, MoisturePercent: b.k.MoisturePercent,
		Assembly: assembly,
	})
}

func west() geom.Vec { return geom.V(-1, 0, 0) }

// bent adds a bent: posts, tie beam, king post, rafters, struts and braces.
func (b *builder) bent(i int) {
	p, n := b.p, i+1
	id := fmt.Sprintf("bent-%d", n)
	b.d.Assemblies = append(b.d.Assemblies, frame.Assembly{ID: id, Kind: frame.AssemblyBent, Line: fmt.Sprint(n)})
	tie, king := fmt.Sprintf("T-%d", n), fmt.Sprintf("K-%d", n)
	postU := p.span/2 - p.post.DepthMM/2
	for _, w := range walls() {
		mark := fmt.Sprintf("P-%d%s", n, w.letter)
		b.stick(mark, frame.RolePost, p.post, p.at(i, w, across{postU, 0}), p.at(i, w, across{postU, p.postTop}), 0, id,
			west(), geom.V(0, w.outward, 0))
	}
	middle := p.postTop + p.tie.DepthMM/2
	b.stick(tie, frame.RoleTieBeam, p.tie, p.at(i, walls()[0], across{p.span / 2, middle}), p.at(i, walls()[1], across{p.span / 2, middle}), 0, id,
		west(), geom.Up())
	b.stick(king, frame.RoleKingPost, p.king, p.at(i, walls()[0], across{0, p.tieTop}), p.at(i, walls()[0], across{0, p.kingTop}), 0, id,
		west(), geom.V(0, -1, 0))
	b.join(cut{id: king + ".foot", entering: king, end: frame.AtStart, receiving: tie, driven: west()})
	for _, w := range walls() {
		post := fmt.Sprintf("P-%d%s", n, w.letter)
		b.d.Joints = append(b.d.Joints, frame.Joint{
			ID: post + ".base", Kind: joinery.PostBaseBearing, Entering: post, EnteringEnd: frame.AtStart,
			At: b.timber(post).Start,
		})
		b.join(cut{id: post + ".top", entering: post, end: frame.AtEnd, receiving: tie, driven: west()})
		b.halfTruss(i, w, id, tie, king)
		if b.k.BraceLegMM > 0 {
			b.bentBrace(i, w, id, post, tie)
		}
	}
}

// halfTruss adds the rafter and the strut of one side.
func (b *builder) halfTruss(i int, w wall, id, tie, king string) {
	p := b.p
	rafter := fmt.Sprintf("R-%d%s", i+1, w.letter)
	b.stick(rafter, frame.RolePrincipalRafter, p.rafter, p.at(i, w, p.foot), p.at(i, w, p.head), 0, id, west(), geom.Up())
	b.join(cut{id: rafter + ".foot", entering: rafter, end: frame.AtStart, receiving: tie, driven: west()})
	prong := (p.king.DepthMM - tongueMM(p.ridge.WidthMM)) / 2
	b.join(cut{id: rafter + ".head", entering: rafter, end: frame.AtEnd, receiving: king, driven: west(), light: true, roomMM: prong})
	if !b.k.Struts {
		return
	}
	strut := fmt.Sprintf("S-%d%s", i+1, w.letter)
	b.stick(strut, frame.RoleStrut, p.strut, p.at(i, w, p.strutFoot), p.at(i, w, p.strutHead), 0, id, west(), geom.Up())
	b.join(cut{id: strut + ".foot", entering: strut, end: frame.AtStart, receiving: king, driven: west(), light: true, roomMM: p.king.DepthMM / 2})
	b.join(cut{id: strut + ".head", entering: strut, end: frame.AtEnd, receiving: rafter, driven: west(), light: true})
}

func (b *builder) bentBrace(i int, w wall, id, post, tie string) {
	p, leg := b.p, b.k.BraceLegMM
	inner := p.span/2 - p.post.DepthMM
	brace := fmt.Sprintf("B-%d%s", i+1, w.letter)
	b.stick(brace, frame.RoleKneeBrace, p.brace, p.at(i, w, across{inner, p.postTop - leg}), p.at(i, w, across{inner - leg, p.postTop}), 0, id,
		west(), geom.Up())
	b.join(cut{id: brace + ".post", brace: true, entering: brace, end: frame.AtStart, receiving: post, driven: west(), light: true})
	b.join(cut{id: brace + ".tie", brace: true, entering: brace, end: frame.AtEnd, receiving: tie, driven: west(), light: true})
}

// walls adds the girts or plates of a bay, and their braces.
func (b *builder) walls(bay int) {
	p := b.p
	role, prefix := frame.RoleGirt, "G"
	if b.k.GirtDropMM == 0 {
		role, prefix = frame.RolePlate, "PL"
	}
	from, to := p.x[bay]+p.post.WidthMM, p.x[bay+1]
	z := p.beamBottom + p.beam.DepthMM/2
	for _, w := range walls() {
		outward := geom.V(0, w.outward, 0)
		y := p.span/2 + w.outward*(p.span/2-p.beam.WidthMM/2)
		mark := fmt.Sprintf("%s-%s%d%d", prefix, w.letter, bay+1, bay+2)
		west, east := fmt.Sprintf("P-%d%s", bay+1, w.letter), fmt.Sprintf("P-%d%s", bay+2, w.letter)
		b.stick(mark, role, p.beam, geom.V(from, y, z), geom.V(to, y, z), 0, "", outward, geom.Up())
		b.join(cut{id: mark + ".west", entering: mark, end: frame.AtStart, receiving: west, driven: outward, light: true, roomMM: p.post.WidthMM / 2})
		b.join(cut{id: mark + ".east", entering: mark, end: frame.AtEnd, receiving: east, driven: outward, light: true, roomMM: p.post.WidthMM / 2})
		if !b.k.WallBraces {
			continue
		}
		leg := b.k.BraceLegMM
		for _, s := range [2]struct {
			mark, post string
			x, toward  float64
		}{
			{fmt.Sprintf("WB-%s%dE", w.letter, bay+1), west, from, 1},
			{fmt.Sprintf("WB-%s%dW", w.letter, bay+2), east, to, -1},
		} {
			b.stick(s.mark, frame.RoleKneeBrace, p.brace, geom.V(s.x, y, p.beamBottom-leg), geom.V(s.x+s.toward*leg, y, p.beamBottom), 0, "",
				outward, geom.Up())
			b.join(cut{id: s.mark + ".post", brace: true, entering: s.mark, end: frame.AtStart, receiving: s.post, driven: outward, light: true, roomMM: p.post.WidthMM / 2})
			b.join(cut{id: s.mark + ".beam", brace: true, entering: s.mark, end: frame.AtEnd, receiving: mark, driven: outward, light: true})
		}
	}
}

// roof adds the purlins and the ridge beam of a bay.
func (b *builder) roof(bay int) {
	p := b.p
	half := p.rafter.WidthMM / 2
	center := p.post.WidthMM / 2
	from, to := p.x[bay]+center+half, p.x[bay+1]+center-half
	flush := (p.rafter.DepthMM - p.purlin.DepthMM) / 2 // from the rafter's centre line to the purlin's
	for _, w := range walls() {
		for row := 1; row <= b.k.PurlinsPerSlope; row++ {
			along := p.rafterMM() * float64(row) / float64(b.k.PurlinsPerSlope+1)
			u := p.foot.u - along*p.cos + flush*p.sin
			z := p.foot.z + along*p.sin + flush*p.cos
			y := p.span/2 + w.outward*u
			mark := fmt.Sprintf("PU-%s%d-%d%d", w.letter, row, bay+1, bay+2)
			b.stick(mark, frame.RolePurlin, p.purlin, geom.V(from, y, z), geom.V(to, y, z), -w.outward*b.k.RoofPitchDeg, "",
				geom.V(0, w.outward*p.sin, p.cos), geom.V(0, w.outward*p.cos, -p.sin))
			b.dovetail(mark+".west", mark, frame.AtStart, fmt.Sprintf("R-%d%s", bay+1, w.letter))
			b.dovetail(mark+".east", mark, frame.AtEnd, fmt.Sprintf("R-%d%s", bay+2, w.letter))
		}
	}
	kingHalf := p.king.WidthMM / 2
	ridge := fmt.Sprintf("RB-%d%d", bay+1, bay+2)
	b.stick(ridge, frame.RoleRidgeBeam, p.ridge, geom.V(p.x[bay]+center+kingHalf, p.span/2, p.ridgeZ),
		geom.V(p.x[bay+1]+center-kingHalf, p.span/2, p.ridgeZ), 0, "", geom.Up(), geom.V(0, -1, 0))
	b.tongue(ridge+".west", ridge, frame.AtStart, fmt.Sprintf("K-%d", bay+1))
	b.tongue(ridge+".east", ridge, frame.AtEnd, fmt.Sprintf("K-%d", bay+2))
}

func (b *builder) timber(mark string) frame.Timber { return b.d.Timbers[b.index[mark]] }

func (b *builder) solid(mark string) joinery.Stick {
	t := b.timber(mark)
	return joinery.NewStick(t.Start, t.End, t.RollDeg, t.WidthMM, t.DepthMM)
}

// tongueMM is the thickness of a tenon or tongue on a stick of the given width: the two-inch or the
// inch-and-a-half arm of the framing square, at most a third or so of the width (common practice).
func tongueMM(widthMM float64) float64 {
	switch {
	case widthMM >= 135:
		return hundredths(math.Min(50.8, widthMM/2.6))
	case widthMM >= 85:
		return 38.1
	}
	return hundredths(widthMM / 3)
}
