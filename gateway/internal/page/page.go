// Package page is the pages: server-rendered HTML that reads like a drawing sheet, works without
// script, and asks nothing from outside.
package page

import (
	"context"
	"embed"
	"errors"
	"html/template"
	"net/http"
	"strings"
	"time"

	"go.uber.org/zap"

	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/problem"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

//go:embed template/*.html
var templateFiles embed.FS

// Sessions forgets a session that has ended.
type Sessions interface {
	ForgetSession(handle string)
}

// Config says what the pages work with; all of it is required.
type Config struct {
	Access     accessv1.AccessServiceClient
	Frames     framesv1.FramesServiceClient
	Takeoff    takeoffv1.TakeoffServiceClient
	Rigging    riggingv1.RiggingServiceClient
	Sequencing sequencingv1.SequencingServiceClient
	Sitelog    sitelogv1.SitelogServiceClient
	Sessions   Sessions
	// Origin says whether a form comes from our own pages.
	Origin *http.CrossOriginProtection
	// Secure says that the pages are reached over https.
	Secure bool
	Now    func() time.Time
	Logger *zap.Logger
}

// Site answers for the pages.
type Site struct {
	config    Config
	templates map[string]*template.Template
	mux       *http.ServeMux
}

// New makes the pages.
func New(config Config) (*Site, error) {
	templates, err := parseTemplates()
	if err != nil {
		return nil, err
	}
	s := &Site{config: config, templates: templates, mux: http.NewServeMux()}
	if err := s.routeAssets(); err != nil {
		return nil, err
	}
	s.route()
	return s, nil
}

func (s *Site) route() {
	for pattern, handler := range map[string]http.HandlerFunc{
		"GET /{$}":                           s.home,
		"GET /signin":                        s.signInForm,
		"POST /signin":                       s.signIn,
		"POST /signout":                      s.form(s.signOut),
		"GET /jobs":                          s.signedIn(s.jobs),
		"GET /jobs/{job}":                    s.signedIn(s.job),
		"GET /jobs/{job}/latest":             s.signedIn(s.latest),
		"GET /jobs/{job}/takeoff":            s.signedIn(s.takeoff),
		"GET /jobs/{job}/picks":              s.signedIn(s.picks),
		"GET /jobs/{job}/raising":            s.signedIn(s.raising),
		"GET /jobs/{job}/standing":           s.signedIn(s.standing),
		"POST /jobs/{job}/standing":          s.form(s.makeSafe),
		"GET /jobs/{job}/standing/{move}":    s.signedIn(s.state),
		"GET /jobs/{job}/lifting/{assembly}": s.signedIn(s.lifting),
		"GET /jobs/{job}/layout":             s.signedIn(s.layout),
		"GET /jobs/{job}/drawings/{view}":    s.signedIn(s.drawing),
		"GET /jobs/{job}/moves/{move}":       s.signedIn(s.movePicture),
		"GET /jobs/{job}/log":                s.signedIn(s.log),
		"POST /jobs/{job}/log":               s.form(s.postEntry),
		"/":                                  s.unknown,
	} {
		s.mux.HandleFunc(pattern, handler)
	}
}

// ServeHTTP answers a request for a page.
func (s *Site) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "private, no-cache")
	_, pattern := s.mux.Handler(r)
	facts := call.From(r.Context())
	if _, path, found := strings.Cut(pattern, " "); found {
		facts.Route = path
	}
	s.mux.ServeHTTP(w, r)
}

// unknown answers for addresses that are none, and for methods that an address does not take.
func (s *Site) unknown(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		s.Problem(w, r, problem.New(http.StatusMethodNotAllowed, problem.ReasonMethod, "This address can only be read."))
		return
	}
	s.Problem(w, r, problem.New(http.StatusNotFound, problem.ReasonNoRoute, "There is no page at this address. The list of jobs leads to all there are."))
}

