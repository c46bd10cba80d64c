package natural_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/natural"
)

func TestOrder(t *testing.T) {
	t.Parallel()
	want := []string{"", "1", "01", "2", "10", "B1-P1", "B2-P1", "B10-P1", "P", "P-2", "P-02", "P-10", "P-10a", "P-10b", "P-99999999999999999999", "P-100000000000000000000", "Q", "é"}
	got := slices.Clone(want)
	slices.Reverse(got)
	slices.SortFunc(got, natural.Compare)
	if !slices.Equal(got, want) {
		t.Errorf("order %q, want %q", got, want)
	}
}

func TestIsAnOrder(t *testing.T) {
	t.Parallel()
	text := rapid.StringOfN(rapid.RuneFrom([]rune("0012ab-é")), 0, 8, -1)
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := text.Draw(t, "a"), text.Draw(t, "b"), text.Draw(t, "c")
		if natural.Compare(a, b) != -natural.Compare(b, a) {
			t.Fatalf("%q and %q: not opposite", a, b)
		}
		if (natural.Compare(a, b) == 0) != (a == b) {
			t.Fatalf("%q and %q: equal only when they are the same", a, b)
		}
		if natural.Compare(a, b) <= 0 && natural.Compare(b, c) <= 0 && natural.Compare(a, c) > 0 {
			t.Fatalf("%q, %q, %q: not in order", a, b, c)
		}
	})
}
