package gateway_test

import (
	"context"
	"fmt"
	"html"
	"math"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"github.com/pikepole/pikepole/gateway"
	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

func (b *backend) GetStandRules(context.Context, *sequencingv1.GetStandRulesRequest) (*sequencingv1.StandRules, error) {
	// 40 and 60 miles an hour.
	return &sequencingv1.StandRules{WorkingGustMPerS: 17.8816, NightGustMPerS: 26.8224, Etag: "0"}, nil
}

func (b *backend) GetBraceStock(context.Context, *sequencingv1.GetBraceStockRequest) (*sequencingv1.BraceStock, error) {
	return &sequencingv1.BraceStock{
		Lumber: []*sequencingv1.Lumber{
			{Id: "2x6", Name: "two-by-six", WidthMm: 38, DepthMm: 140, PlyCount: 1, Lengths: []*sequencingv1.LumberLength{{LengthMm: 4876.8}}},
			{Id: "4x4", Name: "four-by-four", WidthMm: 89, DepthMm: 89, PlyCount: 1},
		},
		Fastenings: []*sequencingv1.Fastening{{Id: "5-16d", Name: "five 16d nails"}},
		Anchors:    []*sequencingv1.Anchor{{Id: "cleat-lags", Name: "cleat with two lags", Ground: sequencingv1.Ground_GROUND_DECK}},
	}, nil
}

func placedBrace(id string, y float64) *sequencingv1.PlacedBrace {
	// Three, four, five: 6 ft out, 8 ft up, 10 ft long.
	return &sequencingv1.PlacedBrace{
		Id: id, Mark: "S001", Top: &framev1.Point{YMm: y, ZMm: 2438.4}, Foot: &framev1.Point{XMm: 1828.8, YMm: y},
		Ground: sequencingv1.Ground_GROUND_DECK, Lumber: "2x6", Fastening: "5-16d", Anchor: "cleat-lags",
	}
}

func braceCut(id string) *sequencingv1.BraceCut {
	return &sequencingv1.BraceCut{Brace: id, LengthMm: 3048, StockMm: 4876.8, TopBevelDeg: 36.9, FootBevelDeg: 53.1, SlopeDeg: 53.1, Instruction: "Cut " + id + "."}
}

func standVerdict(gust, share float64) *sequencingv1.Verdict {
	use := &sequencingv1.Use{
		Failure: sequencingv1.Failure_FAILURE_ANCHOR_PULLED_OUT, Piece: "B1", Share: &share, Demand: 4448.2216152605 * share, Capacity: 4448.2216152605, Unit: "N",
		Combination: "0.6 weight + wind along +X, soft joints", Formula: "N sin θ / R_up", Source: "statics", Status: sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED,
		Words: fmt.Sprintf("the anchor of B1 is used to %.0f %%", math.Ceil(share*100)),
	}
	// 1,355.818 N·m are 1,000 lb·ft; 12.7 mm are half an inch.
	bent := &sequencingv1.Use{Failure: sequencingv1.Failure_FAILURE_MEMBER_OVERSTRESSED, Piece: "S003", Share: proto.Float64(0.3), Demand: 406.745, Capacity: 1355.818, Unit: "N·m"}
	swayed := &sequencingv1.Use{Failure: sequencingv1.Failure_FAILURE_SWAY, Piece: "S004", Share: proto.Float64(0.127), Demand: 0.0127, Capacity: 0.1, Unit: "m"}
	// Stands up to a little less than 46 miles an hour.
	return &sequencingv1.Verdict{
		Stands: share <= 1, GustMPerS: gust, Governing: use, Uses: []*sequencingv1.Use{use, bent, swayed}, HighestGustMPerS: proto.Float64(20.56), SwayMm: 12.7, TopMark: "S004", TopMm: 5000,
		WeightN: 18000, BraceForces: []*sequencingv1.BraceForce{{Brace: "B1", PullN: 4448.2216152605, PushN: 2224.11}}, Residual: 1e-12,
	}
}

func (b *backend) GetStanding(_ context.Context, in *sequencingv1.GetStandingRequest) (*sequencingv1.RaisingCheck, error) {
	check := &sequencingv1.RaisingCheck{
		ComputedFrom: b.from(in.GetJob(), in.GetRevision()), Stands: !b.falls && !b.cut, Planned: true,
		Notes:    []string{"No stick shields another from the wind."},
		Basis:    []*sheetv1.Basis{{Quantity: "wind on a stick", Formula: "w = q cf b sin φ", Source: "a published standard", Status: sheetv1.SourceStatus_SOURCE_STATUS_PUBLISHED}},
		Cautions: []string{"A check for planning: temporary works need a qualified person and local rules."},
	}
	for n := range max(14, b.states) {
		state := &sequencingv1.RaisingState{Move: n + 1, Released: standVerdict(17.8816, 0.4+float64(n)/100), On: []string{"B1", "B2"}}
		if n >= 14 {
			state.Overnight = state.GetReleased()
			for k := range 4 {
				id := fmt.Sprintf("B%d-%d", n, k)
				state.Set = append(state.Set, placedBrace(id, 0))
				check.Cuts = append(check.Cuts, braceCut(id))
			}
		}
		switch n {
		case 0:
			state.Set = []*sequencingv1.PlacedBrace{placedBrace("B1", 0), placedBrace("B2", 3657.6)}
			check.Cuts = append(check.Cuts, braceCut("B1"), braceCut("B2"))
			state.KnockedOut = &sequencingv1.KnockedOut{Brace: "B2", Verdict: standVerdict(8.9408, 0.9)}
		case 4:
			state.Set = []*sequencingv1.PlacedBrace{{
				Id: "B3", Mark: "S002", Top: &framev1.Point{ZMm: 2438.4}, Foot: &framev1.Point{XMm: 1828.8, ZMm: 304.8}, Ground: sequencingv1.Ground_GROUND_TIMBER, FootMark: "S007", Lumber: "2x6", Fastening: "5-16d",
			}}
			check.Cuts = append(check.Cuts, braceCut("B3"))
			state.PegFirst = true
			state.Overnight = standVerdict(26.8224, 0.93)
			state.Strike = []*sequencingv1.Strike{{Brace: "B1", Once: "the joints of S007 are pegged"}}
		case 6:
			if b.falls {
				check.FirstFallingMove = 7
				state.Released = standVerdict(17.8816, 1.2)
				state.Released.Governing.Share, state.Released.Governing.Failure = nil, sequencingv1.Failure_FAILURE_OVERTURNING
				state.Released.Governing.Words = "it goes over about the line through the outer edges of the feet of S001 and S002"
				state.Refusal = "No place for a brace is left on the side of wall A"
			}
		}
		check.States = append(check.States, state)
	}
	return check, nil
}

func (b *backend) DrawStand(_ context.Context, in *sequencingv1.DrawStandRequest) (*sheetv1.Document, error) {
	return &sheetv1.Document{MediaType: "image/svg+xml", Filename: "state.svg", Content: []byte(strings.ReplaceAll(drawnSVG, "Bent 2", "View "+in.GetView()))}, nil
}

func (b *backend) MakeSafe(in *sequencingv1.MakeSafeRequest, stream grpc.ServerStreamingServer[sequencingv1.MakeSafeAnswer]) error {
	b.mu.Lock()
	b.calls["MakeSafe"] = append(b.calls["MakeSafe"], in)
	b.mu.Unlock()
	answer := &sequencingv1.MakeSafeAnswer{
		ComputedFrom: b.from(in.GetJob(), in.GetRevision()), Safe: true, Add: []*sequencingv1.PlacedBrace{placedBrace("N1", 0), placedBrace("N2", 3657.6), placedBrace("N3", 0)},
		Cuts: []*sequencingv1.BraceCut{braceCut("N1"), braceCut("N2"), braceCut("N3")}, LeastCount: 1,
		Before: standVerdict(in.GetGustMPerS(), 1.4), Verdict: standVerdict(in.GetGustMPerS(), 0.8),
		Cautions: []string{"A check for planning: temporary works need a qualified person and local rules."},
	}
	if b.slow == nil || b.lost {
		if err := stream.Send(answer); err != nil {
			return err
		}
	}
	if b.lost {
		return fault.New(fault.Unavailable, fault.ReasonUpstream, "The search was lost.").GRPCStatus().Err()
	}
	if b.slow != nil {
		<-b.slow
	}
	better := proto.Clone(answer).(*sequencingv1.MakeSafeAnswer)
	better.Add, better.Cuts, better.LeastCount, better.Final, better.EndedBy = answer.GetAdd()[:2], answer.GetCuts()[:2], 2, true, "fewer are proved not to do"
	better.KnockedOut = &sequencingv1.KnockedOut{Brace: "N2", Verdict: standVerdict(8.9408, 0.95)}
	return stream.Send(better)
}

func (b *backend) CheckLift(_ context.Context, in *sequencingv1.CheckLiftRequest) (*sequencingv1.LiftCheck, error) {
	if in.GetAssembly() == "B9" {
		return nil, fault.New(fault.NotFound, "ASSEMBLY_NOT_FOUND", "The frame has no assembly %q.", in.GetAssembly()).GRPCStatus().Err()
	}
	holds := len(in.GetFeetTied()) > 0
	share := 1.3
	if holds {
		share = 0.7
	}
	use := &sequencingv1.Use{Failure: sequencingv1.Failure_FAILURE_JOINT_PULLED_APART, Piece: "J12", Share: &share, Words: "the posts spread and pull J12 apart"}
	check := &sequencingv1.LiftCheck{
		ComputedFrom: b.from(in.GetJob(), in.GetRevision()), Holds: holds, Governing: use,
		Steps: []*sequencingv1.LiftStep{
			{TiltDeg: 0, HookN: 44482.2, BaseUpN: 22241.1, BaseAcrossN: 444.8, FrictionNeeded: proto.Float64(0.02), BendingAcrossNm: 1355.8, BendingMark: "S003", MoveMm: 25.4, Governing: use, JointsPulled: []string{"J12"}},
			{TiltDeg: 90, Hanging: true, HookN: 66723.3, BendingAcrossNm: 0, MoveMm: 3.175, Governing: use},
		},
		Points: []*sequencingv1.LiftPoint{{Mark: "S004", FromStartMm: 1219.2}},
	}
	if !holds {
		check.Remedies = []*sequencingv1.LiftRemedy{{Words: "Tie the feet of all posts to one another", Holds: true, Governing: use}}
	}
	return check, nil
}

func TestStandingPages(t *testing.T) {
	t.Parallel()
	s := start(t)
	for path, wants := range map[string][]string{
		"/jobs/job-a/standing": {
			"✓ All 14 states stand", "The night after move 5 comes nearest to its limits: anchor overloaded at B1, 93 % of what it bears, in a gust of 60 mph.", "Nights fall after move 5.",
			`src="/jobs/job-a/standing/1.svg?revision=3&from=5f2c9e0b-1&view=braces"`, `id="state-14"`, "1 · B1", "5, overnight", "⚠ Peg before letting go.", "Cut list", "3 braces to cut",
			`data-head="stands up to">45<`, "two-by-six", `16'-0"`, "Find the braces", `value="60"`, "/jobs/job-a/lifting/B1", "No stick shields another", "standing?format=csv",
			"A check for planning: temporary works need a qualified person and local rules.", `href="/jobs/job-a/standing?view=sway&move=1#picture"`,
		},
		"/jobs/job-a/standing?view=axial&move=5":  {`src="/jobs/job-a/standing/5.svg?revision=3&from=5f2c9e0b-1&view=axial"`, `view=axial&move=5#picture" aria-current="page"`},
		"/jobs/job-a/standing?view=x-ray&move=99": {"/standing/1.svg?revision=3&from=5f2c9e0b-1&view=braces"},
		"/jobs/job-a/standing/1": {
			"State and braces, move 1 of 14", "✓ It stands once 2 braces are set: B1, B2", "With any one brace knocked out", "it is worst without B2", `id="brace-B2"`, "cleat with two lags",
			`up the stick">8'-0"<`, `foot X">6'-0"<`, `two-by-six, 10'-0"`, `data-head="pull">1,000<`, "36.9", "View braces", "Sticks in this picture", "N sin θ / R_up", "/jobs/job-a/standing/2?view=braces",
			"0.6 weight + wind along +X, soft joints", "1,000 lbf", "300 lb·ft", "1,000 lb·ft", "1/2 in", "standing/1/braces?format=csv",
		},
		"/jobs/job-a/standing/5?view=bending": {"View bending", "⚠ Peg first:", "Overnight, all joints pegged", "S007 at 1'-0\" up, five 16d nails", "the joints of S007 are pegged.", "2 braces are on from moves before"},
		"/jobs/job-a/lifting/B2": {
			"✕ It does not bear the lift as asked", "The posts spread and pull J12 apart.", "✓ It bears it so:</strong> Tie the feet of all posts to one another. Governs then", "✓ Holds:", "Tie the feet of all posts to one another.", "hanging free", "10,000", "1,000", "Slings 60° from level", "S004", "four-by-four",
		},
		"/jobs/job-a/lifting/B2?tied=1&sling=75&strongback=4x4": {"✓ It bears the lift", "Slings 75° from level, the feet tied, a strongback of four-by-four"},
		"/jobs/job-a/lifting/B2?sling=steep":                    {"Write the angle of the slings"},
		"/jobs/job-a/lifting/B9":                                {"The frame has no assembly"},
		"/jobs/job-a":                                           {"/jobs/job-a/standing/2", "Checked braces and state after this move", "the standing sheet"},
		"/jobs/job-a/raising":                                   {"The checked brace list is on the standing sheet", "/jobs/job-a/standing/14", "How B2 bears the lift"},
		"/jobs/job-empty/standing":                              {"No frame has been issued"},
	} {
		t.Run(path, func(t *testing.T) {
			t.Parallel()
			a := s.signedIn(t).get(t, path)
			if a.StatusCode != http.StatusOK || !strings.HasPrefix(a.Header.Get("Content-Type"), "text/html") {
				t.Fatalf("%d %s: %s", a.StatusCode, a.Header.Get("Content-Type"), a.Text)
			}
			text := html.UnescapeString(a.Text)
			for _, want := range wants {
				if !strings.Contains(text, want) {
					t.Errorf("%q is not on the page", want)
				}
			}
			checkPage(t, a)
		})
	}
}

// A check that the clock ended says so, and not that all that it looked at stands.
func TestWhatWasCutShortIsNotSaidToStand(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, _ *gateway.Config) { b.cut = true })
	text := html.UnescapeString(s.signedIn(t).get(t, "/jobs/job-a/standing").Text)
	if !strings.Contains(text, "✕ The check did not come to its end") || strings.Contains(text, "states stand") {
		t.Error("the page does not say that the check was cut short, or that all stand")
	}
}

