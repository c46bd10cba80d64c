package page

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/pikepole/pikepole/gateway/internal/problem"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/units"
)

// The largest gust that the form takes, in miles an hour; more is a slip of the pen.
const mostGustMPH = 200

// safeForm asks for the fewest braces that make safe what stands tonight.
type safeForm struct {
	// After is the move after which work ends, Gust the gust of the night in miles an hour.
	After, Gust string
	// Listed says that the braces of the checked list are on already. Whoever asks has to say so: what nobody has seen is not
	// counted on.
	Listed bool
	// Unpegged says that the joints of the move are not pegged yet.
	Unpegged bool
	// On are the braces that were taken to be on.
	On []string
	// Lumber are the boards of the company's stock.
	Lumber []lumberChoice
	// Refusal says why there is no answer; Again that the same may be asked again.
	Refusal string
	Again   bool
	// Answer is what to add; nil before anything was asked.
	Answer *sequencingv1.MakeSafeAnswer
	// Add are the braces to add.
	Add []setBrace
}

// lumberChoice is a size of board that may lie on the deck.
type lumberChoice struct {
	*sequencingv1.Lumber
	Chosen bool
}

// Boards say how many pieces of each length of lumber the braces are cut from.
func (f *safeForm) Boards() []board { return boards(f.Add) }

// newSafeForm is the form as it is first shown: for the night of the rules, after the move that is asked for or else the last
// one that is done.
func newSafeForm(p *standingPage, after string) *safeForm {
	form := &safeForm{After: after}
	if form.After == "" {
		now := standingNow(p.Progress.Value, p.Raising.Value.GetComputedFrom())
		if now < 1 {
			now = max(1, p.Move)
		}
		form.After = strconv.Itoa(int(now))
	}
	if gust := p.Rules.Value.GetNightGustMPerS(); gust > 0 {
		form.Gust = mph(gust)
	}
	for _, lumber := range p.Stock.Value.GetLumber() {
		form.Lumber = append(form.Lumber, lumberChoice{lumber, true})
	}
	return form
}

// read takes over what a form says.
func (f *safeForm) read(form url.Values) {
	f.After, f.Gust = strings.TrimSpace(form.Get("after")), strings.TrimSpace(form.Get("gust"))
	f.Listed, f.Unpegged = form.Get("listed") != "", form.Get("unpegged") != ""
	for i := range f.Lumber {
		f.Lumber[i].Chosen = slices.Contains(form["lumber"], f.Lumber[i].GetId())
	}
}

// request makes a request of the form.
func (f *safeForm) request(v *view, p *standingPage) (*sequencingv1.MakeSafeRequest, error) {
	after, err := readNumber(url.Values{"after": {f.After}}, "after", "the number of the last move that is done")
	if err != nil {
		return nil, err
	}
	move := moveOf(p.Raising.Value, after)
	if move == nil {
		return nil, unread("The raising order has no move %d; write the number of the last move that is done.", after)
	}
	gust, err := strconv.ParseFloat(f.Gust, 64)
	if err != nil || !(gust >= 1 && gust <= mostGustMPH) {
		return nil, unread("Write the gust of the night in miles an hour, from 1 to %d.", mostGustMPH)
	}
	gust = units.MPerSFromMPH(gust)
	request := &sequencingv1.MakeSafeRequest{Job: v.Job.GetId(), Revision: v.revision(), AfterMove: after, GustMPerS: &gust}
	if f.Unpegged {
		request.Unpegged = move.GetJoints()
	}
	if f.Listed && p.Check.Refusal != "" {
		return nil, unread("The checked list of braces could not be had: %s Send the form again in a while, or say that its braces are not on.", sentenceEnd(p.Check.Refusal))
	}
	if f.Listed {
		on := stateOf(p.Check.Value, after).GetOn()
		for _, b := range p.Sets() {
			if slices.Contains(on, b.GetId()) {
				request.Braces = append(request.Braces, b.PlacedBrace)
				f.On = append(f.On, b.GetId())
			}
		}
	}
	chosen := 0
	for _, l := range f.Lumber {
		if l.Chosen {
			chosen++
			request.Lumber = append(request.Lumber, l.Lumber)
		}
	}
	switch {
	case chosen == 0 && len(f.Lumber) > 0:
		return nil, unread("Choose at least one size of board that lies on the deck.")
	case chosen == len(f.Lumber):
		request.Lumber = nil
	}
	return request, nil
}

// makeSafe answers with the page of all states and the fewest braces that make safe what stands. It changes nothing, so a form
// that is sent twice is harmless.
func (s *Site) makeSafe(w http.ResponseWriter, r *http.Request) {
	// The whole raising is only asked for when the answer needs its list of braces.
	v, body, ok := s.standingView(w, r, r.PostForm.Get("listed") != "")
	if !ok {
		return
	}
	form := newSafeForm(body, "")
	form.read(r.PostForm)
	body.Form = form
	status := http.StatusOK
	request, err := form.request(v, body)
	if err == nil {
		form.Answer, err = s.lastSafe(r.Context(), request)
	}
	if err != nil {
		d := problem.FromError(err, false)
		form.Refusal, form.Again, status = plainDetail(d), tryAgain(d.Status), d.Status
	} else {
		form.Add = placedBraces(form.Answer.GetAdd(), form.Answer.GetCuts(), body.Stock.Value)
		for i := range form.Add {
			form.Add[i].forces(form.Answer.GetVerdict())
		}
		v.Block.Cautions = cautions(v.Block.Cautions, form.Answer.GetCautions())
	}
	s.render(w, r, status, "standing", v)
}

// lastSafe waits for the last of the answers, which is the best.
func (s *Site) lastSafe(ctx context.Context, request *sequencingv1.MakeSafeRequest) (*sequencingv1.MakeSafeAnswer, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := s.config.Sequencing.MakeSafe(ctx, request)
	if err != nil {
		return nil, err
	}
	var best *sequencingv1.MakeSafeAnswer
	for {
		answer, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return best, nil
		case err != nil:
			return nil, err
		}
		best = answer
	}
}

// plainDetail is what is wrong, without the names of fields, which nobody sees on a page.
func plainDetail(d *problem.Document) string {
	if len(d.Errors) == 0 {
		return d.Detail
	}
	var sentences []string
	for _, e := range d.Errors {
		sentences = append(sentences, sentenceEnd(capital(e.Message)))
	}
	return strings.Join(sentences, " ")
}
