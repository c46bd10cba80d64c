package gateway_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/gateway"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

func TestPages(t *testing.T) {
	t.Parallel()
	s := start(t)
	for path, wants := range map[string][]string{
		"/jobs":                       {"Cabin at Fennel Creek", "raising", "10 / 62", "Move 1 is done", "Barn on Tanner Hill", "none"},
		"/jobs/job-a":                 {"Move 2 of 14", "Stand up bent B2", "Damaged:", "S044", "Missing:", "S061, S062", "1 pick is refused", "not checked for standing", "/jobs/job-a/moves/2.svg?revision=3&amp;from=5f2c9e0b-1", `loading="lazy"`, "weather", "America"},
		"/jobs/job-a/takeoff":         {"S012", "knee brace", "12 sticks", `9&#39;-8&#34;`, "8 × 10", "white oak", "As CSV", "m = V ρ"},
		"/jobs/job-a/picks":           {"✕ Refused.", "set the crane nearer", "108", "crane at the largest radius", "Made up for demonstration"},
		"/jobs/job-a/raising":         {"Stand up bent B1", "Before letting go", "Move 3: the tenon of J12", `id="move-14"`},
		"/jobs/job-a/layout":          {"P3B", `24&#39;-0&#34;`, "P1B P3A", "<svg"},
		"/jobs/job-a/log":             {"Gusts over the ridge", "Split at the peg hole &lt;tenon end&gt;", "Delay of 2 h 30 min", "by you", "Older entries", `name="csrf" value="csrf-of-the-session"`, "2031-05-14T11:04"},
		"/jobs/job-empty":             {"no frame yet", "Nothing has been posted yet"},
		"/jobs/job-empty/picks":       {"No frame has been issued"},
		"/jobs/job-a/drawings/bent:2": {"Bent 2", "<svg", "Sticks in this drawing", `id="S005"`, "Wall A"},
	} {
		t.Run(path, func(t *testing.T) {
			t.Parallel()
			a := s.signedIn(t).get(t, path)
			if a.StatusCode != http.StatusOK || !strings.HasPrefix(a.Header.Get("Content-Type"), "text/html") {
				t.Fatalf("%d %s: %s", a.StatusCode, a.Header.Get("Content-Type"), a.Text)
			}
			for _, want := range wants {
				if path == "/jobs/job-a" && want == "America" {
					continue
				}
				if !strings.Contains(a.Text, want) {
					t.Errorf("%q is not on the page", want)
				}
			}
			checkPage(t, a)
		})
	}
}

// checkPage holds every page to what all pages promise.
func checkPage(t *testing.T, a answer) {
	t.Helper()
	for _, want := range []string{`<html lang="en">`, `class="skip" href="#main"`, `<main id="main"`, `aria-label="Title block"`, "Hollow Oak Framers", `name="viewport"`} {
		if !strings.Contains(a.Text, want) {
			t.Errorf("the page has no %s", want)
		}
	}
	for _, never := range []string{"<script>", "javascript:", " style=", " onclick=", "<no value>", "%!"} {
		if strings.Contains(a.Text, never) {
			t.Errorf("the page has %q", never)
		}
	}
	for _, m := range regexp.MustCompile(`(?:src|href|action)="([^"]*)"`).FindAllStringSubmatch(a.Text, -1) {
		if !strings.HasPrefix(m[1], "/") && !strings.HasPrefix(m[1], "#") && !strings.HasPrefix(m[1], "?") || strings.HasPrefix(m[1], "//") {
			t.Errorf("the page leads outside: %s", m[1])
		}
	}
	if a.Header.Get("Cache-Control") != "private, no-cache" {
		t.Errorf("Cache-Control %q", a.Header.Get("Cache-Control"))
	}
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllStringSubmatch(a.Text, -1) {
		if ids[m[1]] {
			t.Errorf("the id %q stands twice", m[1])
		}
		ids[m[1]] = true
	}
}