// What does not stand is said first, in a sentence with a sign, and its state is in the picture.
func TestWhatFallsIsSaidFirst(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, _ *gateway.Config) { b.falls = true })
	b := s.signedIn(t)
	text := html.UnescapeString(b.get(t, "/jobs/job-a/standing").Text)
	after := 0
	for _, want := range []string{
		"✕ After move 7 it does not stand", "✕ Does not stand in a gust of 40 mph.", "It goes over about the line through the outer edges of the feet of S001 and S002.",
		"✕ No place for a brace is left on the side of wall A.", "/jobs/job-a/standing/7.svg", `id="state-7"`, "✕ falls", "Cut list", "Make safe tonight", "How it was computed",
	} {
		at := strings.Index(text[after:], want)
		if at < 0 {
			t.Fatalf("%q is not on the page after what must come before it", want)
		}
		after += at
	}
	if strings.Contains(text, "states stand<") {
		t.Error("the page says too that all stand")
	}
	state := html.UnescapeString(b.get(t, "/jobs/job-a/standing/7").Text)
	if !strings.Contains(state, "✕ Do not let go: it does not stand") || strings.Contains(state, "✓ It stands") {
		t.Error("the sheet of the move does not say that it falls")
	}
}

func safeForm(values ...string) url.Values {
	form := url.Values{"csrf": {csrfToken}, "after": {"5"}, "gust": {"60"}, "listed": {"1"}, "lumber": {"2x6", "4x4"}}
	for i := 0; i < len(values); i += 2 {
		form.Del(values[i])
		if values[i+1] != "" {
			form.Set(values[i], values[i+1])
		}
	}
	return form
}

