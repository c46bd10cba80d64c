package sequencing_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func TestDefaultWork(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	got, err := b.client.GetWork(b.as(identity.Viewer), &sequencingv1.GetWorkRequest{})
	if err != nil || got.GetEtag() != "0" || got.GetCarryPerPersonKg() <= 0 || len(got.GetRates()) != 4 {
		t.Errorf("defaults %v, %v", got, err)
	}
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
