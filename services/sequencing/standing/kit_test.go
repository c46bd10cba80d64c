package standing

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// hut is a rough frame of two king-post bents of about the reference bent's size (b18): 7.4 m over all, posts 3 m,
// rafters at 9:12, knee braces and struts.
func hut() rough.King {
	return rough.King{
		Title: "hut", BentCount: 2, BaySpacingsMM: []float64{3600}, SpanMM: 7400, PostHeightMM: 3000, RoofPitchDeg: 36.87,
		GirtDropMM: 300, BraceLegMM: 800, Struts: true, WallBraces: true, Species: "eastern-white-pine", Grade: "No. 1", MoisturePercent: 60,
	}
}

func parse(t testing.TB, k rough.King) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, k)
}

// standingOf are the timbers of assemblies.
func standingOf(f *frame.Frame, assemblies ...string) []int {
	var list []int
	for _, a := range assemblies {
		list = append(list, f.Members(a)...)
	}
	return list
}

// everyone are all timbers.
func everyone(f *frame.Frame) []int {
	list := make([]int, len(f.Timbers()))
	for i := range list {
		list[i] = i
	}
	return list
}

// pegged says the same of all joints.
func pegged(f *frame.Frame, yes bool) []bool {
	return slices.Repeat([]bool{yes}, len(f.Joints()))
}

// bentOf is the id of the n-th bent.
func bentOf(t testing.TB, f *frame.Frame, n int) string {
	t.Helper()
	for _, a := range f.Assemblies() {
		if a.Kind == frame.AssemblyBent {
			if n--; n < 0 {
				return a.ID
			}
		}
	}
	t.Fatal("the frame has too few bents")
	return ""
}

// propUp are 4x4 braces at 45 degrees from the posts of what stands to the deck, two to a post, one to either side of the
// bent, their tops at a share of the post's height.
func propUp(t testing.TB, f *frame.Frame, standing []int, share float64) []brace.Brace {
	t.Helper()
	stock := brace.DefaultStock()
	i := slices.IndexFunc(stock.Lumber, func(l brace.Lumber) bool { return l.ID == "4x4" })
	lumber := stock.Lumber[i]
	head, ok := stock.HeadFor(lumber)
	anchor, found := stock.AnchorFor(model.OnDeck)
	if !ok || !found {
		t.Fatal("the stock has nothing to fix a 4x4 with")
	}
	along := waysOf(f)[0].dir
	var list []brace.Brace
	for _, p := range f.Posts() {
		if !slices.Contains(standing, p) {
			continue
		}
		post := f.Timbers()[p]
		side := geom.Cross(geom.Up(), along)
		if post.Start.Y < 2000 {
			side = geom.Scale(-1, side) // on the outer face, clear of knee braces
		}
		off := f.Stick(p).ExtentMM(side)/2 + lumber.WidthMM/2
		height := share * post.End.Z
		for _, d := range []geom.Vec{along, geom.Scale(-1, along)} {
			topAt := geom.Along(geom.V(post.Start.X, post.Start.Y, height), off, side)
			foot := geom.Along(geom.V(topAt.X, topAt.Y, 0), height, d)
			list = append(list, brace.Brace{
				ID: fmt.Sprintf("B%d", len(list)+1), Timber: p, Mark: post.Mark, Top: topAt, Foot: foot, FootTimber: -1,
				Lumber: lumber, Head: head, Anchor: anchor,
			})
		}
	}
	return list
}

func check(t testing.TB, f *frame.Frame, s Situation, r Rules, o Ask) *Verdict {
	t.Helper()
	v, err := Check(context.Background(), f, s, r, o)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// tell logs a verdict.
func tell(t testing.TB, what string, v *Verdict) {
	t.Helper()
	t.Logf("%s: stands %v, governing %v %s share %.3g in %q: %s; highest %.1f m/s, sway %.1f mm of %s at %.0f mm, weight %.0f N",
		what, v.Stands, v.Governing.Kind, v.Governing.Piece, v.Governing.Share, v.Governing.Combination, v.Governing.Words, v.HighestGustMPS, v.SwayMM, v.TopMark, v.TopMM, v.WeightN)
}