func TestMakeSafeTonight(t *testing.T) {
	t.Parallel()
	s := start(t)
	b := s.signedIn(t)
	a := b.post(t, "/jobs/job-a/standing", safeForm())
	text := html.UnescapeString(a.Text)
	for _, want := range []string{"2 braces make it safe", "Fewer are proved not to do", `id="brace-N1"`, "As it is", "✕ Does not stand in a gust of 60 mph.", "✓ Stands in a gust of 60 mph", "The worst with one knocked out is without N2."} {
		if a.StatusCode != http.StatusOK || !strings.Contains(strings.ToLower(text), strings.ToLower(want)) {
			t.Errorf("%d without %q", a.StatusCode, want)
		}
	}
	if strings.Contains(text, "brace-N3") {
		t.Error("the page shows an answer that a better one followed")
	}
	checkPage(t, a)
	request := last[*sequencingv1.MakeSafeRequest](t, s.backend, "MakeSafe")
	if got := request.GetGustMPerS(); math.Abs(got-26.8224) > 1e-9 || request.GetAfterMove() != 5 || len(request.GetBraces()) != 2 || request.GetLumber() != nil || request.GetUnpegged() != nil || request.GetRevision() != "3" {
		t.Errorf("the request is %v", request)
	}
	b.post(t, "/jobs/job-a/standing?revision=2", safeForm("listed", "", "lumber", "4x4", "unpegged", "1"))
	request = last[*sequencingv1.MakeSafeRequest](t, s.backend, "MakeSafe")
	if s.count("GetStanding") != 1 {
		t.Errorf("the raising was checked %d times, though the second form needs no list", s.count("GetStanding"))
	}
	if len(request.GetBraces()) != 0 || len(request.GetLumber()) != 1 || request.GetLumber()[0].GetId() != "4x4" || request.GetRevision() != "2" {
		t.Errorf("the request is %v", request)
	}
}

