package server

import (
	"context"

	"google.golang.org/grpc"
)

// layer is one middleware. It is written once, around both kinds of call, and so can not lack
// its unary or its stream half.
type layer struct {
	name   string
	around func(ctx context.Context, c *call, next func(context.Context) error) error
}

// chain lists the layers, outermost first. Tracing is further out still: it is a stats handler.
func (s *Server) chain() []layer {
	return []layer{
		{"request id", s.requestID},
		{"metrics", s.metrics.around},
		{"access log", s.accessLog},
		{"error map", s.errorMap},
		{"recovery", s.recovery},
		{"authentication", s.authenticate},
		{"policy table", s.permit},
		{"deadline", s.limitTime},
		{"rate limit", s.limitRate},
	}
}

func (s *Server) unary(l layer) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, request any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
		ctx, c := s.enter(ctx, info.FullMethod, false)
		c.see(request)
		var response any
		err := l.around(ctx, c, func(ctx context.Context) error {
			var err error
			response, err = handle(ctx, request)
			return err
		})
		if err != nil {
			return nil, err
		}
		return response, nil
	}
}

func (s *Server) stream(l layer) grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
		outermost := callFrom(stream.Context()) == nil
		ctx, c := s.enter(stream.Context(), info.FullMethod, true)
		if outermost {
			stream = &watchedStream{stream, c}
		}
		return l.around(ctx, c, func(ctx context.Context) error {
			return handle(srv, &layeredStream{stream, ctx})
		})
	}
}

// layeredStream is a stream with the context that a layer made.
type layeredStream struct {
	grpc.ServerStream
	ctx context.Context
}

// Context is the layer's context.
func (s *layeredStream) Context() context.Context { return s.ctx }

// watchedStream notes the job that the requests speak of.
type watchedStream struct {
	grpc.ServerStream
	call *call
}

// RecvMsg looks at what came.
func (s *watchedStream) RecvMsg(m any) error {
	err := s.ServerStream.RecvMsg(m)
	if err == nil {
		s.call.see(m)
	}
	return err
}

func (s *Server) interceptors() (unary []grpc.UnaryServerInterceptor, stream []grpc.StreamServerInterceptor) {
	for _, l := range s.chain() {
		unary = append(unary, s.unary(l))
		stream = append(stream, s.stream(l))
	}
	return unary, stream
}
