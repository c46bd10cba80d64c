package sequencing_test

import (
	"context"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// leaf is one thing of which a company keeps one, as its callers see it.
type leaf struct {
	event string
	get   func(context.Context) (tagged, error)
	put   func(ctx context.Context, etag string, variant int) (tagged, error)
	want  func(variant int) tagged
}

type tagged interface {
	proto.Message
	GetEtag() string
}

// leaves are all of them. A variant is one that differs from all others in a number.
func (b bench) leaves() map[string]leaf {
	work := func(variant int) *sequencingv1.Work {
		w := rates()
		w.CrewCount = int32(6 + variant)
		return w
	}
	rules := func(variant int) *sequencingv1.StandRules {
		r := standRules()
		r.PersonKg = float64(100 + variant)
		return r
	}
	stock := func(variant int) *sequencingv1.BraceStock {
		s := braceStock()
		s.Anchors[0].UpN = float64(4000 + variant)
		return s
	}
	return map[string]leaf{
		"work": {
			event: "work.put",
			get: func(ctx context.Context) (tagged, error) {
				return b.client.GetWork(ctx, &sequencingv1.GetWorkRequest{})
			},
			put: func(ctx context.Context, etag string, variant int) (tagged, error) {
				w := work(variant)
				w.Etag = etag
				return b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: w})
			},
			want: func(variant int) tagged { return work(variant) },
		},
		"stand rules": {
			event: "stand_rules.put",
			get: func(ctx context.Context) (tagged, error) {
				return b.client.GetStandRules(ctx, &sequencingv1.GetStandRulesRequest{})
			},
			put: func(ctx context.Context, etag string, variant int) (tagged, error) {
				r := rules(variant)
				r.Etag = etag
				return b.client.PutStandRules(ctx, &sequencingv1.PutStandRulesRequest{Rules: r})
			},
			want: func(variant int) tagged { return rules(variant) },
		},
		"brace stock": {
			event: "brace_stock.put",
			get: func(ctx context.Context) (tagged, error) {
				return b.client.GetBraceStock(ctx, &sequencingv1.GetBraceStockRequest{})
			},
			put: func(ctx context.Context, etag string, variant int) (tagged, error) {
				s := stock(variant)
				s.Etag = etag
				return b.client.PutBraceStock(ctx, &sequencingv1.PutBraceStockRequest{Stock: s})
			},
			want: func(variant int) tagged { return stock(variant) },
		},
	}
}

// eachLeaf runs a test on each leaf, on both databases.
func eachLeaf(t *testing.T, test func(t *testing.T, b bench, l leaf)) {
	t.Helper()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		leaves := b.leaves()
		for _, name := range slices.Sorted(maps.Keys(leaves)) {
			t.Run(name, func(t *testing.T) { test(t, b, leaves[name]) })
		}
	})
}

// sameButEtag compares messages whose etags are looked at on their own.
func sameButEtag(a, b proto.Message) string {
	return cmp.Diff(a, b, protocmp.Transform(), protocmp.FilterField(a, "etag", cmp.Ignore()))
}

func TestWhatIsPutIsKept(t *testing.T) {
	t.Parallel()
	eachLeaf(t, func(t *testing.T, b bench, l leaf) {
		ctx := b.as(identity.Lead)
		first, err := l.get(ctx)
		if err != nil || first.GetEtag() != "0" {
			t.Fatalf("the default: etag %q, %v", first.GetEtag(), err)
		}
		put, err := l.put(ctx, "", 1)
		if err != nil {
			t.Fatal(err)
		}
		if diff := sameButEtag(l.want(1), put); diff != "" || put.GetEtag() != "1" {
			t.Errorf("put, etag %q (-want +got):\n%s", put.GetEtag(), diff)
		}
		got, err := l.get(b.as(identity.Viewer))
		if err != nil || !proto.Equal(put, got) {
			t.Errorf("read back %v, %v", got, err)
		}
		if again, err := l.put(ctx, "", 1); err != nil || again.GetEtag() != "1" {
			t.Errorf("the same again: etag %q, %v", again.GetEtag(), err)
		}
		if other, err := l.get(b.kit.As(theirs, identity.Lead)); err != nil || !proto.Equal(other, first) {
			t.Errorf("another company reads %v, %v, want the defaults", other, err)
		}
		var kinds []string
		err = b.db.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			events, err := outbox.After(ctx, tx, ours, 0, 100)
			for _, e := range events {
				kinds = append(kinds, e.Kind)
			}
			return err
		})
		n := len(slices.DeleteFunc(slices.Clone(kinds), func(k string) bool { return k != l.event }))
		if err != nil || n != 1 {
			t.Errorf("events %v, %v, want one %s", kinds, err, l.event)
		}
	})
}

