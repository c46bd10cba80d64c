package plan

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/sequencing/bracing"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

// nearDeckMM is the height below which a timber is in the way of a brace's foot.
const nearDeckMM = 300

// inPlaneMM is how far from the line of its feet, in plan, a joint must be to hold what stands on them square to it.
const inPlaneMM = 25

// deckOf is the deck with the feet of all timbers of the frame.
func deckOf(f *frame.Frame, at Site) *bracing.Deck {
	d := &bracing.Deck{Outline: at.Deck}
	for i, t := range f.Timbers() {
		low, high := t.Start, t.End
		if low.Z > high.Z {
			low, high = high, low
		}
		if low.Z > nearDeckMM {
			continue
		}
		axes := f.Axes(i)
		if high.Z <= nearDeckMM {
			along := geom.Scale(0.5, geom.Sub(high, low))
			side := geom.Unit(geom.V(-along.Y, along.X, 0))
			half := axes.Extent(t.WidthMM, t.DepthMM, side) / 2
			d.Prints = append(d.Prints, bracing.Footprint{
				At: geom.Mid(low, high), HalfLength: along, HalfWidth: geom.Scale(half, side),
			})
			continue
		}
		d.Prints = append(d.Prints, bracing.Footprint{
			At: low, HalfLength: geom.Scale(t.WidthMM/2, axes.Width), HalfWidth: geom.Scale(t.DepthMM/2, axes.Depth),
		})
	}
	return d
}

// braces are the temporary braces of the posts that a move stands; loose pieces that others carry get none.
func (m *maker) braces(mv *Move, from *raising.Move) []bracing.Brace {
	u := bracing.Unit{Move: mv.Number}
	posts := m.standing(mv.Pieces)
	if len(posts) == 0 {
		return nil
	}
	for _, s := range posts {
		t, axes := m.f.Timbers()[s.post], m.f.Axes(s.post)
		u.Posts = append(u.Posts, bracing.Post{
			Mark: t.Mark, HeightMM: max(t.Start.Z, t.End.Z) - s.foot.Z, Taken: m.taken(s.post, s.foot.Z),
			Foot: bracing.Footprint{
				At:         s.foot,
				HalfLength: geom.Scale(t.WidthMM/2, axes.Width), HalfWidth: geom.Scale(t.DepthMM/2, axes.Depth),
			},
		})
	}
	middle := middleOf(u.Posts)
	u.Square = squareTo(u.Posts)
	var joined []geom.Vec
	for _, l := range from.Links {
		// What is joined at the deck alone, such as a sill to a sill, is not kept upright by it, nor is a bent by a
		// post in its own plane.
		link := &m.order.Links[l]
		if link.Receiving != raising.Deck && link.At.Z > nearDeckMM && math.Abs(geom.Dot(geom.Sub(link.At, middle), u.Square)) > inPlaneMM {
			joined = append(joined, link.At)
		}
	}
	u.Joined = len(joined) > 0
	if u.Joined && len(u.Posts) > 1 && !towards(u.Square, middle, joined, mv.Home) {
		u.Square = geom.Scale(-1, u.Square)
	}
	for i := range u.Posts {
		p := &u.Posts[i]
		// A post in the middle has braces on its face towards the first post.
		to := geom.Sub(middle, p.Foot.At)
		if geom.Norm(to) < nearDeckMM {
			to = geom.Sub(u.Posts[0].Foot.At, p.Foot.At)
		}
		p.Inward = geom.Unit(geom.V(to.X, to.Y, 0))
	}
	return m.deck.Set(u)
}

// stood is a post that stands on the deck, or on a sill that lies on it, with its foot on the level of the deck.
type stood struct {
	joint, post int
	foot        geom.Vec
}

// standing are the posts among some pieces, by the order of their joints. Whether the sill under a post moves with it
// or lay there before is all one.
func (m *maker) standing(pieces []int) []stood {
	var posts []stood
	for _, p := range pieces {
		for _, j := range m.f.JointsOf(p) {
			if e, _ := m.f.Ends(j); e != p {
				continue
			}
			if deckMM, ok := m.stands(j); ok {
				at := m.f.Joints()[j].At
				posts = append(posts, stood{joint: j, post: p, foot: geom.V(at.X, at.Y, deckMM)})
			}
		}
	}
	slices.SortFunc(posts, func(a, b stood) int { return a.joint - b.joint })
	return posts
}

