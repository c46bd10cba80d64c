package e2e_test

import (
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"testing"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
)

// tonight is the gust that the braces of a bent are asked for, in m/s.
const tonight = 15.0

// stands asks what a raising lead asks: the first bent alone, the braces that make it stand, the same with them, and
// the whole raising.
func stands(t *testing.T, lead client, at string, p *plan) {
	t.Helper()
	p.Bent, p.Braced = &sequencingv1.StandCheck{}, &sequencingv1.StandCheck{}
	p.Safe, p.Standing = &sequencingv1.MakeSafeAnswer{}, &sequencingv1.RaisingCheck{}
	question := map[string]any{"standing": []string{"bent-1"}, "gustMPerS": tonight}
	lead.send(t, http.MethodPost, at+":checkStand", question, http.StatusOK, p.Bent)
	if v := p.Bent.GetVerdict(); v.GetStands() || !strings.Contains(v.GetGoverning().GetWords(), "about the line through") {
		t.Errorf("the first bent alone: %v", v.GetGoverning())
	}
	lead.send(t, http.MethodPost, at+":makeSafe", question, http.StatusOK, p.Safe)
	if !p.Safe.GetSafe() || !p.Safe.GetFinal() || len(p.Safe.GetAdd()) == 0 || p.Safe.GetBefore().GetStands() {
		t.Fatalf("braces for the first bent: %v", p.Safe)
	}
	searched(t, lead, at+":makeSafe", question, p.Safe)
	var braces []json.RawMessage
	for _, b := range p.Safe.GetAdd() {
		braces = append(braces, raw(t, b))
	}
	braced := map[string]any{"standing": []string{"bent-1"}, "gustMPerS": tonight, "braces": braces}
	lead.send(t, http.MethodPost, at+":checkStand", braced, http.StatusOK, p.Braced)
	if v := p.Braced.GetVerdict(); !v.GetStands() || v.GetHighestGustMPerS() < tonight {
		t.Errorf("the first bent with its braces: %v", v)
	}
	lead.get(t, at+"/standing", p.Standing)
	if len(p.Standing.GetStates()) != len(p.Raising.GetMoves()) || !p.Standing.GetPlanned() || len(p.Standing.GetCautions()) == 0 {
		t.Errorf("%d states of %d moves, planned %t, cautions %q", len(p.Standing.GetStates()), len(p.Raising.GetMoves()), p.Standing.GetPlanned(), p.Standing.GetCautions())
	}
	for _, s := range p.Standing.GetStates() {
		if n := p.Standing.GetFirstFallingMove(); (s.GetReleased().GetStands() && s.GetRefusal() == "") == (s.GetMove() == n) {
			t.Errorf("state %d stands %t, refusal %q, and the first that falls is %d", s.GetMove(), s.GetReleased().GetStands(), s.GetRefusal(), n)
		}
	}
}

// searched asks the same of the live search: better answers, and at last the one that is known.
func searched(t *testing.T, c client, path string, question any, want *sequencingv1.MakeSafeAnswer) {
	t.Helper()
	a := c.do(t, http.MethodPost, path, toJSON(t, question), "Accept", "text/event-stream")
	if a.status != http.StatusOK || !strings.HasPrefix(a.header.Get("Content-Type"), "text/event-stream") {
		t.Fatalf("%s answers %d as %s", path, a.status, a.header.Get("Content-Type"))
	}
	var names []string
	var last string
	for event := range strings.SplitSeq(strings.TrimSpace(string(a.body)), "\n\n") {
		for line := range strings.Lines(event) {
			if name, ok := strings.CutPrefix(line, "event: "); ok {
				names = append(names, strings.TrimSpace(name))
			}
			if data, ok := strings.CutPrefix(line, "data: "); ok {
				last = data
			}
		}
	}
	if len(names) < 2 || names[len(names)-1] != "final" || slices.Contains(names[:len(names)-1], "final") {
		t.Errorf("events %v, want better ones and a final one", names)
	}
	var final struct {
		Add []struct{ ID string }
	}
	if err := json.Unmarshal([]byte(last), &final); err != nil || len(final.Add) != len(want.GetAdd()) {
		t.Errorf("the final event has %d braces, %v; the plain answer has %d", len(final.Add), err, len(want.GetAdd()))
	}
}