func TestAnotherVersionIsNotOverwritten(t *testing.T) {
	t.Parallel()
	eachLeaf(t, func(t *testing.T, b bench, l leaf) {
		ctx := b.as(identity.Admin)
		put, err := l.put(ctx, "0", 1)
		if err != nil {
			t.Fatal(err)
		}
		_, err = l.put(ctx, "0", 2)
		wantFault(t, err, fault.Conflict, "ETAG_MISMATCH")
		if put, err = l.put(ctx, put.GetEtag(), 2); err != nil || put.GetEtag() != "2" {
			t.Errorf("with the right etag: %v, %v", put, err)
		}
	})
}

func TestTwoPutsAtOnceCannotBothWin(t *testing.T) {
	t.Parallel()
	eachLeaf(t, func(t *testing.T, b bench, l leaf) {
		for round, etag := range []string{"0", "1"} {
			won := make([]bool, 8)
			var wait sync.WaitGroup
			for i := range won {
				ctx := b.as(identity.Lead)
				wait.Go(func() {
					_, err := l.put(ctx, etag, 10+50*round+i)
					won[i] = err == nil
					if f := fault.FromStatus(err); f != nil && f.Kind != fault.Conflict {
						t.Errorf("caller %d: %v", i, f)
					}
				})
			}
			wait.Wait()
			n := 0
			for _, w := range won {
				if w {
					n++
				}
			}
			if n != 1 {
				t.Errorf("%d of 8 puts with the etag %q won, want 1", n, etag)
			}
		}
	})
}

// A store of the version before, with rates of work in it, takes the new tables and keeps the rates.
func TestTheVersionBefore(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		first, err := os.ReadFile("migrations/00001_work.sql")
		if err != nil {
			t.Fatal(err)
		}
		before := fstest.MapFS{"migrations/00001_work.sql": {Data: first}}
		old := storetest.Open(t, store.Config{URL: url, Schema: "sequencing"})
		if err := old.Migrate(t.Context(), before); err != nil {
			t.Fatal(err)
		}
		body, err := proto.Marshal(rates())
		if err != nil {
			t.Fatal(err)
		}
		err = old.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			_, err := tx.Exec(ctx, "INSERT INTO work (company, version, body, update_time) VALUES (?, 7, ?, 1)", ours, body)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := old.Close(); err != nil {
			t.Fatal(err)
		}
		b := newBench(t, url)
		leaves := b.leaves()
		if got, err := leaves["work"].get(b.as(identity.Lead)); err != nil || got.GetEtag() != "7" || sameButEtag(rates(), got) != "" {
			t.Errorf("the old rates: %v, %v", got, err)
		}
		for _, name := range []string{"stand rules", "brace stock"} {
			if put, err := leaves[name].put(b.as(identity.Lead), "0", 1); err != nil || put.GetEtag() != "1" {
				t.Errorf("%s: %v, %v", name, put, err)
			}
		}
	})
}

// standRules are some rules of a company.
func standRules() *sequencingv1.StandRules {
	return &sequencingv1.StandRules{
		WorkingGustMPerS: 11, NightGustMPerS: 19, LowGustMPerS: 8, Exposure: 1, ForceCoefficient: 2.1, PeriodFactor: 1,
		NotionalShare: 0.02, PersonKg: 110, ComeAlongN: 2000, BumpShare: 0.05, SwayShare: 0.02, LeastBuckling: 3, SlendernessPush: 50,
		PegHoldsN: 2500, DurationFactor: 1.25, Friction: 0.3, PegSoftNPerM: 3e6, PegStiffNPerM: 2e7, ShoulderSoftNPerM: 2e7, ShoulderStiffNPerM: 1e8,
		DayHours: 8,
		Combinations: []*sequencingv1.Combination{
			{Name: "weight and lateral load", Weight: 1, Notional: 1}, {Name: "light weight and wind", Weight: 0.6, Wind: 1},
		},
		NeighbourCombinations: []*sequencingv1.Combination{{Name: "weight and come-along", Weight: 1, ComeAlong: 1}},
	}
}

