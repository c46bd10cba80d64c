package standing

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/statics"
)

func TestFirstBentAloneGoesOver(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	s := Situation{Standing: standingOf(f, bentOf(t, f, 0)), Pegged: pegged(f, true), GustMPS: 12}
	v := check(t, f, s, DefaultRules(), Ask{HighestGust: true})
	tell(t, "the first bent alone", v)
	if v.Stands || v.Governing.Kind != Overturning {
		t.Fatalf("stands %v, governing %v: %s", v.Stands, v.Governing.Kind, v.Governing.Words)
	}
	for _, p := range f.Posts() {
		if mark := f.Timbers()[p].Mark; slices.Contains(s.Standing, p) && !strings.Contains(v.Governing.Words, mark) {
			t.Errorf("the line that it goes over does not name %s: %s", mark, v.Governing.Words)
		}
	}
	if v.HighestGustMPS != 0 {
		t.Errorf("it goes over by the lateral load alone, and the highest gust is %g m/s", v.HighestGustMPS)
	}
}

// stillRules have the weight alone.
func stillRules() Rules {
	r := DefaultRules()
	r.Combinations = []Combination{{Name: "own weight", Weight: 1}}
	r.LeastBuckling = 1 // a foot on a soft deck rocks at little more than its load
	return r
}

func TestLoneBentBalances(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	s := Situation{Standing: standingOf(f, bentOf(t, f, 0)), Pegged: pegged(f, true)}
	v := check(t, f, s, stillRules(), Ask{})
	tell(t, "the bent in still air", v)
	if !v.Stands {
		t.Errorf("under its weight alone it does not balance: %s", v.Governing.Words)
	}
	r := DefaultRules()
	r.Combinations = []Combination{{Name: "0.6 own weight and lateral load", Weight: 0.6, Notional: 1}}
	v = check(t, f, s, r, Ask{})
	tell(t, "the bent under the lateral load", v)
	if v.Stands || v.Governing.Kind != Overturning {
		t.Errorf("under the lateral load: stands %v, governing %v: %s", v.Stands, v.Governing.Kind, v.Governing.Words)
	}
}

// The gust that tips a lone bent, by hand (v21): half the foot's width times the weight against the moment of the wind on all
// sticks about the deck, on their centre lines. Reference bent: 4.66 m/s.
func TestLoneBentTips(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	s := Situation{Standing: standingOf(f, bentOf(t, f, 0)), Pegged: pegged(f, true)}
	r := DefaultRules()
	r.Combinations = []Combination{{Name: "own weight and wind", Weight: 1, Wind: 1}}
	r.SwayShare, r.LeastBuckling = 0.2, 1
	v := check(t, f, s, r, Ask{HighestGust: true})
	moment, half := 0.0, math.Inf(1)
	mass, cg := f.Weigh(s.Standing)
	for _, i := range s.Standing {
		x, axes := f.Timbers()[i], f.Axes(i)
		l := math.Hypot(math.Hypot(x.End.X-x.Start.X, x.End.Y-x.Start.Y), x.End.Z-x.Start.Z) / 1000
		moment += r.WindPerM(1, axes, x.WidthMM, x.DepthMM, waysOf(f)[0].dir) * l * (x.Start.Z + x.End.Z) / 2000
		if x.Role == frame.RolePost {
			half = math.Min(half, f.Stick(i).ExtentMM(waysOf(f)[0].dir)/2000)
			off := math.Abs(cg.X-x.Start.X) / 1000
			half -= off
		}
	}
	want := math.Sqrt(mass * statics.StandardGravity * half / moment)
	t.Logf("by hand %.2f m/s, by the check %.1f m/s", want, v.HighestGustMPS)
	if v.HighestGustMPS > want || v.HighestGustMPS < 0.85*want {
		t.Errorf("the bent tips at %.1f m/s, by hand at %.2f m/s, of which a soft foot may take 15 percent", v.HighestGustMPS, want)
	}
	// The reference bent is of 500 kg/m³ on feet 200 mm wide; this one is near it.
	near(t, "the gust that tips", v.HighestGustMPS, golden(t)["lone_bent_speed_at_FS_1"], 0.2)
}

func TestFourBracesHold(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	s := Situation{Standing: standingOf(f, bentOf(t, f, 0)), Pegged: pegged(f, true), GustMPS: 12}
	s.Braces = propUp(t, f, s.Standing, 0.7)
	if len(s.Braces) != 4 {
		t.Fatalf("%d braces", len(s.Braces))
	}
	r := DefaultRules()
	four := check(t, f, s, r, Ask{HighestGust: true})
	tell(t, "with four braces", four)
	for _, u := range four.Worst[:min(6, len(four.Worst))] {
		t.Logf("%v %s %.2f: %s [%s]", u.Kind, u.Piece, u.Share, u.Words, u.Combination)
	}
	if !four.Stands || four.HighestGustMPS < s.GustMPS {
		t.Fatalf("with four braces it falls: %s", four.Governing.Words)
	}
	for i := range s.Braces {
		fewer := s
		fewer.Braces = slices.Delete(slices.Clone(s.Braces), i, i+1)
		v := check(t, f, fewer, r, Ask{HighestGust: true})
		tell(t, "without "+s.Braces[i].ID, v)
		if v.HighestGustMPS >= four.HighestGustMPS {
			t.Errorf("without %s the highest gust is %g m/s, with it %g", s.Braces[i].ID, v.HighestGustMPS, four.HighestGustMPS)
		}
	}
}

