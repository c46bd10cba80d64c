package server

import (
	"context"
	"errors"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.opentelemetry.io/otel/trace"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/pikepole/pikepole/services/platform/callid"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// errorMap turns every error into a status that is safe to send. The cause goes to the log.
func (s *Server) errorMap(ctx context.Context, c *call, next func(context.Context) error) error {
	err := next(ctx)
	if err == nil {
		return nil
	}
	c.cause = err
	f := s.shown(ctx, c, err)
	return f.Status().Err()
}

// shown is the fault that the caller sees.
func (s *Server) shown(ctx context.Context, c *call, err error) *fault.Error {
	if f, ok := fault.Of(err); ok && f.Kind != fault.Internal {
		return f
	}
	switch {
	case errors.Is(ctx.Err(), context.Canceled) && errors.Is(err, context.Canceled):
		return fault.New(fault.Cancelled, fault.ReasonCancelled, "The call was cancelled.")
	case errors.Is(err, context.DeadlineExceeded):
		return fault.New(fault.Deadline, fault.ReasonDeadline, "The time given for the call ran out.")
	}
	if _, ok := status.FromError(err); ok {
		// Of another service, or of gRPC: what our own servers have made safe stays as it is.
		f := fault.FromStatus(err)
		if f.Kind != fault.Internal || f.Metadata["error_id"] != "" {
			return f
		}
	}
	c.errorID = callid.New()
	return fault.New(fault.Internal, fault.ReasonInternal,
		"Something went wrong on our side; when you report it, name the error id %s.", c.errorID).WithMetadata("error_id", c.errorID)
}

// accessLog writes one line per call.
func (s *Server) accessLog(ctx context.Context, c *call, next func(context.Context) error) error {
	err := next(ctx)
	code := status.Code(err)
	level := levelOf(code, fault.FromStatus(err))
	if c.builtIn && err == nil {
		level = zapcore.DebugLevel // probes come every few seconds
	}
	entry := s.logger.Check(level, "call")
	if entry == nil {
		return err
	}
	fields := []zap.Field{
		zap.String("method", cut(c.full)), zap.String("code", code.String()), zap.Duration("duration", time.Since(c.start)),
		zap.String("company", c.caller.Company), zap.String("person", c.caller.Person),
		zap.String("job", c.seen()), zap.String("request_id", c.id),
	}
	if span := trace.SpanContextFromContext(ctx); span.HasTraceID() {
		fields = append(fields, zap.Stringer("trace_id", span.TraceID()))
	}
	if c.errorID != "" {
		fields = append(fields, zap.String("error_id", c.errorID))
	}
	if c.cause != nil {
		fields = append(fields, zap.Error(c.cause))
	}
	entry.Write(fields...)
	return err
}

// levelOf: what is the caller's matter is info, what is ours is an error, and a caller who left
// is neither.
func levelOf(code codes.Code, f *fault.Error) zapcore.Level {
	switch code {
	case codes.Canceled:
		return zapcore.DebugLevel
	case codes.Internal, codes.Unknown, codes.DataLoss, codes.DeadlineExceeded:
		return zapcore.ErrorLevel
	case codes.Unavailable:
		if f.Reason == fault.ReasonReconnect || f.Reason == fault.ReasonStopping {
			return zapcore.InfoLevel
		}
		return zapcore.ErrorLevel
	default:
		return zapcore.InfoLevel
	}
}

// rpcMetrics count the calls.
type rpcMetrics struct {
	handled  *prometheus.CounterVec
	duration *prometheus.HistogramVec
	inFlight *prometheus.GaugeVec
	panics   prometheus.Counter
}

func newRPCMetrics(registry prometheus.Registerer) (*rpcMetrics, error) {
	m := &rpcMetrics{
		handled: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "pikepole_rpc_handled_total", Help: "Calls that ended, by status code.",
		}, []string{"service", "method", "code"}),
		duration: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "pikepole_rpc_duration_seconds", Help: "Time from the first to the last byte of a call.",
			Buckets: prometheus.ExponentialBuckets(0.0005, 2.5, 12),
		}, []string{"service", "method"}),
		inFlight: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "pikepole_rpc_in_flight", Help: "Calls under way.",
		}, []string{"service"}),
		panics: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "pikepole_rpc_panics_total", Help: "Handlers that panicked.",
		}),
	}
	for _, c := range []prometheus.Collector{m.handled, m.duration, m.inFlight, m.panics} {
		if err := registry.Register(c); err != nil {
			return nil, err
		}
	}
	return m, nil
}

func (m *rpcMetrics) around(ctx context.Context, c *call, next func(context.Context) error) error {
	service, method := c.names()
	m.inFlight.WithLabelValues(service).Inc()
	defer m.inFlight.WithLabelValues(service).Dec()
	err := next(ctx)
	m.handled.WithLabelValues(service, method, status.Code(err).String()).Inc()
	m.duration.WithLabelValues(service, method).Observe(time.Since(c.start).Seconds())
	return err
}
