package gateway_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/gateway"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
)

func formToken(t *testing.T, a answer) string {
	t.Helper()
	m := regexp.MustCompile(`name="csrf" value="([^"]+)"`).FindStringSubmatch(a.Text)
	if m == nil {
		t.Fatalf("%d: no form on the page", a.StatusCode)
	}
	return m[1]
}

func cookie(t *testing.T, a answer, name string) *http.Cookie {
	t.Helper()
	for _, c := range a.Cookies() {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no cookie %q among %v", name, a.Cookies())
	return nil
}

func TestSigningIn(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		path, field, value, then string
	}{
		"with a key":                  {"/signin", "key", " " + leadKey + "\n", "/jobs"},
		"with a link":                 {"/signin?code=" + goodCode, "code", goodCode, "/jobs"},
		"on the way to a page":        {"/signin?next=%2Fjobs%2Fjob-a", "key", leadKey, "/jobs/job-a"},
		"on the way to another site":  {"/signin?next=https%3A%2F%2Felsewhere.example%2F", "key", leadKey, "/jobs"},
		"on the way to a sly address": {"/signin?next=%2F%2Felsewhere.example", "key", leadKey, "/jobs"},
		"on the way to a slyer one":   {`/signin?next=%2F%5Celsewhere.example`, "key", leadKey, "/jobs"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := start(t)
			b := s.browser(t)
			shown := b.get(t, tc.path)
			if s.count("RedeemSignInLink") != 0 {
				t.Error("looking at a link used it up")
			}
			next := regexp.MustCompile(`name="next" value="([^"]*)"`).FindStringSubmatch(shown.Text)[1]
			a := b.post(t, "/signin", url.Values{"csrf": {formToken(t, shown)}, tc.field: {tc.value}, "next": {next}})
			if a.StatusCode != http.StatusSeeOther || a.Header.Get("Location") != tc.then {
				t.Fatalf("%d to %q, want 303 to %s: %s", a.StatusCode, a.Header.Get("Location"), tc.then, a.Text)
			}
			if c := cookie(t, a, "session"); !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Secure || c.Path != "/" || c.Value != handle {
				t.Errorf("the session's cookie is %v", c)
			}
			if page := b.get(t, "/jobs"); page.StatusCode != http.StatusOK {
				t.Errorf("signed in, the list of jobs gives %d", page.StatusCode)
			}
		})
	}
}

func TestTheSessionCookieOverHTTPS(t *testing.T) {
	t.Parallel()
	s := start(t, func(_ *backend, c *gateway.Config) { c.PublicURL = "https://frames.example.com" })
	shown := s.send(t, request{path: "/signin", key: "-"})
	tie := cookie(t, shown, "__Host-signin")
	if !tie.Secure || !tie.HttpOnly || tie.SameSite != http.SameSiteStrictMode {
		t.Errorf("the form's cookie is %v", tie)
	}
	form := url.Values{"csrf": {formToken(t, shown)}, "key": {leadKey}}
	a := s.send(t, request{method: http.MethodPost, path: "/signin", key: "-", body: form.Encode(), header: map[string]string{
		"Content-Type": "application/x-www-form-urlencoded", "Cookie": tie.Name + "=" + tie.Value, "Origin": "https://frames.example.com",
	}})
	if c := cookie(t, a, "__Host-session"); !c.Secure || !c.HttpOnly || c.Path != "/" || c.Domain != "" {
		t.Errorf("the session's cookie is %v", c)
	}
}

func TestSigningInIsRefused(t *testing.T) {
	t.Parallel()
	s := start(t)
	for name, tc := range map[string]struct {
		form   url.Values
		status int
		text   string
	}{
		"with another key":       {url.Values{"key": {"pk_other_1"}}, 401, "not one of ours"},
		"with what is no key":    {url.Values{"key": {"hello"}}, 400, "begins with pk_"},
		"with a used link":       {url.Values{"code": {"used"}}, 401, "ask for another"},
		"by another site's form": {url.Values{"key": {leadKey}, "csrf": {"guess"}}, 403, "in another browser"},
	} {
		b := s.browser(t)
		token := formToken(t, b.get(t, "/signin"))
		if !tc.form.Has("csrf") {
			tc.form.Set("csrf", token)
		}
		a := b.post(t, "/signin", tc.form)
		if a.StatusCode != tc.status || !strings.Contains(a.Text, tc.text) {
			t.Errorf("%s: %d %s", name, a.StatusCode, a.Text)
		}
		for _, c := range a.Cookies() {
			if c.Name == "session" {
				t.Errorf("%s: a session began", name)
			}
		}
	}
}

func TestSigningOut(t *testing.T) {
	t.Parallel()
	s := start(t)
	b := s.signedIn(t)
	b.get(t, "/jobs")
	a := b.post(t, "/signout", url.Values{"csrf": {csrfToken}})
	if a.StatusCode != http.StatusSeeOther || cookie(t, a, "session").MaxAge >= 0 {
		t.Fatalf("%d %v", a.StatusCode, a.Cookies())
	}
	if got := last[*accessv1.SignOutRequest](t, s.backend, "SignOut").GetSession(); got != handle {
		t.Errorf("session %q was ended", got)
	}
	before := s.count("ExchangeSession")
	s.signedIn(t).get(t, "/jobs")
	if s.count("ExchangeSession") != before+1 {
		t.Error("the ended session was served from memory")
	}
}

func TestPagesAskToSignIn(t *testing.T) {
	t.Parallel()
	s := start(t)
	b := s.browser(t)
	for path, want := range map[string]string{
		"/":                            "/signin",
		"/jobs":                        "/signin?next=%2Fjobs",
		"/jobs/job-a/picks?revision=2": "/signin?next=%2Fjobs%2Fjob-a%2Fpicks%3Frevision%3D2",
	} {
		if a := b.get(t, path); a.StatusCode != http.StatusSeeOther || a.Header.Get("Location") != want {
			t.Errorf("%s: %d to %q, want 303 to %q", path, a.StatusCode, a.Header.Get("Location"), want)
		}
	}
	if p := problemOf(t, s.send(t, request{path: "/jobs/job-a/moves/1.svg", key: "-"})); p.Status != 401 {
		t.Errorf("a picture without credentials: %d", p.Status)
	}
	ended := s.send(t, request{path: "/jobs", key: "-", header: map[string]string{"Cookie": "session=ended", "Accept": "text/html"}})
	if ended.StatusCode != http.StatusSeeOther || cookie(t, ended, "session").MaxAge >= 0 {
		t.Errorf("an ended session: %d %v", ended.StatusCode, ended.Cookies())
	}
}
