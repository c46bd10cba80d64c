package page

import (
	"crypto/rand"
	"crypto/subtle"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/login"
	"github.com/pikepole/pikepole/gateway/internal/problem"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

const (
	fieldCSRF = "csrf"
	fieldKey  = "key"
	fieldCode = "code"
	fieldNext = "next"

	// formLimit is more than any form of ours can have.
	formLimit = 64 << 10
	// signInLife is how long a sign-in form can be sent after it was shown.
	signInLife = time.Hour
)

// SessionCookie is the name of the session's cookie. Over https it has the prefix that makes a
// browser take it only from this very host.
func SessionCookie(secure bool) string {
	if secure {
		return "__Host-session"
	}
	return "session"
}

// signInCookie is the name of the cookie that ties a sign-in form to the browser that it was shown in.
func signInCookie(secure bool) string {
	if secure {
		return "__Host-signin"
	}
	return "signin"
}

// cookie makes a cookie that no script reads. Lax lets a link in a message open a page as the
// person who is signed in; what changes anything is a POST, which Lax leaves out.
func (s *Site) cookie(name, value string, expire time.Time) *http.Cookie {
	return &http.Cookie{
		Name: name, Value: value, Path: "/", Expires: expire,
		HttpOnly: true, Secure: s.config.Secure, SameSite: http.SameSiteLaxMode,
	}
}

func (s *Site) dropCookie(w http.ResponseWriter, name string) {
	dropped := s.cookie(name, "", time.Unix(1, 0))
	dropped.MaxAge = -1
	http.SetCookie(w, dropped)
}

// signInPage is what the sign-in form shows.
type signInPage struct {
	// Code is the one-time code of a link; empty where a key is asked for.
	Code string
	// Next is where to go afterwards.
	Next string
	// Token ties the form to this browser.
	Token string
	// Refusal says why the last attempt failed.
	Refusal string
}

func (s *Site) askToSignIn(w http.ResponseWriter, r *http.Request) {
	if !isHTML(r) {
		call.Refuse(w, r, fault.New(fault.Unauthenticated, fault.ReasonNoCredentials, "Sign in first."))
		return
	}
	if call.From(r.Context()).Session != "" {
		s.dropCookie(w, SessionCookie(s.config.Secure))
	}
	target := "/signin"
	if r.Method == http.MethodGet {
		target += "?" + url.Values{fieldNext: {r.URL.RequestURI()}}.Encode()
	}
	http.Redirect(w, r, target, http.StatusSeeOther)
}

func (s *Site) signInForm(w http.ResponseWriter, r *http.Request) {
	query := r.URL.Query()
	s.showSignIn(w, r, http.StatusOK, signInPage{Code: query.Get(fieldCode), Next: localPath(query.Get(fieldNext))})
}

func (s *Site) showSignIn(w http.ResponseWriter, r *http.Request, status int, body signInPage) {
	body.Token = rand.Text()
	tie := s.cookie(signInCookie(s.config.Secure), body.Token, s.config.Now().Add(signInLife))
	tie.SameSite = http.SameSiteStrictMode
	http.SetCookie(w, tie)
	w.Header().Set("Cache-Control", "no-store")
	v := s.view(r, "Sign in")
	v.Body = body
	s.render(w, r, status, "signin", v)
}

// signIn starts a session with a key or a one-time code. A code is used up only here, by POST, so
// that a program which looks at links cannot use it up.
func (s *Site) signIn(w http.ResponseWriter, r *http.Request) {
	if !s.parseForm(w, r) {
		return
	}
	body := signInPage{Code: r.PostFormValue(fieldCode), Next: localPath(r.PostFormValue(fieldNext))}
	tie, err := r.Cookie(signInCookie(s.config.Secure))
	if err != nil || s.config.Origin.Check(r) != nil || !sameText(r.PostFormValue(fieldCSRF), tie.Value) {
		body.Refusal = "The form was shown too long ago or in another browser. Send it again; the browser must take cookies."
		s.showSignIn(w, r, http.StatusForbidden, body)
		return
	}
	session, err := s.startSession(r, body.Code)
	if err != nil {
		d := problem.FromError(err, false)
		if d.Status >= http.StatusInternalServerError || d.Status == http.StatusTooManyRequests {
			s.Problem(w, r, d)
			return
		}
		body.Refusal = d.Detail
		s.showSignIn(w, r, d.Status, body)
		return
	}
	s.dropCookie(w, signInCookie(s.config.Secure))
	http.SetCookie(w, s.cookie(SessionCookie(s.config.Secure), session.GetSession(), session.GetExpireTime().AsTime()))
	http.Redirect(w, r, body.Next, http.StatusSeeOther)
}

func (s *Site) startSession(r *http.Request, code string) (*accessv1.Session, error) {
	if code != "" {
		return s.config.Access.RedeemSignInLink(r.Context(), &accessv1.RedeemSignInLinkRequest{Code: code})
	}
	key := strings.TrimSpace(r.PostFormValue(fieldKey))
	if !strings.HasPrefix(key, login.KeyPrefix) {
		return nil, fault.New(fault.InvalidArgument, "KEY_NOT_WHOLE", "A key begins with %s; copy all of it.", login.KeyPrefix)
	}
	return s.config.Access.SignInWithKey(r.Context(), &accessv1.SignInWithKeyRequest{ApiKey: key})
}

func (s *Site) signOut(w http.ResponseWriter, r *http.Request) {
	session := call.From(r.Context()).Session
	if _, err := s.config.Access.SignOut(r.Context(), &accessv1.SignOutRequest{Session: session}); err != nil {
		s.fail(w, r, err)
		return
	}
	s.config.Sessions.ForgetSession(session)
	s.dropCookie(w, SessionCookie(s.config.Secure))
	http.Redirect(w, r, "/signin", http.StatusSeeOther)
}

// localPath gives a path of this site; anything else becomes the list of jobs.
func localPath(path string) string {
	u, err := url.Parse(path)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") || strings.ContainsAny(path, "\\\r\n\t") {
		return "/jobs"
	}
	return path
}

// sameText compares secrets in constant time; an empty one is the same as nothing.
func sameText(given, want string) bool {
	return want != "" && subtle.ConstantTimeCompare([]byte(given), []byte(want)) == 1
}
