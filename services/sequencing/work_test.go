package sequencing_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func TestWork(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		ctx := b.as(identity.Lead)
		first, err := b.client.GetWork(ctx, &sequencingv1.GetWorkRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if first.GetEtag() != "0" || first.GetCarryPerPersonKg() <= 0 || len(first.GetRates()) != 4 {
			t.Errorf("defaults %v", first)
		}
		put, err := b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: rates()})
		if err != nil {
			t.Fatal(err)
		}
		want := rates()
		want.Etag = "1"
		if diff := cmp.Diff(want, put, protocmp.Transform()); diff != "" {
			t.Errorf("put (-want +got):\n%s", diff)
		}
		got, err := b.client.GetWork(b.as(identity.Viewer), &sequencingv1.GetWorkRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(put, got, protocmp.Transform()); diff != "" {
			t.Errorf("read back (-put +got):\n%s", diff)
		}
		again, err := b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: rates()})
		if err != nil || again.GetEtag() != "1" {
			t.Errorf("the same rates again: etag %q, %v", again.GetEtag(), err)
		}
		other, err := b.client.GetWork(b.kit.As(theirs, identity.Lead), &sequencingv1.GetWorkRequest{})
		if err != nil || !proto.Equal(other, first) {
			t.Errorf("another company reads %v, %v, want the defaults", other, err)
		}
		var events []outbox.Event
		err = b.db.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			events, err = outbox.After(ctx, tx, ours, 0, 10)
			return err
		})
		if err != nil || len(events) != 1 || events[0].Kind != "work.put" {
			t.Errorf("events %v, %v, want one work.put", events, err)
		}
	})
}

func TestWorkOfAnotherVersionIsNotOverwritten(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		ctx := b.as(identity.Admin)
		w := rates()
		w.Etag = "0"
		put, err := b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: w})
		if err != nil {
			t.Fatal(err)
		}
		stale := rates()
		stale.CrewCount, stale.Etag = 9, "0"
		_, err = b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: stale})
		wantFault(t, err, fault.Conflict, "ETAG_MISMATCH")
		fresh := rates()
		fresh.CrewCount, fresh.Etag = 9, put.GetEtag()
		if put, err = b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: fresh}); err != nil || put.GetEtag() != "2" {
			t.Errorf("with the right etag: %v, %v", put, err)
		}
	})
}

func TestTwoPutsAtOnceCannotBothWin(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		for round, etag := range []string{"0", "1"} {
			won := make([]bool, 8)
			var wait sync.WaitGroup
			for i := range won {
				ctx := b.as(identity.Lead)
				wait.Go(func() {
					w := rates()
					w.Etag, w.CrewCount = etag, int32(10+50*round+i)
					_, err := b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: w})
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

func TestWrongRatesAreNamed(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	for path, change := range map[string]func(*sequencingv1.Work){
		"work.carry_per_person_kg":  func(w *sequencingv1.Work) { w.CarryPerPersonKg = math.NaN() },
		"work.crew_count":           func(w *sequencingv1.Work) { w.CrewCount = -1 },
		"work.telehandler_kg":       func(w *sequencingv1.Work) { w.TelehandlerKg = math.Inf(1) },
		"work.telehandler_reach_mm": func(w *sequencingv1.Work) { w.TelehandlerReachMm = -5 },
		"work.gin_pole_kg":          func(w *sequencingv1.Work) { w.GinPoleKg = 1e12 },
		"work.minutes_per_brace":    func(w *sequencingv1.Work) { w.MinutesPerBrace = -1 },
		"work.minutes_per_joint":    func(w *sequencingv1.Work) { w.MinutesPerJoint = 1e6 },
		"work.crane_set_up_minutes": func(w *sequencingv1.Work) { w.CraneSetUpMinutes = math.NaN() },
		"work.rates[2].minutes":     func(w *sequencingv1.Work) { w.Rates[2].Minutes = 0 },
		"work.rates[1].machine":     func(w *sequencingv1.Work) { w.Rates[1].Machine = 99 },
		"work.rates":                func(w *sequencingv1.Work) { w.Rates = w.Rates[:3] },
		"work.rates[4].machine": func(w *sequencingv1.Work) {
			w.Rates = append(w.Rates, proto.CloneOf(w.Rates[0]))
		},
	} {
		w := rates()
		change(w)
		_, err := b.client.PutWork(b.as(identity.Lead), &sequencingv1.PutWorkRequest{Work: w})
		f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid)
		if len(f.Fields) == 0 || f.Fields[0].Path != path {
			t.Errorf("%s: fields %v", path, f.Fields)
		}
	}
	_, err := b.client.PutWork(b.as(identity.Lead), &sequencingv1.PutWorkRequest{})
	if f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid); f.Fields[0].Path != "work" {
		t.Errorf("no rates at all: %v", f.Fields)
	}
	many := &sequencingv1.Work{}
	_, err = b.client.PutWork(b.as(identity.Lead), &sequencingv1.PutWorkRequest{Work: many})
	if f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid); len(f.Fields) != 6 {
		t.Errorf("empty rates: %d wrong fields %v, want carrying, crew and four machines", len(f.Fields), f.Fields)
	}
	got, err := b.client.GetWork(b.as(identity.Lead), &sequencingv1.GetWorkRequest{})
	if err != nil || got.GetEtag() != "0" {
		t.Errorf("a refused put changed the rates: %v, %v", got, err)
	}
}

func TestFailingStore(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	lost := errors.New("the disk is gone")
	for name, call := range map[string]func() error{
		"read": func() error {
			_, err := b.client.GetWork(b.as(identity.Lead), &sequencingv1.GetWorkRequest{})
			return err
		},
		"write": func() error {
			_, err := b.client.PutWork(b.as(identity.Lead), &sequencingv1.PutWorkRequest{Work: rates()})
			return err
		},
	} {
		b.faults.Push(name, lost)
		err := call()
		if f := fault.FromStatus(err); f == nil || strings.Contains(fmt.Sprint(err), "disk") {
			t.Errorf("%s: %v, want an error that does not tell of the inside", name, err)
		}
		if err := call(); err != nil {
			t.Errorf("%s after the failure: %v", name, err)
		}
	}
}
