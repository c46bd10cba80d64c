package page

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
)

// liftingPage is how a bent bears being stood up.
type liftingPage struct {
	Check    part[*sequencingv1.LiftCheck]
	Stock    part[*sequencingv1.BraceStock]
	Assembly string
	// Sling is the angle of the slings from level, in degrees, as it was asked for; empty for the default.
	Sling string
	// Tied says that the feet are tied to one another, Unpegged that nothing is pegged yet.
	Tied, Unpegged bool
	// Strongback is the id of the lumber that is lashed along the bent; empty for none.
	Strongback string
}

// StrongbackName is what the stock calls the strongback.
func (p *liftingPage) StrongbackName() string {
	return stockNames(p.Stock.Value).of("lumber", p.Strongback)
}

// Proposal is what to do so that it bears the lift: the last of the remedies that hold, which is made of those before it; nil
// when none holds.
func (p *liftingPage) Proposal() *sequencingv1.LiftRemedy {
	for _, remedy := range slices.Backward(p.Check.Value.GetRemedies()) {
		if remedy.GetHolds() {
			return remedy
		}
	}
	return nil
}

// lifting answers with the lift check of an assembly, with what the form asks to try.
func (s *Site) lifting(w http.ResponseWriter, r *http.Request) {
	assembly := r.PathValue("assembly")
	v, ok := s.sheetView(w, r, "Lifting "+assembly, "lifting/"+url.PathEscape(assembly))
	if !ok {
		return
	}
	query := r.URL.Query()
	body := &liftingPage{
		Assembly: assembly, Sling: strings.TrimSpace(query.Get("sling")), Strongback: query.Get("strongback"),
		Tied: query.Get("tied") != "", Unpegged: query.Get("unpegged") != "",
	}
	request, err := body.request(v)
	each(r.Context(),
		load(&body.Stock, s.loadStock),
		load(&body.Check, func(ctx context.Context) (*sequencingv1.LiftCheck, error) {
			if err != nil {
				return nil, err
			}
			return s.config.Sequencing.CheckLift(ctx, request)
		}),
	)
	v.computedFrom(body.Check.Value)
	v.Block.Cautions = cautions(body.Check.Value.GetCautions())
	v.Body = body
	s.render(w, r, http.StatusOK, "lifting", v)
}

// request makes a request of what the form asks to try.
func (p *liftingPage) request(v *view) (*sequencingv1.CheckLiftRequest, error) {
	request := &sequencingv1.CheckLiftRequest{
		Job: v.Job.GetId(), Revision: v.revision(), Assembly: p.Assembly, Strongback: p.Strongback,
	}
	if p.Sling != "" {
		angle, err := strconv.ParseFloat(p.Sling, 64)
		if err != nil || !(angle >= 30 && angle <= 90) {
			return nil, unread("Write the angle of the slings from level in degrees, from 30 to 90.")
		}
		request.SlingDeg = &angle
	}
	if p.Tied {
		request.FeetTied = []string{"all"}
	}
	if p.Unpegged {
		request.Unpegged = []string{"all"}
	}
	return request, nil
}
