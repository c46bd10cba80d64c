package accept_test

import (
	"slices"
	"testing"

	"github.com/pikepole/pikepole/gateway/internal/accept"
)

// The weights follow the worked example of RFC 9110, section 12.5.1, where text/plain has the
// quality 0.3, text/html 0.7 by its own range, and anything else 0.5.
func TestChoose(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		header string
		offers []string
		want   string
		ok     bool
	}{
		"no header takes the first":   {"", []string{"application/json", "text/csv"}, "application/json", true},
		"anything takes the first":    {"*/*", []string{"application/json", "text/csv"}, "application/json", true},
		"the named one":               {"text/csv", []string{"application/json", "text/csv"}, "text/csv", true},
		"a browser asks for html":     {"text/html,application/xhtml+xml,*/*;q=0.8", []string{"application/json", "text/html"}, "text/html", true},
		"a whole family":              {"image/*", []string{"application/json", "image/svg+xml"}, "image/svg+xml", true},
		"quality decides":             {"text/*;q=0.3, text/html;q=0.7, */*;q=0.5", []string{"text/plain", "image/jpeg", "text/html"}, "text/html", true},
		"the specific range decides":  {"text/*;q=0.3, text/html;q=0.7, */*;q=0.5", []string{"text/plain", "image/jpeg"}, "image/jpeg", true},
		"refused by zero":             {"application/json;q=0, */*", []string{"application/json"}, "", false},
		"nothing fits":                {"image/png", []string{"application/json"}, "", false},
		"nothing that can be read":    {"nonsense", []string{"application/json"}, "application/json", false},
		"capitals do not matter":      {"TEXT/CSV", []string{"application/json", "text/csv"}, "text/csv", true},
		"an odd weight counts as one": {"text/csv;q=7, application/json;q=0.9", []string{"application/json", "text/csv"}, "text/csv", true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, ok := accept.Choose(tc.header, tc.offers)
			if ok != tc.ok || (ok && got != tc.want) {
				t.Errorf("Choose(%q) = %q, %t; want %q, %t", tc.header, got, ok, tc.want, tc.ok)
			}
		})
	}
}

func FuzzChoose(f *testing.F) {
	f.Add("text/html;q=0.7, */*;q=0.5")
	f.Add("a/b;q=;c=\"")
	offers := []string{"application/json", "text/csv", "image/svg+xml"}
	f.Fuzz(func(t *testing.T, header string) {
		got, ok := accept.Choose(header, offers)
		if ok && !slices.Contains(offers, got) {
			t.Errorf("Choose(%q) = %q, which was not offered", header, got)
		}
		if _, any := accept.Choose(header+",*/*;q=0.1", offers); ok && !any {
			t.Errorf("%q is answered, but not when anything else would do as well", header)
		}
	})
}
