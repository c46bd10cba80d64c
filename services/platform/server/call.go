package server

import (
	"context"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc/metadata"

	"github.com/pikepole/pikepole/services/platform/callid"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// call is what the layers of the chain learn about one call and tell each other.
type call struct {
	id      string
	full    string // "/package.Service/Method"
	rule    policy.Rule
	ruled   bool // the method stands in the table
	builtIn bool // health and reflection
	stream  bool
	start   time.Time
	stopped <-chan struct{}

	// Set by authentication.
	caller  identity.Caller
	expires time.Time

	// Set by the error map.
	cause   error
	errorID string

	mu  sync.Mutex
	job string
}

type callKey struct{}

func callFrom(ctx context.Context) *call {
	c, _ := ctx.Value(callKey{}).(*call)
	return c
}

// enter makes the call's record, once, in the outermost layer.
func (s *Server) enter(ctx context.Context, full string, stream bool) (context.Context, *call) {
	if c := callFrom(ctx); c != nil {
		return ctx, c
	}
	rule, ruled := s.table[full]
	c := &call{
		id: incomingID(ctx), full: full, rule: rule, ruled: ruled, builtIn: isBuiltIn(full),
		stream: stream, start: time.Now(), stopped: s.stopping,
	}
	return context.WithValue(callid.With(ctx, c.id), callKey{}, c), c
}

// incomingID takes over the id that came with the call, if it is fit to be logged.
func incomingID(ctx context.Context) string {
	if got := metadata.ValueFromIncomingContext(ctx, callid.Header); len(got) == 1 && callid.Valid(got[0]) {
		return got[0]
	}
	return callid.New()
}

// names gives service and method for labels; of methods that are not served it gives one word,
// so that callers can not make labels.
func (c *call) names() (service, method string) {
	if !c.ruled {
		return "unknown", "unknown"
	}
	service, method, _ = strings.Cut(strings.TrimPrefix(c.full, "/"), "/")
	return service, method
}

// see notes the job that a request speaks of.
func (c *call) see(request any) {
	named, ok := request.(interface{ GetJob() string })
	if !ok {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.job == "" {
		c.job = cut(named.GetJob())
	}
}

// longestLogged is more than any name of ours has, in bytes.
const longestLogged = 128

// cut keeps what a caller sent from filling the log.
func cut(s string) string {
	if len(s) <= longestLogged {
		return s
	}
	return strings.ToValidUTF8(s[:longestLogged], "") + "…"
}

func (c *call) seen() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.job
}

// Stopping is closed when the server that handles the call is being stopped; a handler that
// streams without end returns then. Outside of a call it is nil, which never is closed.
func Stopping(ctx context.Context) <-chan struct{} {
	if c := callFrom(ctx); c != nil {
		return c.stopped
	}
	return nil
}

// RequestID is the id of the call, or "".
func RequestID(ctx context.Context) string { return callid.From(ctx) }
