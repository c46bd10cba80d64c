// Package login turns keys and sessions into tokens, and keeps each token until shortly before
// its end.
package login

import (
	"context"
	"crypto/sha256"
	"strings"
	"time"

	"golang.org/x/sync/singleflight"
	"google.golang.org/grpc"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/lru"
)

const (
	// KeyPrefix begins every key.
	KeyPrefix = "pk_"
	// reserve is how long before its end a token is no longer used, so that it outlives the calls
	// that are made with it.
	reserve = 30 * time.Second
	// exchangeTimeout bounds one exchange, for which several requests may wait.
	exchangeTimeout = 5 * time.Second
	// longest is more than any key or handle has; what is longer is not sent on.
	longest = 512
)

// Exchanger is the part of the access service that this package calls.
type Exchanger interface {
	ExchangeKey(ctx context.Context, in *accessv1.ExchangeKeyRequest, opts ...grpc.CallOption) (*accessv1.Token, error)
	ExchangeSession(ctx context.Context, in *accessv1.ExchangeSessionRequest, opts ...grpc.CallOption) (*accessv1.Token, error)
}

// Keeper exchanges and keeps tokens. A revoked key or an ended session works on for at most the
// life of the token that was made from it. It is safe for concurrent use.
type Keeper struct {
	access Exchanger
	tokens *lru.Cache[digest, *accessv1.Token]
	flight singleflight.Group
	now    func() time.Time
}

// digest is the SHA-256 of a key or a handle, with its kind; the secret itself is not kept.
type digest [sha256.Size]byte

// New makes a keeper for at most limit tokens.
func New(access Exchanger, limit int, now func() time.Time) *Keeper {
	return &Keeper{access: access, tokens: lru.New[digest, *accessv1.Token](limit), now: now}
}

// Key gives a token for an API key.
func (k *Keeper) Key(ctx context.Context, key string) (*accessv1.Token, error) {
	if !strings.HasPrefix(key, KeyPrefix) || len(key) > longest {
		return nil, fault.New(fault.Unauthenticated, "KEY_INVALID", "A key begins with %s; send the whole key as Authorization: Bearer KEY.", KeyPrefix)
	}
	return k.token(ctx, keyDigest(key), func(ctx context.Context) (*accessv1.Token, error) {
		return k.access.ExchangeKey(ctx, &accessv1.ExchangeKeyRequest{ApiKey: key})
	})
}

// Session gives a token for a session handle.
func (k *Keeper) Session(ctx context.Context, handle string) (*accessv1.Token, error) {
	if handle == "" || len(handle) > longest {
		return nil, fault.New(fault.Unauthenticated, "SESSION_INVALID", "The session is not one of ours; sign in again.")
	}
	return k.token(ctx, sessionDigest(handle), func(ctx context.Context) (*accessv1.Token, error) {
		return k.access.ExchangeSession(ctx, &accessv1.ExchangeSessionRequest{Session: handle})
	})
}

// ForgetKey drops the token of a key, so that the next request exchanges anew.
func (k *Keeper) ForgetKey(key string) { k.tokens.Delete(keyDigest(key)) }

// ForgetSession drops the token of a session.
func (k *Keeper) ForgetSession(handle string) { k.tokens.Delete(sessionDigest(handle)) }

func (k *Keeper) token(ctx context.Context, id digest, exchange func(context.Context) (*accessv1.Token, error)) (*accessv1.Token, error) {
	if held, ok := k.tokens.Get(id); ok && k.good(held) {
		return held, nil
	}
	answer := k.flight.DoChan(string(id[:]), func() (any, error) {
		// The exchange serves all who wait, so it must not end when the first of them leaves.
		shared, cancel := context.WithTimeout(context.WithoutCancel(ctx), exchangeTimeout)
		defer cancel()
		token, err := exchange(shared)
		if err != nil {
			return nil, err
		}
		k.tokens.Put(id, token)
		return token, nil
	})
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case result := <-answer:
		if result.Err != nil {
			return nil, result.Err
		}
		return result.Val.(*accessv1.Token), nil
	}
}

func (k *Keeper) good(token *accessv1.Token) bool {
	return token.GetExpireTime().AsTime().Sub(k.now()) > reserve
}

func keyDigest(key string) digest        { return sha256.Sum256([]byte("key:" + key)) }
func sessionDigest(handle string) digest { return sha256.Sum256([]byte("session:" + handle)) }