// braceStock is what a company braces with.
func braceStock() *sequencingv1.BraceStock {
	practice := sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE
	return &sequencingv1.BraceStock{
		Lumber: []*sequencingv1.Lumber{{
			Id: "4x4", Name: "four-by-four", WidthMm: 89, DepthMm: 89, PlyCount: 1, Species: "eastern-white-pine", Grade: "No. 2",
			Lengths: []*sequencingv1.LumberLength{{LengthMm: 4877}, {LengthMm: 3658, Count: proto.Int32(12)}},
		}},
		Fastenings: []*sequencingv1.Fastening{{Id: "screws", Name: "six structural screws", HoldsN: 9000, GivesNPerM: 4e6, Status: practice}},
		Anchors: []*sequencingv1.Anchor{{
			Id: "plate", Name: "deck plate", Ground: sequencingv1.Ground_GROUND_DECK, UpN: 6000, AcrossN: 6000, DownN: 20_000, GivesNPerM: 8e6, Status: practice,
		}},
	}
}

func TestWrongRulesAreNamed(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	for path, change := range map[string]func(*sequencingv1.StandRules){
		"rules.working_gust_m_per_s":                 func(r *sequencingv1.StandRules) { r.WorkingGustMPerS = 200 },
		"rules.night_gust_m_per_s":                   func(r *sequencingv1.StandRules) { r.NightGustMPerS = math.NaN() },
		"rules.low_gust_m_per_s":                     func(r *sequencingv1.StandRules) { r.LowGustMPerS = -1 },
		"rules.exposure":                             func(r *sequencingv1.StandRules) { r.Exposure = 0 },
		"rules.force_coefficient":                    func(r *sequencingv1.StandRules) { r.ForceCoefficient = 100 },
		"rules.period_factor":                        func(r *sequencingv1.StandRules) { r.PeriodFactor = 0 },
		"rules.shielding":                            func(r *sequencingv1.StandRules) { r.Shielding = 1 },
		"rules.notional_share":                       func(r *sequencingv1.StandRules) { r.NotionalShare = -0.1 },
		"rules.person_kg":                            func(r *sequencingv1.StandRules) { r.PersonKg = math.Inf(1) },
		"rules.come_along_n":                         func(r *sequencingv1.StandRules) { r.ComeAlongN = -5 },
		"rules.bump_share":                           func(r *sequencingv1.StandRules) { r.BumpShare = 9 },
		"rules.sway_share":                           func(r *sequencingv1.StandRules) { r.SwayShare = 0 },
		"rules.least_buckling":                       func(r *sequencingv1.StandRules) { r.LeastBuckling = 0.5 },
		"rules.slenderness_push":                     func(r *sequencingv1.StandRules) { r.SlendernessPush = 1000 },
		"rules.peg_holds_n":                          func(r *sequencingv1.StandRules) { r.PegHoldsN = -1 },
		"rules.duration_factor":                      func(r *sequencingv1.StandRules) { r.DurationFactor = 5 },
		"rules.friction":                             func(r *sequencingv1.StandRules) { r.Friction = -0.3 },
		"rules.peg_soft_n_per_m":                     func(r *sequencingv1.StandRules) { r.PegSoftNPerM = 0 },
		"rules.day_hours":                            func(r *sequencingv1.StandRules) { r.DayHours = 0 },
		"rules.combinations[1].wind":                 func(r *sequencingv1.StandRules) { r.Combinations[1].Wind = -1 },
		"rules.combinations[0].name":                 func(r *sequencingv1.StandRules) { r.Combinations[0].Name = "" },
		"rules.combinations[0].weight":               func(r *sequencingv1.StandRules) { r.Combinations[0].Weight = 0 },
		"rules.combinations":                         func(r *sequencingv1.StandRules) { r.Combinations = r.Combinations[:1] },
		"rules.neighbour_combinations[0].come_along": func(r *sequencingv1.StandRules) { r.NeighbourCombinations[0].ComeAlong = math.NaN() },
	} {
		r := standRules()
		change(r)
		_, err := b.client.PutStandRules(b.as(identity.Lead), &sequencingv1.PutStandRulesRequest{Rules: r})
		f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid)
		if !slices.ContainsFunc(f.Fields, func(x fault.Field) bool { return x.Path == path }) {
			t.Errorf("%s: fields %v", path, f.Fields)
		}
	}
	_, err := b.client.PutStandRules(b.as(identity.Lead), &sequencingv1.PutStandRulesRequest{})
	if f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid); f.Fields[0].Path != "rules" {
		t.Errorf("no rules at all: %v", f.Fields)
	}
	_, err = b.client.PutStandRules(b.as(identity.Lead), &sequencingv1.PutStandRulesRequest{Rules: &sequencingv1.StandRules{}})
	if f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid); len(f.Fields) < 10 {
		t.Errorf("empty rules: %d wrong fields %v", len(f.Fields), f.Fields)
	}
	got, err := b.client.GetStandRules(b.as(identity.Lead), &sequencingv1.GetStandRulesRequest{})
	if err != nil || got.GetEtag() != "0" {
		t.Errorf("a refused put changed the rules: %v, %v", got, err)
	}
}