func TestMakeSafeRefusesInSentences(t *testing.T) {
	t.Parallel()
	s := start(t)
	b := s.signedIn(t)
	for name, tc := range map[string]struct {
		field, value, want string
	}{
		"no number":     {"after", "five", "the number of the last move that is done as a whole number"},
		"no such move":  {"after", "99", "has no move 99"},
		"a gust of air": {"gust", "breezy", "Write the gust of the night in miles an hour, from 1 to 200."},
		"not a number":  {"gust", "NaN", "in miles an hour"},
		"no lumber":     {"lumber", "", "Choose at least one size of board"},
	} {
		a := b.post(t, "/jobs/job-a/standing", safeForm(tc.field, tc.value))
		if a.StatusCode != http.StatusBadRequest || !strings.Contains(a.Text, tc.want) || !strings.Contains(a.Text, "✕ No answer.") {
			t.Errorf("%s: %d without %q", name, a.StatusCode, tc.want)
		}
		if tc.value != "" && !strings.Contains(a.Text, `value="`+tc.value+`"`) {
			t.Errorf("%s: what was written is gone", name)
		}
	}
	if a := b.post(t, "/jobs/job-a/standing", safeForm("csrf", "guess")); a.StatusCode != http.StatusForbidden {
		t.Errorf("a form of another site: %d", a.StatusCode)
	}
	if s.count("MakeSafe") != 0 {
		t.Error("the service was asked nevertheless")
	}
}

