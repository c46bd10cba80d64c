package storetest

import (
	"context"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/replay"
	"github.com/pikepole/pikepole/services/platform/store"
)

const method = "/test.Things/Create"

var lead = identity.Caller{Company: "ash", Person: "p1"}

// create is a call that makes a thing of the given name, under a request id.
func (b *bench) create(t *testing.T, caller identity.Caller, method, id, name string) (string, error) {
	t.Helper()
	request := &accessv1.CreatePersonRequest{Person: &accessv1.Person{Name: name}, RequestId: id}
	response := &accessv1.Person{Etag: "left from before"}
	err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return replay.Once(ctx, tx, caller, method, id, request, response, func() error {
			proto.Reset(response)
			response.Name = "made " + name
			_, err := tx.Exec(ctx, "INSERT INTO thing (name) VALUES (?)", name+"@"+caller.Company+caller.Person+method)
			return err
		})
	})
	return strings.TrimSpace(response.GetName() + " " + response.GetEtag()), err
}

func (b *bench) thingCount(t *testing.T) int { return len(strings.Fields(b.names(t))) }

func testReplay(t *testing.T, b *bench) {
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			answer, err := b.create(t, lead, method, "r1", "beam")
			if err != nil || answer != "made beam" {
				t.Errorf("answer %q, error %v", answer, err)
			}
		})
	}
	wait.Wait()
	if n := b.thingCount(t); n != 1 {
		t.Errorf("%d things were made, want 1", n)
	}
	// Without a request id each call has its effect.
	for _, want := range []store.ErrorKind{"", store.Unique} {
		_, err := b.create(t, lead, method, "", "post")
		expectKind(t, err, want)
	}
}

func testReplayOther(t *testing.T, b *bench) {
	if _, err := b.create(t, lead, method, "r1", "beam"); err != nil {
		t.Fatal(err)
	}
	_, err := b.create(t, lead, method, "r1", "post")
	if !fault.Is(err, fault.Reused) || !fault.HasReason(err, fault.ReasonReused) {
		t.Errorf("another request under the same id gave %v", err)
	}
	for _, id := range []string{strings.Repeat("x", 129), "a b", "é"} {
		if _, err := b.create(t, lead, method, id, "girt"); !fault.Is(err, fault.InvalidArgument) {
			t.Errorf("request id %q gave %v", id, err)
		}
	}
	if n := b.thingCount(t); n != 1 {
		t.Errorf("%d things were made, want 1", n)
	}
}

func testReplayScope(t *testing.T, b *bench) {
	callers := []identity.Caller{lead, {Company: "ash", Person: "p2"}, {Company: "elm", Person: "p1"}}
	for _, caller := range callers {
		for _, m := range []string{method, method + "Other"} {
			if answer, err := b.create(t, caller, m, "r1", "beam"); err != nil || answer != "made beam" {
				t.Errorf("%v %s: answer %q, error %v", caller, m, answer, err)
			}
		}
	}
	if n := b.thingCount(t); n != 6 {
		t.Errorf("%d things were made, want 6", n)
	}
}

func testReplayFailure(t *testing.T, b *bench) {
	err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return replay.Once(ctx, tx, lead, method, "r1", &accessv1.CreatePersonRequest{}, &accessv1.Person{}, func() error { return errTest })
	})
	expectError(t, err, errTest)
	if _, err := b.create(t, lead, method, "r1", "beam"); err != nil {
		t.Errorf("the id of a call that failed is spent: %v", err)
	}
}

