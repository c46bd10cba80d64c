package identity_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
)

// accessClient answers as the access service would.
type accessClient struct {
	exchange func(context.Context, string) (*accessv1.Token, error)
	keys     *accessv1.ListSigningKeysResponse
	err      error
}

func (a *accessClient) ExchangeKey(ctx context.Context, r *accessv1.ExchangeKeyRequest, _ ...grpc.CallOption) (*accessv1.Token, error) {
	return a.exchange(ctx, r.GetApiKey())
}

func (a *accessClient) ListSigningKeys(context.Context, *accessv1.ListSigningKeysRequest, ...grpc.CallOption) (*accessv1.ListSigningKeysResponse, error) {
	return a.keys, a.err
}

func TestForward(t *testing.T) {
	t.Parallel()
	unary, stream := identity.Forward()
	with := identity.WithToken(t.Context(), "tok")
	cases := []struct {
		name string
		ctx  context.Context
		want string
	}{
		{"token", with, "Bearer tok"},
		{"none", t.Context(), ""},
		{"own", metadata.AppendToOutgoingContext(with, "authorization", "Bearer own"), "Bearer own"},
	}
	for _, c := range cases {
		sent := func(ctx context.Context) {
			md, _ := metadata.FromOutgoingContext(ctx)
			got := md.Get("authorization")
			if c.want == "" && len(got) == 0 {
				return
			}
			if len(got) != 1 || got[0] != c.want {
				t.Errorf("%s: sent %q", c.name, got)
			}
		}
		err := unary(c.ctx, "/m", nil, nil, nil, func(ctx context.Context, _ string, _, _ any, _ *grpc.ClientConn, _ ...grpc.CallOption) error {
			sent(ctx)
			return nil
		})
		_, streamErr := stream(c.ctx, nil, nil, "/m", func(ctx context.Context, _ *grpc.StreamDesc, _ *grpc.ClientConn, _ string, _ ...grpc.CallOption) (grpc.ClientStream, error) {
			sent(ctx)
			return nil, nil
		})
		if err != nil || streamErr != nil {
			t.Error(err, streamErr)
		}
	}
}

func TestCredentialsRenewInTime(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		exchanges := 0
		var fail error
		var k *identity.KeyCredentials
		access := &accessClient{exchange: func(ctx context.Context, key string) (*accessv1.Token, error) {
			// The exchange itself may go over a connection with these very credentials.
			if md, err := k.GetRequestMetadata(ctx); md != nil || err != nil {
				t.Errorf("the exchange waits for itself: %v, %v", md, err)
			}
			exchanges++
			if key != "pk_1_x" {
				t.Errorf("key %q", key)
			}
			return &accessv1.Token{
				AccessToken: string(rune('a' + exchanges - 1)), ExpireTime: timestamppb.New(time.Now().Add(identity.TokenLife)),
			}, fail
		}}
		k = identity.Credentials(access, "pk_1_x")
		expect := func(want string, calls int) {
			t.Helper()
			md, err := k.GetRequestMetadata(t.Context())
			if err != nil || md["authorization"] != "Bearer "+want || exchanges != calls {
				t.Errorf("got %v, %v after %d exchanges", md, err, exchanges)
			}
		}
		expect("a", 1)
		time.Sleep(identity.TokenLife - time.Minute - time.Second)
		expect("a", 1)
		time.Sleep(2 * time.Second)
		expect("b", 2)
		fail = errors.New("revoked")
		time.Sleep(identity.TokenLife)
		if _, err := k.GetRequestMetadata(t.Context()); !errors.Is(err, fail) {
			t.Errorf("got %v", err)
		}
	})
}

func TestCredentialsRefuseAnEmptyAnswer(t *testing.T) {
	t.Parallel()
	access := &accessClient{exchange: func(context.Context, string) (*accessv1.Token, error) { return &accessv1.Token{}, nil }}
	k := identity.Credentials(access, "x")
	if _, err := k.GetRequestMetadata(t.Context()); err == nil {
		t.Error("no token was taken for one")
	}
	if k.RequireTransportSecurity() || !k.Secure().RequireTransportSecurity() {
		t.Error("security is not as asked")
	}
}

func TestRemoteKeys(t *testing.T) {
	t.Parallel()
	access := &accessClient{keys: &accessv1.ListSigningKeysResponse{Keys: []*accessv1.SigningKey{
		{KeyId: "a", PublicKey: []byte{1}, StartTime: timestamppb.New(noon), ExpireTime: timestamppb.New(noon.Add(time.Hour))},
		{KeyId: "b"},
	}}}
	keys, err := identity.RemoteKeys(access).SigningKeys(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if len(keys) != 2 || keys[0].ID != "a" || !keys[0].Start.Equal(noon) || !keys[0].Expire.Equal(noon.Add(time.Hour)) || !keys[1].Expire.IsZero() {
		t.Errorf("got %+v", keys)
	}
	access.err = errors.New("down")
	if _, err := identity.RemoteKeys(access).SigningKeys(t.Context()); !errors.Is(err, access.err) {
		t.Errorf("got %v", err)
	}
}