func TestWrongStockIsNamed(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	for path, change := range map[string]func(*sequencingv1.BraceStock){
		"stock.lumber":                         func(s *sequencingv1.BraceStock) { s.Lumber = nil },
		"stock.lumber[0].id":                   func(s *sequencingv1.BraceStock) { s.Lumber[0].Id = "" },
		"stock.lumber[0].width_mm":             func(s *sequencingv1.BraceStock) { s.Lumber[0].WidthMm = math.NaN() },
		"stock.lumber[0].depth_mm":             func(s *sequencingv1.BraceStock) { s.Lumber[0].DepthMm = 1e6 },
		"stock.lumber[0].ply_count":            func(s *sequencingv1.BraceStock) { s.Lumber[0].PlyCount = 0 },
		"stock.lumber[0].species":              func(s *sequencingv1.BraceStock) { s.Lumber[0].Species = "plastic" },
		"stock.lumber[0].lengths":              func(s *sequencingv1.BraceStock) { s.Lumber[0].Lengths = nil },
		"stock.lumber[0].lengths[1].count":     func(s *sequencingv1.BraceStock) { s.Lumber[0].Lengths[1].Count = proto.Int32(-1) },
		"stock.lumber[0].lengths[0].length_mm": func(s *sequencingv1.BraceStock) { s.Lumber[0].Lengths[0].LengthMm = 0 },
		"stock.lumber[1].id": func(s *sequencingv1.BraceStock) {
			s.Lumber = append(s.Lumber, proto.CloneOf(s.Lumber[0]))
		},
		"stock.fastenings":                  func(s *sequencingv1.BraceStock) { s.Fastenings = nil },
		"stock.fastenings[0].holds_n":       func(s *sequencingv1.BraceStock) { s.Fastenings[0].HoldsN = -1 },
		"stock.fastenings[0].gives_n_per_m": func(s *sequencingv1.BraceStock) { s.Fastenings[0].GivesNPerM = 0 },
		"stock.fastenings[0].status":        func(s *sequencingv1.BraceStock) { s.Fastenings[0].Status = 0 },
		"stock.anchors":                     func(s *sequencingv1.BraceStock) { s.Anchors = nil },
		"stock.anchors[0].ground":           func(s *sequencingv1.BraceStock) { s.Anchors[0].Ground = sequencingv1.Ground_GROUND_TIMBER },
		"stock.anchors[0].up_n":             func(s *sequencingv1.BraceStock) { s.Anchors[0].UpN = math.Inf(1) },
		"stock.anchors[0].gives_n_per_m":    func(s *sequencingv1.BraceStock) { s.Anchors[0].GivesNPerM = math.NaN() },
		"stock.anchors[0].status":           func(s *sequencingv1.BraceStock) { s.Anchors[0].Status = 77 },
	} {
		s := braceStock()
		change(s)
		_, err := b.client.PutBraceStock(b.as(identity.Lead), &sequencingv1.PutBraceStockRequest{Stock: s})
		f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid)
		if !slices.ContainsFunc(f.Fields, func(x fault.Field) bool { return x.Path == path }) {
			t.Errorf("%s: fields %v", path, f.Fields)
		}
	}
	_, err := b.client.PutBraceStock(b.as(identity.Lead), &sequencingv1.PutBraceStockRequest{})
	if f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid); f.Fields[0].Path != "stock" || !strings.Contains(f.Message, "missing") {
		t.Errorf("no stock at all: %v", f.Fields)
	}
}

// The defaults are rules and stock that could be put: what is read back and put again is taken.
func TestDefaultsCanBePut(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	ctx := b.as(identity.Lead)
	rules, err := b.client.GetStandRules(ctx, &sequencingv1.GetStandRulesRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if put, err := b.client.PutStandRules(ctx, &sequencingv1.PutStandRulesRequest{Rules: rules}); err != nil || sameButEtag(rules, put) != "" {
		t.Errorf("the default rules: %v, %v", put, err)
	}
	stock, err := b.client.GetBraceStock(ctx, &sequencingv1.GetBraceStockRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if put, err := b.client.PutBraceStock(ctx, &sequencingv1.PutBraceStockRequest{Stock: stock}); err != nil || sameButEtag(stock, put) != "" {
		t.Errorf("the default stock: %v, %v", put, err)
	}
}
