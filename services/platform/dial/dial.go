// Package dial connects to services, over the network or within the process.
package dial

import (
	"context"
	"fmt"
	"time"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"

	"github.com/pikepole/pikepole/services/platform/callid"
	"github.com/pikepole/pikepole/services/platform/identity"
)

const (
	// MaxMessageBytes is the largest message either way, unless Options say otherwise.
	MaxMessageBytes = 32 << 20
	// DefaultTimeout is the deadline of a unary call whose caller has set none.
	DefaultTimeout = 20 * time.Second
)

// Options says how to connect. The zero value is plain text, with the caller's token forwarded.
type Options struct {
	// Transport secures the connection; nil is plain text.
	Transport credentials.TransportCredentials
	// PerRPC obtains the token of each call; nil forwards the token of the call's context.
	PerRPC credentials.PerRPCCredentials
	// Tracer makes client spans; nil makes none.
	Tracer trace.TracerProvider
	// MaxMessageBytes limits a message either way; default MaxMessageBytes.
	MaxMessageBytes int
	// Timeout is the deadline of a unary call that has none; default DefaultTimeout.
	Timeout time.Duration
}

// serviceConfig spreads the calls over all addresses that a name has.
const serviceConfig = `{"loadBalancingConfig":[{"round_robin":{}}]}`

// Conn makes a connection to a target in gRPC's own spelling: "dns:///frames:7001",
// "127.0.0.1:7001". It connects with the first call.
func Conn(target string, o Options) (*grpc.ClientConn, error) {
	return conn(target, o)
}

func conn(target string, o Options, more ...grpc.DialOption) (*grpc.ClientConn, error) {
	if o.Transport == nil {
		o.Transport = insecure.NewCredentials()
	}
	if o.MaxMessageBytes <= 0 {
		o.MaxMessageBytes = MaxMessageBytes
	}
	if o.Timeout <= 0 {
		o.Timeout = DefaultTimeout
	}
	tokenUnary, tokenStream := identity.Forward()
	unary := []grpc.UnaryClientInterceptor{deadline(o.Timeout), requestIDUnary}
	stream := []grpc.StreamClientInterceptor{requestIDStream}
	options := []grpc.DialOption{
		grpc.WithTransportCredentials(o.Transport),
		grpc.WithDefaultServiceConfig(serviceConfig),
		grpc.WithDefaultCallOptions(
			grpc.MaxCallRecvMsgSize(o.MaxMessageBytes), grpc.MaxCallSendMsgSize(o.MaxMessageBytes)),
	}
	if o.PerRPC != nil {
		options = append(options, grpc.WithPerRPCCredentials(o.PerRPC))
	} else {
		unary, stream = append(unary, tokenUnary), append(stream, tokenStream)
	}
	if o.Tracer != nil {
		options = append(options, grpc.WithStatsHandler(otelgrpc.NewClientHandler(
			otelgrpc.WithTracerProvider(o.Tracer), otelgrpc.WithPropagators(propagation.TraceContext{}))))
	}
	options = append(options, grpc.WithChainUnaryInterceptor(unary...), grpc.WithChainStreamInterceptor(stream...))
	cc, err := grpc.NewClient(target, append(options, more...)...)
	if err != nil {
		return nil, fmt.Errorf("dial %s: %w", target, err)
	}
	return cc, nil
}

// deadline sees to it that no unary call waits for ever.
func deadline(limit time.Duration) grpc.UnaryClientInterceptor {
	return func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
		if _, has := ctx.Deadline(); !has {
			var cancel context.CancelFunc
			ctx, cancel = context.WithTimeout(ctx, limit)
			defer cancel()
		}
		return invoke(ctx, method, req, reply, cc, opts...)
	}
}

func requestIDUnary(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
	return invoke(withRequestID(ctx), method, req, reply, cc, opts...)
}

func requestIDStream(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, open grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	return open(withRequestID(ctx), desc, cc, method, opts...)
}

func withRequestID(ctx context.Context) context.Context {
	id := callid.From(ctx)
	if id == "" {
		return ctx
	}
	if md, ok := metadata.FromOutgoingContext(ctx); ok && len(md.Get(callid.Header)) > 0 {
		return ctx
	}
	return metadata.AppendToOutgoingContext(ctx, callid.Header, id)
}
