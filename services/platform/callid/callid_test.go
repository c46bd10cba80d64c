package callid_test

import (
	"context"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/platform/callid"
)

func TestCarry(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	if got := callid.From(ctx); got != "" {
		t.Errorf("an empty context carries %q", got)
	}
	if got := callid.From(callid.With(ctx, "a")); got != "a" {
		t.Errorf("got %q", got)
	}
}

func TestNewIsValidAndNew(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for range 1000 {
		id := callid.New()
		if !callid.Valid(id) || len(id) != 16 || seen[id] {
			t.Fatalf("id %q", id)
		}
		seen[id] = true
	}
}

func TestValid(t *testing.T) {
	t.Parallel()
	for id, want := range map[string]bool{
		"a": true, "A-b_c.9": true, strings.Repeat("x", 64): true,
		"": false, strings.Repeat("x", 65): false, "a b": false, "a\n": false, "é": false, `"`: false,
	} {
		if callid.Valid(id) != want {
			t.Errorf("Valid(%q) is %v", id, !want)
		}
	}
}