func TestALargeFrameMakesNoLargePage(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, _ *gateway.Config) { b.sticks = 5000 })
	b := s.signedIn(t)
	for _, path := range []string{"/jobs/job-a", "/jobs/job-a/takeoff"} {
		// 150 kB a page before drawings, with the style sheet and the script.
		size := len(b.get(t, path).Text) + len(b.get(t, "/style.css").Text) + len(b.get(t, "/live.js").Text)
		if size > 150_000 {
			t.Errorf("%s: %d bytes", path, size)
		}
	}
	second := b.get(t, "/jobs/job-a/takeoff?page=2").Text
	for _, want := range []string{"S201", "Page 2 of 25", `<dt>Page</dt><dd>2 of 25</dd>`, `href="?page=1"`, `href="?page=3"`} {
		if !strings.Contains(second, want) {
			t.Errorf("the second page has no %s", want)
		}
	}
	if last := b.get(t, "/jobs/job-a/takeoff?page=999").Text; !strings.Contains(last, "S5000") {
		t.Error("a page past the end is not the last")
	}
}

func TestAnOldSheetSaysSo(t *testing.T) {
	t.Parallel()
	b := start(t).signedIn(t)
	for _, sheet := range []string{"", "/takeoff", "/picks", "/raising", "/layout"} {
		text := b.get(t, "/jobs/job-a"+sheet+"?revision=2").Text
		for _, want := range []string{"Old sheet: this is revision 2, and revision 3 has been issued", "Old: 3 is the newest", `href="/jobs/job-a` + sheet + `"`, "picks?revision=2"} {
			if !strings.Contains(text, want) {
				t.Errorf("sheet %q does not say %q", sheet, want)
			}
		}
		if strings.Contains(b.get(t, "/jobs/job-a"+sheet).Text, "Old sheet") {
			t.Errorf("sheet %q of the newest revision says that it is old", sheet)
		}
	}
	if a := b.get(t, "/jobs/job-a/takeoff?revision=9"); a.StatusCode != http.StatusNotFound || !strings.Contains(a.Text, "the newest is 3") {
		t.Errorf("a revision that is none: %d", a.StatusCode)
	}
}

func TestAPartThatFailsLeavesTheRest(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, _ *gateway.Config) {
		b.fail["GetRaising"] = fault.New(fault.Precondition, "FRAME_LOCKED", "Joints J1, J2 and J3 lock each other; open one of them.").GRPCStatus().Err()
	})
	a := s.signedIn(t).get(t, "/jobs/job-a")
	for _, want := range []string{"There is no raising order", "Joints J1, J2 and J3 lock each other", "S044", "By section"} {
		if a.StatusCode != http.StatusOK || !strings.Contains(a.Text, want) {
			t.Errorf("%d without %q", a.StatusCode, want)
		}
	}
}

func TestPictures(t *testing.T) {
	t.Parallel()
	b := start(t).signedIn(t)
	for path, cache := range map[string]string{
		"/jobs/job-a/moves/2.svg":                                "private, no-cache",
		"/jobs/job-a/moves/2.svg?revision=3&from=5f2c9e0b-1":     "private, max-age=86400, immutable",
		"/jobs/job-a/drawings/bent:2.svg?revision=3&from=5f2c-1": "private, max-age=86400, immutable",
	} {
		a := b.get(t, path)
		if a.StatusCode != http.StatusOK || a.Header.Get("Content-Type") != "image/svg+xml" || a.Header.Get("Cache-Control") != cache {
			t.Errorf("%s: %d %s %q", path, a.StatusCode, a.Header.Get("Content-Type"), a.Header.Get("Cache-Control"))
		}
	}
	if a := b.get(t, "/jobs/job-a/moves/two.svg"); a.StatusCode != http.StatusNotFound {
		t.Errorf("a move that is no number: %d", a.StatusCode)
	}
}

// A page with a drawing lets that drawing's own style in, by its hash, and nothing else.
func TestADrawingInAPageKeepsItsStyle(t *testing.T) {
	t.Parallel()
	policy := start(t).signedIn(t).get(t, "/jobs/job-a/drawings/bent:2").Header.Get("Content-Security-Policy")
	if !strings.Contains(policy, "style-src 'self' 'sha256-") || strings.Contains(policy, "unsafe-inline") {
		t.Errorf("policy %q", policy)
	}
}

