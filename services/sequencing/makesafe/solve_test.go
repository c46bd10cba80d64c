package makesafe

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// solveCounted solves a problem with the judge that counts braces, and checks the list as wood.
func solveCounted(t *testing.T, p Problem, b Budget) Plan {
	t.Helper()
	got, err := solve(t.Context(), p, counter{f: p.Frame}, b, nil)
	if err != nil {
		t.Fatal(err)
	}
	checkClear(t, p.Frame, p.Site, p.State.Standing, p.Coming, append(slices.Clone(p.State.Braces), got.Add...))
	for i := range got.Add {
		checkRigger(t, &got.Add[i])
	}
	return got
}

func TestFewest(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(3))
	// In the low gust each post needs one brace in each direction, with any one knocked out: two, on either side. A gust over
	// 20 m/s asks for no more.
	p := after(t, f, 1, 25)
	got := solveCounted(t, p, Budget{})
	if !got.Safe || len(got.Add) != 8 || got.Least < 3 || got.Least > 8 {
		t.Errorf("safe %v with %d braces, at least %d; want 8: %s", got.Safe, len(got.Add), got.Least, got.Refusal)
	}
	// With steps enough it is proved.
	got = solveCounted(t, p, Budget{Steps: 400_000})
	if len(got.Add) != 8 || got.Least != 8 || !strings.HasPrefix(got.Ended, "No fewer will do") {
		t.Errorf("%d braces, at least %d: %q", len(got.Add), got.Least, got.Ended)
	}
	if got.Before.Stands || !got.Verdict.Stands || !got.Knocked.Verdict.Stands {
		t.Error("the verdicts do not tell before from after")
	}
}

func TestKeepsWhatIsOn(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(3))
	p := after(t, f, 1, 25)
	all := solveCounted(t, p, Budget{})
	p.State.Braces = slices.Delete(slices.Clone(all.Add), 3, 5)
	got := solveCounted(t, p, Budget{})
	if !got.Safe || len(got.Add) != 2 {
		t.Fatalf("%d braces were added to six that are on; want 2: %s", len(got.Add), got.Refusal)
	}
	for _, b := range got.Add {
		if slices.ContainsFunc(p.State.Braces, func(o brace.Brace) bool { return o.ID == b.ID }) {
			t.Errorf("the id %s is used twice", b.ID)
		}
	}
}

func TestStandsAlready(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(2))
	p := after(t, f, 1, 0)
	p.Rules.LowGustMPS = 0
	got := solveCounted(t, p, Budget{})
	if !got.Safe || len(got.Add) != 0 || got.Least != 0 {
		t.Errorf("braces were added to what stands: %+v", got.Add)
	}
}

func TestBetterAndBetter(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(3))
	p := after(t, f, 4, 25)
	var told []Plan
	got, err := solve(t.Context(), p, counter{f: f}, Budget{}, func(p Plan) { told = append(told, p) })
	if err != nil {
		t.Fatal(err)
	}
	if len(told) == 0 || !cmp.Equal(told[len(told)-1].Add, got.Add) || told[len(told)-1].Ended != got.Ended {
		t.Fatal("the last plan that was told is not the one that was returned")
	}
	for i := 1; i < len(told); i++ {
		if len(told[i].Add) > len(told[i-1].Add) || told[i].Least < told[i-1].Least {
			t.Errorf("plan %d is worse than the one before", i)
		}
	}
	if got.Least > len(got.Add) || got.Least < 2 {
		t.Errorf("at least %d of %d braces", got.Least, len(got.Add))
	}
	again, err := solve(t.Context(), p, counter{f: f}, Budget{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(got, again); diff != "" {
		t.Errorf("the same problem has another answer (-first +second):\n%s", diff)
	}
}

func TestSmallDeck(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(2))
	p := after(t, f, 4, 25)
	// The deck ends half a metre past the posts and has a hole where the floor is not laid: no feet on it to the outside.
	p.Site = Site{Deck: wideDeck(f, 150), DeckMM: 400}
	got := solveCounted(t, p, Budget{})
	if !got.Safe {
		t.Fatal(got.Refusal)
	}
	stakes := 0
	for _, b := range got.Add {
		if b.Anchor.Ground == model.OnGround {
			stakes++
		}
	}
	if stakes == 0 {
		t.Error("no stake was used where the deck ends at the posts")
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(2))
	tests := []struct {
		name string
		spec func(p *Problem)
		want []string
	}{
		{"no lumber", func(p *Problem) { p.Stock.Lumber = nil }, []string{"no lumber"}},
		{"no anchor", func(p *Problem) { p.Stock.Anchors = nil }, []string{"no anchor"}},
		{"short boards", func(p *Problem) {
			for i := range p.Stock.Lumber {
				p.Stock.Lumber[i].LengthsMM, p.Stock.Lumber[i].Counts = []float64{900}, []int{-1}
			}
		}, []string{"the longest at hand is 2'-11 7/16\" (900 mm)"}},
		{"few boards", func(p *Problem) {
			p.Stock.Lumber = p.Stock.Lumber[:1]
			p.Stock.Lumber[0].LengthsMM, p.Stock.Lumber[0].Counts = []float64{3048, 3657.6}, []int{2, 0}
		}, []string{"It takes 8 braces", "more of pair of 2x4", "missing"}},
		{"no room", func(p *Problem) {
			p.Site.Deck = []geom.Vec{geom.V(0, 0, 0), geom.V(300, 0, 0), geom.V(300, 6200, 0), geom.V(0, 6200, 0)}
			p.Stock.Anchors = p.Stock.Anchors[:1]
		}, []string{"No brace can be set", "goes over"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p := after(t, f, 1, 25)
			tt.spec(&p)
			got := solveCounted(t, p, Budget{})
			if got.Safe {
				t.Fatalf("safe with %d braces", len(got.Add))
			}
			for _, w := range tt.want {
				if !strings.Contains(got.Refusal, w) {
					t.Errorf("refused with %q, want %q in it", got.Refusal, w)
				}
			}
		})
	}
}

func TestSpentAndStopped(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(3))
	p := after(t, f, 4, 25)
	got, err := solve(t.Context(), p, counter{f: f}, Budget{Steps: 5}, nil)
	if err != nil || got.Safe || !strings.Contains(got.Refusal, "steps") {
		t.Errorf("five steps gave %q, %v", got.Refusal, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := solve(ctx, p, counter{f: f}, Budget{}, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	// The time is up after the first list.
	ctx, cancelCause := deadline(t.Context())
	got, err = solve(ctx, p, counter{f: f}, Budget{}, func(Plan) { cancelCause() })
	if err != nil || !got.Safe || !strings.HasPrefix(got.Ended, "The time was up") {
		t.Errorf("at the deadline: safe %v, ended %q, %v", got.Safe, got.Ended, err)
	}
}

// late is a context whose deadline passes when it is told.
type late struct {
	context.Context
	done chan struct{}
}

func deadline(ctx context.Context) (context.Context, func()) {
	l := late{ctx, make(chan struct{})}
	return l, func() {
		select {
		case <-l.done:
		default:
			close(l.done)
		}
	}
}

func (l late) Done() <-chan struct{} { return l.done }

func (l late) Err() error {
	select {
	case <-l.done:
		return context.DeadlineExceeded
	default:
		return nil
	}
}
