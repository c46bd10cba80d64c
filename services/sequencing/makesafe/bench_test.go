package makesafe

import (
	"fmt"
	"testing"

	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// barn are the numbers of a barn of eight bents, as large as what the demonstration raises.
func barn() rough.King {
	return rough.King{
		Title: "Barn", BentCount: 8, BaySpacingsMM: []float64{3657.6}, SpanMM: 10972.8, PostHeightMM: 3657.6,
		RoofPitchDeg: 35, PurlinsPerSlope: 4, BraceLegMM: 1067, Struts: true, WallBraces: true,
		Sections: []rough.Section{
			{Role: "ROLE_POST", NominalWidthIn: 10, NominalDepthIn: 10},
			{Role: "ROLE_TIE_BEAM", NominalWidthIn: 10, NominalDepthIn: 12},
			{Role: "ROLE_PRINCIPAL_RAFTER", NominalWidthIn: 8, NominalDepthIn: 10},
			{Role: "ROLE_KING_POST", NominalWidthIn: 10, NominalDepthIn: 10},
			{Role: "ROLE_STRUT", NominalWidthIn: 8, NominalDepthIn: 8},
			{Role: "ROLE_KNEE_BRACE", NominalWidthIn: 6, NominalDepthIn: 8},
			{Role: "ROLE_PLATE", NominalWidthIn: 10, NominalDepthIn: 10},
			{Role: "ROLE_GIRT", NominalWidthIn: 10, NominalDepthIn: 10},
			{Role: "ROLE_PURLIN", NominalWidthIn: 8, NominalDepthIn: 8},
			{Role: "ROLE_RIDGE_BEAM", NominalWidthIn: 8, NominalDepthIn: 12},
		},
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 25,
	}
}

// long is the stock with boards long enough to reach the deck from the barn's king posts.
func long() brace.Stock {
	s := brace.DefaultStock()
	for i := range s.Lumber {
		l := &s.Lumber[i]
		for l.LongestMM() < 6000 {
			l.LengthsMM = append(l.LengthsMM, l.LongestMM()+609.6)
			l.Counts = append(l.Counts, -1)
		}
	}
	return s
}

// BenchmarkMakeSafe makes states of the barn safe in which nothing is braced: the first bent alone, three bents, all bents with
// what joins them along the walls, and the whole.
func BenchmarkMakeSafe(b *testing.B) {
	f := roughFrame(b, barn())
	moves := movesOf(b, f)
	for _, move := range []int{1, 8, 22, len(moves)} {
		p := after(b, f, move, standing.DefaultRules().WorkingGustMPS)
		p.Stock = long()
		b.Run(fmt.Sprintf("move=%d", move), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				got, err := Solve(b.Context(), p, Budget{}, nil)
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(len(got.Add)), "braces")
				b.ReportMetric(float64(got.Steps), "steps")
			}
		})
	}
}

// BenchmarkRaising plans the braces of every state of the barn.
func BenchmarkRaising(b *testing.B) {
	f := roughFrame(b, barn())
	p := RaisingProblem{
		Frame: f, Moves: movesOf(b, f), Rules: standing.DefaultRules(), Stock: long(),
		Site: Site{Deck: wideDeck(f, 3000), DeckMM: 600},
	}
	b.ReportAllocs()
	for b.Loop() {
		got, err := Raising(b.Context(), p, Budget{}, nil)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(got.First), "first")
	}
}