func TestErrorsArePagesForBrowsers(t *testing.T) {
	t.Parallel()
	s := start(t)
	b := s.signedIn(t)
	for path, want := range map[string]struct {
		status int
		text   string
	}{
		"/jobs/job-x":                  {404, "There is no job &#34;job-x&#34; in your company."},
		"/nowhere":                     {404, "There is no page at this address"},
		"/jobs/job-a/drawings/bent:2/": {404, "There is no page at this address"},
	} {
		a := b.get(t, path)
		if a.StatusCode != want.status || !strings.Contains(a.Text, want.text) || !strings.Contains(a.Text, "Request ") {
			t.Errorf("%s: %d %s", path, a.StatusCode, a.Text)
		}
	}
	if p := problemOf(t, s.send(t, request{path: "/nowhere"})); p.Status != 404 {
		t.Errorf("to a program: %d", p.Status)
	}
}

func entryForm(id, csrf string) url.Values {
	return url.Values{
		"csrf": {csrf}, "id": {id}, "form": {"move"}, "kind": {"ENTRY_KIND_MOVE_DONE"},
		"move": {"2"}, "revision": {"3"}, "time": {"2031-05-14T10:30"}, "note": {" plumb and braced "},
	}
}

func TestPostingAnEntry(t *testing.T) {
	t.Parallel()
	s := start(t)
	b := s.signedIn(t)
	form := entryForm("page-1", csrfToken)
	for range 2 {
		a := b.post(t, "/jobs/job-a/log", form)
		if a.StatusCode != http.StatusSeeOther || a.Header.Get("Location") != "/jobs/job-a/log?posted=1" {
			t.Fatalf("%d %s", a.StatusCode, a.Text)
		}
	}
	if len(s.entries) != 1 {
		t.Errorf("a form sent twice made %d entries", len(s.entries))
	}
	entry := last[*sitelogv1.PostEntriesRequest](t, s.backend, "PostEntries").GetEntries()[0]
	// Half past ten in New York in May is half past two in the afternoon, universal time.
	if got := entry.GetOccurTime().AsTime().Format("15:04"); got != "14:30" || entry.GetMove() != 2 || entry.GetRevision() != 3 || entry.GetNote() != "plumb and braced" {
		t.Errorf("the entry is %v at %s", entry, got)
	}
	if !strings.Contains(b.get(t, "/jobs/job-a/log?posted=1").Text, "✓ Posted") {
		t.Error("nobody says that it was posted")
	}
}

func TestAnEntryThatIsRefusedKeepsWhatWasWritten(t *testing.T) {
	t.Parallel()
	b := start(t).signedIn(t)
	for name, tc := range map[string]struct {
		field, value, want string
	}{
		"by the site log":    {"move", "99", "The raising order has 14 moves"},
		"for a number":       {"move", "second", "whole number"},
		"for a time":         {"time", "noon", "write the time as"},
		"for saying nothing": {"kind", "", "choose what the entry says"},
	} {
		form := entryForm("page-2", csrfToken)
		form.Set(tc.field, tc.value)
		a := b.post(t, "/jobs/job-a/log", form)
		if a.StatusCode != http.StatusBadRequest || !strings.Contains(a.Text, tc.want) || !strings.Contains(a.Text, "Not posted.") {
			t.Errorf("%s: %d without %q", name, a.StatusCode, tc.want)
		}
		if !strings.Contains(a.Text, "plumb and braced") {
			t.Errorf("%s: the note is gone", name)
		}
	}
}

func TestAFormOfAnotherSiteDoesNothing(t *testing.T) {
	t.Parallel()
	s := start(t)
	b := s.signedIn(t)
	for name, form := range map[string]url.Values{"no token": entryForm("page-3", ""), "another token": entryForm("page-3", "guess")} {
		a := b.post(t, "/jobs/job-a/log", form)
		if a.StatusCode != http.StatusForbidden || !strings.Contains(a.Text, "nothing was done") {
			t.Errorf("%s: %d", name, a.StatusCode)
		}
	}
	if a := b.post(t, "/signout", url.Values{"csrf": {"guess"}}); a.StatusCode != http.StatusForbidden {
		t.Errorf("signing out with a guess: %d", a.StatusCode)
	}
	if s.count("PostEntries")+s.count("SignOut") != 0 {
		t.Error("a service was called nevertheless")
	}
}