// stands says whether a joint stands a post on the deck, or on a sill that lies on it, and gives the height of
// the deck there.
func (m *maker) stands(j int) (deckMM float64, ok bool) {
	e, r := m.f.Ends(j)
	t := m.f.Timbers()[e]
	if math.Abs(t.End.Z-t.Start.Z) < nearDeckMM {
		return 0, false // a sill lies on the deck
	}
	if r < 0 {
		return m.f.Joints()[j].At.Z, true
	}
	sill := m.f.Timbers()[r]
	if max(sill.Start.Z, sill.End.Z) > nearDeckMM || math.Abs(m.f.Axes(e).Axis.Z) < plumbSine {
		return 0, false
	}
	deckMM = math.Inf(1)
	for _, c := range m.f.Solid(r).Corners {
		deckMM = min(deckMM, c.Z)
	}
	return deckMM, true
}

// plumbSine is the sine of the slope from which a stick on a sill is a post and not a brace of one: 80 degrees.
const plumbSine = 0.985

// taken are the places where others are joined to a post.
func (m *maker) taken(post int, deckMM float64) []bracing.Taken {
	var taken []bracing.Taken
	for _, j := range m.f.JointsOf(post) {
		if _, r := m.f.Ends(j); r == post {
			joint := m.f.Joinery(j)
			taken = append(taken, bracing.Taken{Face: joinery.EnteredFace(joint), HeightMM: joint.At.Z - deckMM})
		}
	}
	return taken
}

// ways are where everything that is raised with its feet in a line comes home over the deck.
func (m *maker) ways() []bracing.Way {
	var ways []bracing.Way
	for i := range m.order.Moves {
		from := &m.order.Moves[i]
		var feet []geom.Vec
		half, tenon := 0.0, 0.0
		for _, u := range from.Units {
			for _, s := range m.standing(m.order.Pieces[u]) {
				feet = append(feet, s.foot)
				half = max(half, m.f.Timbers()[s.post].WidthMM/2, m.f.Timbers()[s.post].DepthMM/2)
			}
		}
		for _, l := range from.Links {
			tenon = max(tenon, m.order.Links[l].TenonMM)
		}
		if len(feet) < 2 {
			continue
		}
		first, last := feet[0], farthest(feet[0], feet)
		line := geom.Sub(last, first)
		line.Z = 0
		square := geom.Cross(geom.Up(), geom.Unit(line))
		back := -tenon * geom.Dot(from.Home, square) // from where it slides home
		at := geom.Along(geom.Mid(first, last), back/2, square)
		ways = append(ways, bracing.Way{Move: i + 1, Over: bracing.Footprint{
			At:         at,
			HalfLength: geom.Along(geom.Scale(0.5, line), half, geom.Unit(line)),
			HalfWidth:  geom.Scale(half+math.Abs(back)/2+bracing.ClearMM, square),
		}})
	}
	return ways
}

// middleOf is the middle of the feet.
func middleOf(posts []bracing.Post) geom.Vec {
	middle := geom.Vec{}
	for _, p := range posts {
		middle = geom.Along(middle, 1/float64(len(posts)), p.Foot.At)
	}
	return middle
}

// towards says whether a direction square to the feet looks to where the joints with what stands are; where they
// lie to both sides, whether it is the way home.
func towards(square, middle geom.Vec, joined []geom.Vec, home geom.Vec) bool {
	sum := 0.0
	for _, at := range joined {
		sum += geom.Dot(geom.Sub(at, middle), square)
	}
	if math.Abs(sum) > 1 {
		return sum > 0
	}
	return geom.Dot(home, square) >= 0
}

// farthest is the point farthest from another.
func farthest(from geom.Vec, points []geom.Vec) geom.Vec {
	far := from
	for _, p := range points {
		if geom.Dist(p, from) > geom.Dist(far, from) {
			far = p
		}
	}
	return far
}

// squareTo is the level direction square to the line of the posts' feet, towards plus X where it may be;
// for a single post that of its width.
func squareTo(posts []bracing.Post) geom.Vec {
	feet := make([]geom.Vec, len(posts))
	for i, p := range posts {
		feet[i] = p.Foot.At
	}
	d := geom.Sub(farthest(feet[0], feet), feet[0])
	square := geom.Unit(geom.V(d.Y, -d.X, 0))
	if square == (geom.Vec{}) {
		w := posts[0].Foot.HalfLength
		square = geom.Unit(geom.V(w.X, w.Y, 0))
	}
	if square.X < -1e-9 || math.Abs(square.X) <= 1e-9 && square.Y < 0 {
		square = geom.Scale(-1, square)
	}
	return square
}