func (s *Site) home(w http.ResponseWriter, r *http.Request) {
	if call.From(r.Context()).Token == "" {
		http.Redirect(w, r, "/signin", http.StatusSeeOther)
		return
	}
	http.Redirect(w, r, "/jobs", http.StatusSeeOther)
}

// signedIn lets only people through who are known; the others are asked to sign in.
func (s *Site) signedIn(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		facts := call.From(r.Context())
		switch {
		case facts.Token != "":
			next(w, r)
		case facts.Refusal != nil:
			s.fail(w, r, facts.Refusal)
		default:
			s.askToSignIn(w, r)
		}
	}
}

// form lets only forms through that our own pages made for this session.
func (s *Site) form(next http.HandlerFunc) http.HandlerFunc {
	return s.signedIn(func(w http.ResponseWriter, r *http.Request) {
		if !s.parseForm(w, r) {
			return
		}
		facts := call.From(r.Context())
		if s.config.Origin.Check(r) != nil || !sameText(r.PostFormValue(fieldCSRF), facts.CSRF) {
			s.Problem(w, r, problem.New(http.StatusForbidden, problem.ReasonCSRF,
				"The form was not made by this page for your session, so nothing was done. Go back, reload the page, and send it again."))
			return
		}
		next(w, r)
	})
}

// parseForm reads a form within its limit and says whether it could.
func (s *Site) parseForm(w http.ResponseWriter, r *http.Request) bool {
	r.Body = http.MaxBytesReader(w, r.Body, formLimit)
	err := r.ParseForm()
	var over *http.MaxBytesError
	switch {
	case errors.As(err, &over):
		s.Problem(w, r, problem.New(http.StatusRequestEntityTooLarge, problem.ReasonBodyTooLarge, "The form is too large; write less."))
	case err != nil:
		s.Problem(w, r, problem.New(http.StatusBadRequest, problem.ReasonBodyNotRead, "The form did not arrive whole; send it again."))
	}
	return err == nil
}

// fail answers for an error: someone who is no longer known is asked to sign in, all else is a page
// that says what is wrong.
func (s *Site) fail(w http.ResponseWriter, r *http.Request, err error) {
	if fault.FromStatus(err).Kind == fault.Unauthenticated && isHTML(r) {
		s.askToSignIn(w, r)
		return
	}
	s.Problem(w, r, problem.FromError(err, false))
}

// Problem answers with a problem: as a page to a browser, as a document to anything else.
func (s *Site) Problem(w http.ResponseWriter, r *http.Request, d *problem.Document) {
	if !isHTML(r) {
		call.RefuseWith(w, r, d)
		return
	}
	if d.RetryAfter > 0 {
		w.Header().Set("Retry-After", retryText(d.RetryAfter))
	}
	v := s.view(r, "A problem")
	v.Body = struct {
		*problem.Document
		Heading   string
		RequestID string
	}{d, heading(d.Status), call.From(r.Context()).RequestID}
	s.render(w, r, d.Status, "problem", v)
}

// heading says in words what kind of trouble a status is.
func heading(status int) string {
	switch status {
	case http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity:
		return "That was not understood"
	case http.StatusForbidden:
		return "Not allowed"
	case http.StatusNotFound:
		return "Not here"
	case http.StatusConflict:
		return "It cannot be done as things stand"
	case http.StatusTooManyRequests, http.StatusServiceUnavailable, http.StatusGatewayTimeout:
		return "Too much at once; try again soon"
	}
	return "It did not work"
}

// isHTML says whether the answer is looked at as a page rather than shown inside one.
func isHTML(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept"), "text/html")
}

// each runs the loaders at the same time and waits for all of them. A panic in one becomes a panic
// here, where the request's own recovery finds it.
func each(ctx context.Context, loaders ...func(context.Context)) {
	done := make(chan any)
	for _, load := range loaders {
		go func() {
			defer func() { done <- recover() }()
			load(ctx)
		}()
	}
	var trouble any
	for range loaders {
		if t := <-done; t != nil {
			trouble = t
		}
	}
	if trouble != nil {
		panic(trouble)
	}
}
