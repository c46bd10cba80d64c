package identity

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
)

const (
	// Header is the metadata key that carries the token.
	Header = "authorization"
	// Scheme stands before the token in it.
	Scheme = "Bearer "
	// renewBefore is how long before its end a token is renewed.
	renewBefore = time.Minute
)

// Forward gives the client interceptors that send the context's token along with each call.
// A call that already has authorization metadata, or a context without a token, is left alone.
func Forward() (grpc.UnaryClientInterceptor, grpc.StreamClientInterceptor) {
	unary := func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
		return invoke(forward(ctx), method, req, reply, cc, opts...)
	}
	stream := func(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, open grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
		return open(forward(ctx), desc, cc, method, opts...)
	}
	return unary, stream
}

func forward(ctx context.Context) context.Context {
	token := Token(ctx)
	if token == "" {
		return ctx
	}
	if md, ok := metadata.FromOutgoingContext(ctx); ok && len(md.Get(Header)) > 0 {
		return ctx
	}
	return metadata.AppendToOutgoingContext(ctx, Header, Scheme+token)
}

// Exchanger turns a key into a token; the generated client of the access service is one.
type Exchanger interface {
	ExchangeKey(ctx context.Context, req *accessv1.ExchangeKeyRequest, opts ...grpc.CallOption) (*accessv1.Token, error)
}

// KeyCredentials sends a token that is made from an API key and renewed in time. It is safe for
// concurrent use, and may be set on the very connection that reaches the access service.
type KeyCredentials struct {
	access Exchanger
	apiKey string
	now    func() time.Time
	secure bool

	mu      sync.Mutex
	token   string
	expires time.Time
}

var _ credentials.PerRPCCredentials = (*KeyCredentials)(nil)

// Credentials makes credentials of an API key. They are sent over plain text connections too,
// unless Secure is asked for.
func Credentials(access Exchanger, apiKey string) *KeyCredentials {
	return &KeyCredentials{access: access, apiKey: apiKey, now: time.Now}
}

// Secure returns credentials that refuse a connection without transport security.
func (k *KeyCredentials) Secure() *KeyCredentials {
	return &KeyCredentials{access: k.access, apiKey: k.apiKey, now: k.now, secure: true}
}

// RequireTransportSecurity says whether Secure was asked for.
func (k *KeyCredentials) RequireTransportSecurity() bool { return k.secure }

type exchanging struct{}

// GetRequestMetadata gives the authorization metadata, exchanging the key first when needed.
func (k *KeyCredentials) GetRequestMetadata(ctx context.Context, _ ...string) (map[string]string, error) {
	if ctx.Value(exchanging{}) != nil {
		// This is the exchange itself; it needs no token.
		return nil, nil
	}
	token, err := k.current(ctx)
	if err != nil {
		return nil, err
	}
	return map[string]string{Header: Scheme + token}, nil
}

func (k *KeyCredentials) current(ctx context.Context) (string, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.token != "" && k.now().Before(k.expires.Add(-renewBefore)) {
		return k.token, nil
	}
	answer, err := k.access.ExchangeKey(context.WithValue(ctx, exchanging{}, true), &accessv1.ExchangeKeyRequest{ApiKey: k.apiKey})
	if err != nil {
		return "", fmt.Errorf("exchange key for a token: %w", err)
	}
	if answer.GetAccessToken() == "" || answer.GetExpireTime() == nil {
		return "", errors.New("exchange key for a token: the answer has no token or no end")
	}
	k.token, k.expires = answer.GetAccessToken(), answer.GetExpireTime().AsTime()
	return k.token, nil
}

// KeyLister lists public keys; the generated client of the access service is one.
type KeyLister interface {
	ListSigningKeys(ctx context.Context, req *accessv1.ListSigningKeysRequest, opts ...grpc.CallOption) (*accessv1.ListSigningKeysResponse, error)
}

// RemoteKeys is the key source of a process that reaches the access service over gRPC.
func RemoteKeys(access KeyLister) KeySource { return remoteKeys{access} }

type remoteKeys struct{ access KeyLister }

// SigningKeys asks the access service.
func (r remoteKeys) SigningKeys(ctx context.Context) ([]Key, error) {
	answer, err := r.access.ListSigningKeys(ctx, &accessv1.ListSigningKeysRequest{})
	if err != nil {
		return nil, fmt.Errorf("list signing keys: %w", err)
	}
	keys := make([]Key, len(answer.GetKeys()))
	for i, k := range answer.GetKeys() {
		keys[i] = Key{ID: k.GetKeyId(), Public: k.GetPublicKey()}
		if k.GetStartTime() != nil {
			keys[i].Start = k.GetStartTime().AsTime()
		}
		if k.GetExpireTime() != nil {
			keys[i].Expire = k.GetExpireTime().AsTime()
		}
	}
	return keys, nil
}
