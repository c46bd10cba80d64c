package gateway

import (
	"fmt"
	"net/http"
	"net/netip"
	"strings"
	"time"

	"go.uber.org/zap"

	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/live"
	"github.com/pikepole/pikepole/gateway/internal/problem"
	"github.com/pikepole/pikepole/services/platform/callid"
	"github.com/pikepole/pikepole/services/platform/fault"
)

const (
	apiPrefix = "/v1/"
	// unknownRoute is the route of a request that belongs to none.
	unknownRoute = "unknown"

	pagePolicy = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
	apiPolicy  = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

// chain puts the layers around the handlers, outermost first: request id, access log and metrics,
// time limit, recovery, security headers, rate limit; then, behind the probes, who is calling.
func (g *Gateway) chain(api http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /healthz", named("/healthz", healthz))
	mux.HandleFunc("GET /readyz", named("/readyz", g.readyz))
	mux.HandleFunc("GET /openapi.json", named("/openapi.json", openapi))
	mux.Handle(apiPrefix, g.identify(g.api(api)))
	mux.Handle("/", g.identify(g.pages))
	return g.withRequestID(g.observe(limitAnswer(g.recoverPanic(g.secureHeaders(g.limitAddress(mux))))))
}

func named(route string, next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		call.From(r.Context()).Route = route
		next(w, r)
	}
}

// withRequestID takes over the client's request id or makes one.
func (g *Gateway) withRequestID(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		id := r.Header.Get(callid.Header)
		if !callid.Valid(id) {
			id = callid.New()
		}
		w.Header().Set("X-Request-Id", id)
		facts := &call.Facts{RequestID: id, Route: unknownRoute, Address: g.address(r)}
		next.ServeHTTP(w, r.WithContext(call.With(r.Context(), facts)))
	})
}

// observe writes the access line and counts the request.
func (g *Gateway) observe(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := g.config.Now()
		recorder := &recorder{ResponseWriter: w}
		next.ServeHTTP(recorder, r)
		took := g.config.Now().Sub(began)
		facts := call.From(r.Context())
		streamed := strings.HasPrefix(w.Header().Get("Content-Type"), live.MediaType)
		g.metrics.answered(facts.Route, r.Method, recorder.code(), took, streamed)
		g.accessLine(r, facts, recorder, took)
	})
}

// accessLine says what was asked and how it ended. The query is left out: it may hold a one-time code.
func (g *Gateway) accessLine(r *http.Request, facts *call.Facts, recorder *recorder, took time.Duration) {
	fields := []zap.Field{
		zap.String("request_id", facts.RequestID),
		zap.String("method", r.Method),
		zap.String("route", facts.Route),
		zap.String("path", r.URL.Path),
		zap.Int("status", recorder.code()),
		zap.Duration("took", took),
		zap.Int64("bytes", recorder.bytes),
		zap.String("address", facts.Address.String()),
	}
	if facts.Caller != nil {
		fields = append(fields, zap.String("company", facts.Caller.GetCompany()), zap.String("person", facts.Caller.GetPerson()))
	}
	switch {
	case r.Context().Err() != nil:
		g.config.Logger.Debug("request left by its client", fields...)
	case recorder.code() >= http.StatusInternalServerError && recorder.code() != http.StatusServiceUnavailable:
		g.config.Logger.Error("request failed", fields...)
	default:
		g.config.Logger.Info("request", fields...)
	}
}

// answerTime is how long an answer may take, from the request's head to its last byte. Live streams
// give each of their events a time of its own.
const answerTime = 2 * time.Minute

// limitAnswer ends a connection whose client does not read: it would hold the answer in memory for as
// long as it likes.
func limitAnswer(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		// Not every writer knows deadlines, and one that does not needs none.
		_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(answerTime))
		next.ServeHTTP(w, r)
	})
}

// recoverPanic turns a panic into a problem document and a line in the log.
func (g *Gateway) recoverPanic(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			trouble := recover()
			switch {
			case trouble == nil:
				return
			case trouble == http.ErrAbortHandler:
				panic(trouble)
			}
			facts := call.From(r.Context())
			g.config.Logger.Error("panic", zap.String("request_id", facts.RequestID), zap.String("panic", fmt.Sprint(trouble)), zap.Stack("stack"))
			call.Refuse(w, r, fault.New(fault.Internal, fault.ReasonInternal, "The gateway failed."))
		}()
		next.ServeHTTP(w, r)
	})
}

func (g *Gateway) secureHeaders(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		header := w.Header()
		header.Set("Content-Security-Policy", pagePolicy)
		if strings.HasPrefix(r.URL.Path, apiPrefix) {
			header.Set("Content-Security-Policy", apiPolicy)
		}
		header.Set("X-Content-Type-Options", "nosniff")
		header.Set("X-Frame-Options", "DENY")
		header.Set("Referrer-Policy", "same-origin")
		header.Set("Cross-Origin-Opener-Policy", "same-origin")
		header.Set("Cross-Origin-Resource-Policy", "same-origin")
		header.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		if g.secure {
			header.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// limitAddress holds back an address that asks too often, before anything is looked up for it.
func (g *Gateway) limitAddress(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		wait, ok := g.limiter.Admit(call.From(r.Context()).Address, 1)
		if !ok {
			g.metrics.limited.Inc()
			d := problem.New(http.StatusTooManyRequests, fault.ReasonRate, "Too many requests come from your address; wait and try again.")
			d.RetryAfter = problem.Seconds(wait)
			if g.isPage(r) {
				g.pages.Problem(w, r, d)
				return
			}
			call.RefuseWith(w, r, d)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// isPage says whether the answer is for someone who looks at it in a browser.
func (g *Gateway) isPage(r *http.Request) bool {
	return !strings.HasPrefix(r.URL.Path, apiPrefix) && strings.Contains(r.Header.Get("Accept"), "text/html")
}

// address gives the client's address: the last in X-Forwarded-For that no trusted proxy has, when
// the request itself comes from a trusted proxy.
func (g *Gateway) address(r *http.Request) netip.Addr {
	var address netip.Addr
	if peer, err := netip.ParseAddrPort(r.RemoteAddr); err == nil {
		address = peer.Addr().Unmap()
	}
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for i := len(hops) - 1; i >= 0 && g.trusted(address); i-- {
		hop, err := netip.ParseAddr(strings.TrimSpace(hops[i]))
		if err != nil {
			break
		}
		address = hop.Unmap()
	}
	return address
}

func (g *Gateway) trusted(address netip.Addr) bool {
	for _, network := range g.config.TrustedProxies {
		if network.Contains(address) {
			return true
		}
	}
	return false
}

// recorder notes the status and the size of an answer, and drops the body of one that has none.
type recorder struct {
	http.ResponseWriter
	status int
	bytes  int64
}

func (w *recorder) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

func (w *recorder) Write(data []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	if w.status == http.StatusNoContent {
		return len(data), nil
	}
	n, err := w.ResponseWriter.Write(data)
	w.bytes += int64(n)
	return n, err
}

// Unwrap lets http.ResponseController reach the writer beneath.
func (w *recorder) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (w *recorder) code() int {
	if w.status == 0 {
		return http.StatusOK
	}
	return w.status
}