func testReplaySecret(t *testing.T, b *bench) {
	call := func(label, id string) error {
		request := &accessv1.CreateKeyRequest{Key: &accessv1.Key{Label: label}, RequestId: id}
		return b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			return replay.OnceOnly(ctx, tx, lead, method, id, request, func() error {
				return insert(label+id, 1)(ctx, tx)
			})
		})
	}
	if err := call("yard", "r1"); err != nil {
		t.Fatal(err)
	}
	if err := call("yard", "r1"); !fault.HasReason(err, "REQUEST_ID_SPENT") {
		t.Errorf("a repeat gave %v", err)
	}
	if err := call("shop", "r1"); !fault.Is(err, fault.Reused) {
		t.Errorf("another request gave %v", err)
	}
	if err := call("shop", ""); err != nil {
		t.Error(err)
	}
	failing := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return replay.OnceOnly(ctx, tx, lead, method, "r2", wrapperspb.String("x"), func() error { return errTest })
	})
	expectError(t, failing, errTest)
	b.expect(t, "shop yardr1")
}

// testReplayTidy shows by a second use of a request id whether the first is still known.
func testReplayTidy(t *testing.T, b *bench) {
	if _, err := b.create(t, lead, method, "r1", "beam"); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		now   time.Time
		known bool
	}{{clock.Add(replay.Kept), true}, {clock.Add(replay.Kept + time.Second), false}} {
		if err := replay.Tidy(t.Context(), b.DB, c.now); err != nil {
			t.Fatal(err)
		}
		_, err := b.create(t, lead, method, "r1", "plank")
		if known := fault.Is(err, fault.Reused); known != c.known || !known && err != nil {
			t.Errorf("%s later the request id is known: %v (error %v), want %v", c.now.Sub(clock), known, err, c.known)
		}
	}
}

func add(company, subject string) func(context.Context, *store.Tx) error {
	return func(ctx context.Context, tx *store.Tx) error {
		return outbox.Add(ctx, tx, company, "thing.made", "job1", subject, []byte(subject))
	}
}

func (b *bench) events(t *testing.T, company string, after int64, limit int) (events []outbox.Event, head int64) {
	t.Helper()
	err := b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		var err error
		if events, err = outbox.After(ctx, tx, company, after, limit); err != nil {
			return err
		}
		head, err = outbox.Head(ctx, tx, company)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return events, head
}

func testOutbox(t *testing.T, b *bench) {
	other := b.open(t)
	var wait sync.WaitGroup
	for i := range 24 {
		wait.Go(func() {
			db := []*store.DB{b.DB, other}[i%2]
			if err := db.Write(t.Context(), add([]string{"ash", "elm"}[i%2], numbered("s", i))); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	for _, company := range []string{"ash", "elm"} {
		events, head := b.events(t, company, 0, 100)
		if len(events) != 12 || head != 12 {
			t.Fatalf("%s has %d events and head %d, want 12", company, len(events), head)
		}
		for i, e := range events {
			if e.Position != int64(i+1) || e.Kind != "thing.made" || e.Job != "job1" || e.Company != company ||
				e.Subject != string(e.Payload) || !e.CreateTime.Equal(clock.Truncate(time.Microsecond)) {
				t.Errorf("%s event %d is %+v", company, i, e)
			}
		}
	}
	if events, _ := b.events(t, "ash", 7, 3); len(events) != 3 || events[0].Position != 8 {
		t.Errorf("behind 7: %+v", events)
	}
	if events, head := b.events(t, "oak", 0, 3); len(events) != 0 || head != 0 {
		t.Errorf("a company without events has %+v, head %d", events, head)
	}
	if err := b.Write(t.Context(), add("", "x")); err == nil {
		t.Error("an event of no company was taken")
	}
}

func testOutboxRollback(t *testing.T, b *bench) {
	for i := range 3 {
		err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			if err := add("ash", "x")(ctx, tx); err != nil {
				return err
			}
			if i == 1 {
				return errTest
			}
			return nil
		})
		if i != 1 && err != nil {
			t.Fatal(err)
		}
	}
	if events, head := b.events(t, "ash", 0, 10); len(events) != 2 || head != 2 {
		t.Errorf("%d events, head %d, want 2 and 2", len(events), head)
	}
}

func testOutboxWakes(t *testing.T, b *bench) {
	l := b.Listen(outbox.Topic("ash"))
	defer l.Close()
	if err := b.Write(t.Context(), add("ash", "x")); err != nil {
		t.Fatal(err)
	}
	<-l.C()
}
