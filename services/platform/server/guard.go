package server

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"go.uber.org/zap"
	"golang.org/x/time/rate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"github.com/pikepole/pikepole/services/platform/callid"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
)

// leastTime is the time below which a call is refused rather than begun.
const leastTime = 5 * time.Millisecond

// requestID sends the call's id back, so that a caller can name it.
func (s *Server) requestID(ctx context.Context, c *call, next func(context.Context) error) error {
	// It fails only when headers have gone out already, which they have not.
	_ = grpc.SetHeader(ctx, metadata.Pairs(callid.Header, c.id))
	return next(ctx)
}

// recovery turns a panic into an error, and logs where it came from.
func (s *Server) recovery(ctx context.Context, c *call, next func(context.Context) error) (err error) {
	defer func() {
		value := recover()
		if value == nil {
			return
		}
		s.metrics.panics.Inc()
		s.logger.Error("a handler panicked",
			zap.String("method", c.full), zap.String("request_id", c.id), zap.String("panic", fmt.Sprint(value)), zap.ByteString("stack", debug.Stack()))
		err = fmt.Errorf("handler panicked: %v", value)
	}()
	return next(ctx)
}

// authenticate finds out who calls. Public methods are not asked.
func (s *Server) authenticate(ctx context.Context, c *call, next func(context.Context) error) error {
	if c.ruled && c.rule.Public {
		return next(ctx)
	}
	token, err := bearer(ctx)
	if err != nil {
		return err
	}
	c.caller, c.expires, err = s.config.Verifier.VerifyUntil(ctx, token)
	if err != nil {
		return err
	}
	return next(identity.WithToken(identity.With(ctx, c.caller), token))
}

func bearer(ctx context.Context) (string, error) {
	values := metadata.ValueFromIncomingContext(ctx, identity.Header)
	if len(values) == 0 {
		return "", fault.New(fault.Unauthenticated, fault.ReasonNoCredentials, "The call carries no credentials; send a token.")
	}
	scheme, token, _ := strings.Cut(values[0], " ")
	if len(values) > 1 || !strings.EqualFold(scheme+" ", identity.Scheme) || token == "" {
		return "", fault.New(fault.Unauthenticated, fault.ReasonNoCredentials, `The authorization must be one "Bearer" token.`)
	}
	return token, nil
}

// permit looks the call up in the policy table. What is not in it does not exist.
func (s *Server) permit(ctx context.Context, c *call, next func(context.Context) error) error {
	if !c.ruled {
		return fault.New(fault.Unimplemented, fault.ReasonMethod, "There is no such method.")
	}
	if !c.rule.Allows(c.caller) {
		return fault.New(fault.PermissionDenied, fault.ReasonRole,
			"Your roles do not allow this; it takes one of: %s.", c.rule.RoleNames()).WithMetadata("roles", c.rule.RoleNames())
	}
	return next(ctx)
}

// errLimit is the cause of a context that the server's own limit ended.
var errLimit = errors.New("the method's time limit was reached")

// limitTime gives the call a deadline. A stream ends with its token, so that what was taken from
// a person does not go on; it is told to connect again.
func (s *Server) limitTime(ctx context.Context, c *call, next func(context.Context) error) error {
	end := time.Now().Add(c.rule.Limit())
	if c.stream && !c.expires.IsZero() {
		if left := c.expires.Sub(s.config.Now()); left < c.rule.Limit() {
			end = time.Now().Add(left)
		}
	}
	ctx, cancel := context.WithDeadlineCause(ctx, end, errLimit)
	defer cancel()
	if deadline, ok := ctx.Deadline(); ok && time.Until(deadline) < leastTime {
		return fault.New(fault.Deadline, fault.ReasonDeadline, "The time that is left is too short to begin; allow more time.")
	}
	if c.builtIn && c.stream {
		next = s.untilStop(next)
	}
	err := next(ctx)
	if err != nil && c.stream && errors.Is(context.Cause(ctx), errLimit) && isDeadline(err) {
		return fault.New(fault.Unavailable, fault.ReasonReconnect,
			"The stream has reached its time limit; connect again from where it ended.").Wrap(err)
	}
	return err
}

func isDeadline(err error) bool {
	return errors.Is(err, context.DeadlineExceeded) || fault.FromStatus(err).Kind == fault.Deadline
}

// untilStop lets go of a stream when the server is being stopped, for health and reflection,
// which do not watch for it themselves. Their handlers end once the stream has.
func (s *Server) untilStop(next func(context.Context) error) func(context.Context) error {
	return func(ctx context.Context) error {
		done := make(chan error, 1)
		go func() {
			// The recovery layer does not see this goroutine.
			defer func() {
				if value := recover(); value != nil {
					done <- fmt.Errorf("handler panicked: %v", value)
				}
			}()
			done <- next(ctx)
		}()
		select {
		case err := <-done:
			return err
		case <-s.stopping:
			return fault.New(fault.Unavailable, fault.ReasonStopping, "The server is being stopped; connect again.")
		}
	}
}

// limitRate gives every person a bucket of calls. What is public is limited further out, by
// address.
func (s *Server) limitRate(ctx context.Context, c *call, next func(context.Context) error) error {
	if c.rule.Public {
		return next(ctx)
	}
	if wait := s.buckets.take(c.caller.Company+"/"+c.caller.Person, time.Now()); wait > 0 {
		return fault.New(fault.Exhausted, fault.ReasonRate, "Too many calls; wait and try again.").After(wait)
	}
	return next(ctx)
}

// maxBuckets bounds the memory that callers can take; full buckets are dropped beyond it.
const maxBuckets = 10_000

type buckets struct {
	perSecond rate.Limit
	burst     int

	mu  sync.Mutex
	all map[string]*rate.Limiter
}

// take takes one call from a bucket, or says how long to wait for it.
func (b *buckets) take(key string, now time.Time) time.Duration {
	b.mu.Lock()
	limiter, ok := b.all[key]
	if !ok {
		if len(b.all) >= maxBuckets {
			b.sweep(now)
		}
		limiter = rate.NewLimiter(b.perSecond, b.burst)
		b.all[key] = limiter
	}
	b.mu.Unlock()
	r := limiter.ReserveN(now, 1)
	wait := r.DelayFrom(now)
	if wait > 0 {
		r.CancelAt(now)
	}
	return wait
}

// sweep drops buckets that are full again: a new one would be the same. The lock is held.
func (b *buckets) sweep(now time.Time) {
	for key, limiter := range b.all {
		if limiter.TokensAt(now) >= float64(b.burst) {
			delete(b.all, key)
		}
	}
}