// A service that is busy leaves the rest of the page, with a way to ask again.
func TestABusyCheckCanBeAskedAgain(t *testing.T) {
	t.Parallel()
	busy := fault.New(fault.Exhausted, fault.ReasonBusy, "Too much is being computed; ask again in a moment.").After(2 * time.Second).GRPCStatus().Err()
	s := start(t, func(b *backend, _ *gateway.Config) {
		b.fail["GetStanding"], b.fail["DrawStand"], b.fail["CheckLift"] = busy, busy, busy
	})
	b := s.signedIn(t)
	for path, rest := range map[string]string{
		"/jobs/job-a/standing?view=sway": "/jobs/job-a/lifting/B1", "/jobs/job-a/standing/3?view=use": "/jobs/job-a/standing/2", "/jobs/job-a/lifting/B2?tied=1": "Check the lift",
	} {
		a := b.get(t, path)
		for _, want := range []string{"Too much is being computed", `href="` + html.EscapeString(path) + `"`, "Try again", rest} {
			if a.StatusCode != http.StatusOK || !strings.Contains(a.Text, want) {
				t.Errorf("%s: %d without %q", path, a.StatusCode, want)
			}
		}
		checkPage(t, a)
	}
}

func TestALongRaisingMakesNoLargePage(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, _ *gateway.Config) { b.states, b.sticks = 300, 5000 })
	b := s.signedIn(t)
	style := len(b.get(t, "/style.css").Text)
	for _, path := range []string{"/jobs/job-a/standing", "/jobs/job-a/standing?page=2", "/jobs/job-a/standing/200"} {
		// 150 kB a page before drawings, with the style sheet.
		if size := len(b.get(t, path).Text) + style; size > 150_000 {
			t.Errorf("%s: %d bytes", path, size)
		}
	}
	text := b.get(t, "/jobs/job-a/standing?page=2").Text
	for _, want := range []string{"Page 2 of 8", `id="state-41"`, "more braces stand in the file"} {
		if !strings.Contains(text, want) {
			t.Errorf("the second page has no %s", want)
		}
	}
}