func TestTheLivePartAlone(t *testing.T) {
	t.Parallel()
	text := start(t).signedIn(t).get(t, "/jobs/job-a/latest").Text
	if strings.Contains(text, "<html") || !strings.Contains(text, "Gusts over the ridge") || !strings.Contains(text, "pieces placed") {
		t.Errorf("the part is %s", text)
	}
}

func TestAssets(t *testing.T) {
	t.Parallel()
	b := start(t).browser(t)
	for path, want := range map[string]string{"/style.css": "text/css; charset=utf-8", "/live.js": "text/javascript; charset=utf-8", "/icon.svg": "image/svg+xml"} {
		a := b.get(t, path)
		if a.StatusCode != http.StatusOK || a.Header.Get("Content-Type") != want || a.Header.Get("ETag") == "" {
			t.Errorf("%s: %d %s", path, a.StatusCode, a.Header.Get("Content-Type"))
		}
		if strings.Contains(a.Text, "http://") && path != "/icon.svg" || strings.Contains(a.Text, "https://") {
			t.Errorf("%s names something outside", path)
		}
	}
}

// A rule is said once for all the braces that it gives, with a place for each; that nobody checked
// them is said once, with a sign.
func TestBracesAreSaidOnce(t *testing.T) {
	t.Parallel()
	text := start(t).signedIn(t).get(t, "/jobs/job-a/raising").Text
	move := text[strings.Index(text, `id="move-1"`):strings.Index(text, `id="move-2"`)]
	for want, times := range map[string]int{
		"2 temporary braces, at S001 and S002: one brace at each post of what is joined to what stands, 53.1° from the deck.": 1,
		"ot checked for standing": 1, "⚠ Not checked for standing.": 1, ".;": 0, "..": 0,
		`<td class="n">8&#39;-0&#34;</td><td class="n">6&#39;-0&#34;</td><td class="n">12&#39;-0&#34;</td><td class="n">10&#39;-0&#34;</td>`: 1,
	} {
		if got := strings.Count(move, want); got != times {
			t.Errorf("%q stands %d times, want %d", want, got, times)
		}
	}
}

func TestSlingsThatAreUsedAlikeAreSaidOnce(t *testing.T) {
	t.Parallel()
	text := html.UnescapeString(start(t).signedIn(t).get(t, "/jobs/job-a/picks").Text)
	// 10,213 N are 2,296 lbf.
	// 1,219.2 mm are 4 feet.
	if want := "2 × sling-12 on S004 at 4'-0\" and S005 at 4'-0\" from the tip, choker, 62.1° from level, 2,296 lbf each"; !strings.Contains(text, want) {
		t.Errorf("the page does not say %q", want)
	}
}

// A refusal speaks to the person: no names of fields, no words of the protocol.
func TestRefusalsAreSentences(t *testing.T) {
	t.Parallel()
	b := start(t).signedIn(t)
	form := entryForm("page-4", csrfToken)
	form.Set("move", "second")
	for _, a := range []answer{b.get(t, "/nowhere"), b.post(t, "/jobs/job-a/log", form), b.post(t, "/jobs/job-a/log", entryForm("page-4", "guess"))} {
		for _, never := range []string{"Not Found", "Forbidden", "Bad Request", "move: "} {
			if strings.Contains(a.Text, never) {
				t.Errorf("%d says %q", a.StatusCode, never)
			}
		}
	}
}

// The block that ends every printed page is short: the cautions of one sheet stand before it, once.
func TestTheTitleBlockIsShort(t *testing.T) {
	t.Parallel()
	b := start(t).signedIn(t)
	text := b.get(t, "/jobs/job-a/picks").Text
	block := text[strings.Index(text, `<footer class="block"`):]
	if strings.Count(block, "⚠") != 1 || !strings.Contains(block, "An aid to a competent person") {
		t.Errorf("the block is %s", block)
	}
	if !strings.Contains(text, `<section class="cautions" aria-label="Cautions"><p>⚠ The chart is made up`) {
		t.Error("the cautions of the sheet are gone")
	}
	if style := b.get(t, "/style.css").Text; !strings.Contains(style, "table-footer-group") {
		t.Error("nothing repeats the block on paper")
	}
}
