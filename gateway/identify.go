package gateway

import (
	"errors"
	"net/http"
	"strings"

	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/page"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// failedSignIn is how many requests a failed attempt to say who one is counts for.
const failedSignIn = 15

// identify finds out who is calling, by a key in Authorization or else by the session's cookie.
// Someone who is not known goes on without a token; the layers behind it refuse.
func (g *Gateway) identify(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		facts := call.From(r.Context())
		token, err := g.exchange(r, facts)
		switch {
		case err != nil:
			facts.Refusal = err
			if fault.FromStatus(err).Kind == fault.Unauthenticated {
				g.limiter.Charge(facts.Address, failedSignIn)
			}
		case token != nil:
			facts.Token = token.GetAccessToken()
			facts.TokenEnd = token.GetExpireTime().AsTime()
			facts.Caller = token.GetCaller()
			facts.CSRF = token.GetCsrfToken()
		}
		next.ServeHTTP(w, r)
	})
}

// exchange gives the caller's token; nil when nobody said who they are.
func (g *Gateway) exchange(r *http.Request, facts *call.Facts) (*accessv1.Token, error) {
	if header := r.Header.Get("Authorization"); header != "" {
		scheme, key, _ := strings.Cut(header, " ")
		if !strings.EqualFold(scheme, "Bearer") {
			return nil, fault.New(fault.Unauthenticated, fault.ReasonNoCredentials, "Send the key as Authorization: Bearer KEY.")
		}
		key = strings.TrimSpace(key)
		facts.Forget = func() { g.keeper.ForgetKey(key) }
		return g.keeper.Key(r.Context(), key)
	}
	cookie, err := r.Cookie(page.SessionCookie(g.secure))
	if errors.Is(err, http.ErrNoCookie) || cookie.Value == "" {
		return nil, nil
	}
	facts.Session = cookie.Value
	facts.Forget = func() { g.keeper.ForgetSession(cookie.Value) }
	return g.keeper.Session(r.Context(), cookie.Value)
}