func TestStatePictures(t *testing.T) {
	t.Parallel()
	s := start(t)
	b := s.signedIn(t)
	a := b.get(t, "/jobs/job-a/standing/2.svg?revision=3&from=5f2c9e0b-1&view=use")
	if a.StatusCode != http.StatusOK || a.Header.Get("Content-Type") != "image/svg+xml" || a.Header.Get("Cache-Control") != "private, max-age=86400, immutable" {
		t.Errorf("%d %v", a.StatusCode, a.Header)
	}
	if request := last[*sequencingv1.DrawStandRequest](t, s.backend, "DrawStand"); request.GetMove() != 2 || request.GetView() != "use" || request.GetRevision() != "3" {
		t.Errorf("the request is %v", request)
	}
	for _, path := range []string{"/jobs/job-a/standing/two.svg", "/jobs/job-a/standing/0", "/jobs/job-a/standing/99"} {
		if a := b.get(t, path); a.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %d", path, a.StatusCode)
		}
	}
}

func TestOldStandingSheetsStayOld(t *testing.T) {
	t.Parallel()
	b := start(t).signedIn(t)
	for path, wants := range map[string][]string{
		"/jobs/job-a/standing?revision=2":   {"Old sheet: this is revision 2", "/standing/3?revision=2", "view=sway&move=5&revision=2#picture", `action="/jobs/job-a/standing?revision=2#safe"`, "/lifting/B1?revision=2"},
		"/jobs/job-a/standing/3?revision=2": {"Old sheet: this is revision 2", "/standing/4?view=braces&revision=2", "view=sway&revision=2#picture"},
		"/jobs/job-a/lifting/B2?revision=2": {"Old sheet: this is revision 2", `name="revision" value="2"`, `href="/jobs/job-a/lifting/B2"`},
	} {
		text := html.UnescapeString(b.get(t, path).Text)
		for _, want := range wants {
			if !strings.Contains(text, want) {
				t.Errorf("%s does not say %q", path, want)
			}
		}
	}
}
