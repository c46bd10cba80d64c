package gateway_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
)

const wrongEntry = "/jobs/job-a/log?wrong=e2&at=2031-05-14T10%3A04%3A00Z"

// hidden gives the hidden fields of the form on a page that has a field with this name and value.
func hidden(t *testing.T, text, name, value string) url.Values {
	t.Helper()
	for _, form := range regexp.MustCompile(`(?s)<form.*?</form>`).FindAllString(text, -1) {
		fields := url.Values{}
		for _, m := range regexp.MustCompile(`<input type="hidden" name="([^"]*)" value="([^"]*)">`).FindAllStringSubmatch(form, -1) {
			fields.Set(m[1], m[2])
		}
		if fields.Get(name) == value {
			return fields
		}
	}
	t.Fatalf("no form has %s %q", name, value)
	return nil
}

// Every entry but a correction leads to a page that asks first; only its form changes anything.
func TestSayingThatAnEntryWasWrong(t *testing.T) {
	t.Parallel()
	s := start(t)
	b := s.signedIn(t)
	link := regexp.MustCompile(`href="(/jobs/job-a/log\?wrong=e2&amp;at=[^"#]*)#wrong"`).FindStringSubmatch(b.get(t, "/jobs/job-a/log").Text)
	if link == nil {
		t.Fatal("the entry does not lead to the question whether it was wrong")
	}
	asked := b.get(t, strings.ReplaceAll(link[1], "&amp;", "&"))
	for _, want := range []string{"Was this entry wrong?", "Damaged: S044", "Split at the peg hole", "No, leave it as it is", "no longer counts"} {
		if asked.StatusCode != http.StatusOK || !strings.Contains(asked.Text, want) {
			t.Errorf("%d without %q", asked.StatusCode, want)
		}
	}
	checkPage(t, asked)
	if s.count("PostEntries") != 0 {
		t.Error("asking posted something")
	}
	form := hidden(t, asked.Text, "form", "wrong")
	form.Set("note", "it was S045")
	for range 2 {
		if a := b.post(t, "/jobs/job-a/log", form); a.StatusCode != http.StatusSeeOther {
			t.Fatalf("%d %s", a.StatusCode, a.Text)
		}
	}
	entry := last[*sitelogv1.PostEntriesRequest](t, s.backend, "PostEntries").GetEntries()[0]
	if entry.GetKind() != sitelogv1.EntryKind_ENTRY_KIND_CORRECTION || entry.GetCorrects() != "e2" || entry.GetNote() != "it was S045" || entry.GetOccurTime() == nil {
		t.Errorf("posted %v", entry)
	}
	if len(s.entries) != 1 {
		t.Errorf("a form sent twice made %d entries", len(s.entries))
	}
	form.Set("csrf", "guess")
	if a := b.post(t, "/jobs/job-a/log", form); a.StatusCode != http.StatusForbidden {
		t.Errorf("with a guess: %d", a.StatusCode)
	}
}

func TestAskingAboutAnEntryThatIsNotThere(t *testing.T) {
	t.Parallel()
	b := start(t).signedIn(t)
	for _, query := range []string{"?wrong=e9&at=2031-05-14T10:04:00Z", "?wrong=e2", "?wrong=e2&at=noon", "?wrong=e2&at=9999-12-31T23:59:59.9999999Z"} {
		a := b.get(t, "/jobs/job-a/log"+query)
		if a.StatusCode != http.StatusNotFound || !strings.Contains(a.Text, "choose the entry there") {
			t.Errorf("%s: %d", query, a.StatusCode)
		}
	}
}

// A refused correction asks again and keeps what was written.
func TestARefusedCorrectionAsksAgain(t *testing.T) {
	t.Parallel()
	b := start(t).signedIn(t)
	form := hidden(t, b.get(t, wrongEntry).Text, "form", "wrong")
	form.Set("note", "it was S045")
	form.Set("time", "noon")
	a := b.post(t, "/jobs/job-a/log", form)
	if a.StatusCode != http.StatusBadRequest || !strings.Contains(a.Text, "Was this entry wrong?") || !strings.Contains(a.Text, ">it was S045</textarea>") {
		t.Errorf("%d", a.StatusCode)
	}
}

// Nobody has to write the name of a bent with gloves on.
func TestABentIsChosenFromTheOrder(t *testing.T) {
	t.Parallel()
	text := start(t).signedIn(t).get(t, "/jobs/job-a/log").Text
	if !strings.Contains(text, `<select id="bent-assembly"`) || !strings.Contains(text, "<option>B2</option>") {
		t.Error("the bents of the raising order are not offered")
	}
}
