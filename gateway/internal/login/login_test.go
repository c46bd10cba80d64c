package login_test

import (
	"context"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/pikepole/pikepole/gateway/internal/login"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// desk counts exchanges; its tokens live for five minutes.
type desk struct {
	exchanges atomic.Int32
	now       func() time.Time
	refuse    error
}

func (d *desk) token() (*accessv1.Token, error) {
	if d.refuse != nil {
		return nil, d.refuse
	}
	d.exchanges.Add(1)
	return &accessv1.Token{AccessToken: "v1.token", ExpireTime: timestamppb.New(d.now().Add(5 * time.Minute))}, nil
}

func (d *desk) ExchangeKey(context.Context, *accessv1.ExchangeKeyRequest, ...grpc.CallOption) (*accessv1.Token, error) {
	return d.token()
}

func (d *desk) ExchangeSession(context.Context, *accessv1.ExchangeSessionRequest, ...grpc.CallOption) (*accessv1.Token, error) {
	return d.token()
}

func TestKeeperKeepsATokenUntilShortlyBeforeItsEnd(t *testing.T) {
	t.Parallel()
	now := time.Unix(1_900_000_000, 0)
	clock := func() time.Time { return now }
	access := &desk{now: clock}
	keeper := login.New(access, 10, clock)
	steps := []struct {
		name  string
		after time.Duration
		do    func() error
		want  int32
	}{
		{"the first use exchanges", 0, key(t, keeper, "pk_a_1"), 1},
		{"the next is served from memory", 4 * time.Minute, key(t, keeper, "pk_a_1"), 1},
		{"another key exchanges", 0, key(t, keeper, "pk_a_2"), 2},
		{"half a minute before the end it exchanges", 31 * time.Second, key(t, keeper, "pk_a_1"), 3},
		{"a session with the same text is something else", 0, session(t, keeper, "pk_a_1"), 4},
	}
	for _, step := range steps {
		now = now.Add(step.after)
		if err := step.do(); err != nil {
			t.Fatalf("%s: %v", step.name, err)
		}
		if got := access.exchanges.Load(); got != step.want {
			t.Errorf("%s: %d exchanges, want %d", step.name, got, step.want)
		}
	}
	keeper.ForgetSession("pk_a_1")
	if _, err := keeper.Session(t.Context(), "pk_a_1"); err != nil {
		t.Fatal(err)
	}
	if got := access.exchanges.Load(); got != 5 {
		t.Errorf("a forgotten session was served from memory")
	}
}

func TestKeeperRefuses(t *testing.T) {
	t.Parallel()
	now := func() time.Time { return time.Unix(1_900_000_000, 0) }
	refusal := fault.New(fault.Unauthenticated, "KEY_REVOKED", "The key was revoked.")
	keeper := login.New(&desk{now: now, refuse: refusal}, 10, now)
	if _, err := keeper.Key(t.Context(), "v1.altered"); !fault.HasReason(err, "KEY_INVALID") {
		t.Errorf("what is no key: %v", err)
	}
	if _, err := keeper.Key(t.Context(), "pk_a_1"); !fault.HasReason(err, "KEY_REVOKED") {
		t.Errorf("a revoked key: %v", err)
	}
	if _, err := keeper.Session(t.Context(), ""); !fault.HasReason(err, "SESSION_INVALID") {
		t.Errorf("no session: %v", err)
	}
}

func key(t *testing.T, keeper *login.Keeper, text string) func() error {
	return func() error { _, err := keeper.Key(t.Context(), text); return err }
}

func session(t *testing.T, keeper *login.Keeper, text string) func() error {
	return func() error { _, err := keeper.Session(t.Context(), text); return err }
}