func TestUsagesSayHow(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	s := Situation{Standing: everyone(f), Pegged: pegged(f, true), GustMPS: 12}
	v := check(t, f, s, DefaultRules(), Ask{Keep: true})
	tell(t, "the whole hut", v)
	names := map[string]bool{}
	for _, run := range v.Runs {
		if names[run.Name] {
			t.Errorf("two runs are called %q", run.Name)
		}
		names[run.Name] = true
	}
	for i, u := range v.Worst {
		if u.Formula == "" || u.Source == "" || u.Words == "" || !names[u.Combination] {
			t.Errorf("the use %+v lacks something", u)
		}
		if i > 0 && u.Share > v.Worst[i-1].Share {
			t.Errorf("use %d is larger than the one before", i)
		}
	}
	if len(v.Notes) == 0 || v.Residual > 1e-6 || v.WeightN <= 0 || v.TopMark == "" {
		t.Errorf("notes %d, residual %g, weight %g, top %q", len(v.Notes), v.Residual, v.WeightN, v.TopMark)
	}
}

func TestLightAgrees(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	c := NewChecker(f, DefaultRules())
	for _, gust := range []float64{0, 6, 12, 18, 25, 40} {
		for _, standing := range [][]int{standingOf(f, bentOf(t, f, 0)), everyone(f)} {
			s := Situation{Standing: standing, Pegged: pegged(f, true), GustMPS: gust}
			s.Braces = propUp(t, f, standing, 0.7)
			full, err := c.Check(context.Background(), s, Ask{})
			if err != nil {
				t.Fatal(err)
			}
			light, err := c.Check(context.Background(), s, Ask{Light: true})
			if err != nil {
				t.Fatal(err)
			}
			if full.Stands != light.Stands {
				t.Errorf("at %g m/s the full check says %v and the light one %v", gust, full.Stands, light.Stands)
			}
		}
	}
}

func TestFloatingPiecesRefused(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, frametest.Shed(2))
	girt, _ := f.Index("G2A")
	post, _ := f.Index("P1B")
	_, err := Check(context.Background(), f, Situation{Standing: []int{post, girt}, Pegged: pegged(f, true)}, DefaultRules(), Ask{})
	var fault *statics.InputError
	if !errors.As(err, &fault) || !strings.Contains(err.Error(), "G2A") || strings.Contains(err.Error(), "P1B") {
		t.Errorf("the error is %v, want one that names G2A alone", err)
	}
}

func TestBadSituations(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	sound := func() Situation {
		s := Situation{Standing: standingOf(f, bentOf(t, f, 0)), Pegged: pegged(f, true), GustMPS: 10}
		s.Braces = propUp(t, f, s.Standing, 0.7)
		return s
	}
	for _, c := range []struct {
		name, piece string
		spoil       func(*Situation)
	}{
		{"a gust of none", "gust_m_per_s", func(s *Situation) { s.GustMPS = math.NaN() }},
		{"a negative gust", "gust_m_per_s", func(s *Situation) { s.GustMPS = -3 }},
		{"a wind of 200 m/s", "gust_m_per_s", func(s *Situation) { s.GustMPS = 200 }},
		{"nothing", "standing", func(s *Situation) { s.Standing = nil }},
		{"no such stick", "standing", func(s *Situation) { s.Standing = append(s.Standing, 9999) }},
		{"twice", f.Timbers()[sound().Standing[0]].Mark, func(s *Situation) { s.Standing = append(s.Standing, s.Standing[0]) }},
		{"on the hook and standing", f.Timbers()[sound().Standing[0]].Mark, func(s *Situation) { s.OnHook = s.Standing[:1] }},
		{"too few pegs", "pegged", func(s *Situation) { s.Pegged = s.Pegged[1:] }},
		{"one id for two", "brace B1", func(s *Situation) { s.Braces[1].ID = "B1" }},
		{"a brace in no place", "brace B2", func(s *Situation) { s.Braces[1].Top.X = math.NaN() }},
		{"a brace to no stick", "brace B2", func(s *Situation) { s.Braces[1].Timber = 5000 }},
		{"a brace without stiffness", "brace B3", func(s *Situation) { s.Braces[2].Head.GivesNPerM = 0 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := sound()
			c.spoil(&s)
			_, err := Check(context.Background(), f, s, DefaultRules(), Ask{})
			var fault *statics.InputError
			if !errors.As(err, &fault) {
				t.Fatalf("the error is %v, want one that names the piece", err)
			}
			if fault.Piece != c.piece {
				t.Errorf("it names %q, want %q: %v", fault.Piece, c.piece, err)
			}
		})
	}
	r := DefaultRules()
	r.NightGustMPS = 200
	if _, err := Check(context.Background(), f, sound(), r, Ask{}); err == nil || !strings.Contains(err.Error(), "night_gust_m_per_s") {
		t.Errorf("rules with a gust of 200 m/s: %v", err)
	}
	done, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Check(done, f, sound(), DefaultRules(), Ask{}); !errors.Is(err, context.Canceled) {
		t.Errorf("when nobody waits any more: %v", err)
	}
}

func TestSlenderBraceOnlyPulls(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	s := Situation{Standing: standingOf(f, bentOf(t, f, 0)), Pegged: pegged(f, true), GustMPS: 8}
	s.Braces = propUp(t, f, s.Standing, 0.7)
	for i := range s.Braces {
		s.Braces[i].Lumber.WidthMM, s.Braces[i].Lumber.DepthMM = 38, 140
	}
	v := check(t, f, s, DefaultRules(), Ask{})
	tell(t, "with 2x6 braces", v)
	said := slices.ContainsFunc(v.Notes, func(n string) bool { return strings.Contains(n, "B1") && strings.Contains(n, "pull only") })
	if !said {
		t.Errorf("no note says that B1 only pulls: %q", v.Notes)
	}
	for i, b := range v.BraceForces {
		if b.Push > 1 {
			t.Errorf("%s pushes with %.0f N", s.Braces[i].ID, b.Push)
		}
	}
}
