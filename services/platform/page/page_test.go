package page_test

import (
	"encoding/base64"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/page"
)

type filter struct {
	Job  string
	Kind int
}

func TestTokenComesBack(t *testing.T) {
	t.Parallel()
	for _, cursor := range [][]string{nil, {""}, {"a"}, {"2031-01-01", "job-1"}, {"", "", strings.Repeat("x", 1000)}, {"\x00\xff"}} {
		token := page.Encode("entries", filter{"j", 1}, cursor...)
		got, err := page.Decode("entries", filter{"j", 1}, token)
		if err != nil {
			t.Errorf("%q: %v", cursor, err)
		}
		if diff := cmp.Diff(cursor, got, cmpopts.EquateEmpty()); diff != "" {
			t.Error(diff)
		}
	}
}

func TestEmptyTokenIsTheFirstPage(t *testing.T) {
	t.Parallel()
	if got, err := page.Decode("entries", nil, ""); got != nil || err != nil {
		t.Errorf("got %v, %v", got, err)
	}
}

func TestForeignTokensAreRefused(t *testing.T) {
	t.Parallel()
	args := filter{"j", 1}
	token := page.Encode("entries", args, "5", "a")
	message := &accessv1.ListKeysRequest{PageSize: 3}
	altered := []byte(token)
	altered[len(altered)-1] ^= 1
	raw, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil {
		t.Fatal(err)
	}
	raw[12] = 2 // the version
	cases := []struct {
		name, kind string
		args       any
		token      string
	}{
		{"another list", "jobs", args, token},
		{"other arguments", "entries", filter{"j", 2}, token},
		{"arguments of another type", "entries", message, token},
		{"altered", "entries", args, string(altered)},
		{"cut short", "entries", args, token[:len(token)-4]},
		{"other version", "entries", args, base64.RawURLEncoding.EncodeToString(raw)},
		{"not base64", "entries", args, "*" + token},
		{"padded", "entries", args, token + "="},
		{"short", "entries", args, "AAAA"},
		{"long", "entries", args, strings.Repeat("A", page.MaxToken+1)},
		{"made up", "entries", args, "5"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := page.Decode(c.kind, c.args, c.token)
			f, ok := fault.Of(err)
			if !ok || f.Kind != fault.InvalidArgument || f.Reason != fault.ReasonPageToken || f.Fields[0].Path != "page_token" {
				t.Errorf("got %v, %v", got, err)
			}
		})
	}
	if _, err := page.Decode("keys", message, page.Encode("keys", message, "x")); err != nil {
		t.Error(err)
	}
}

func TestArgumentsThatCanNotBeWrittenPanic(t *testing.T) {
	t.Parallel()
	defer func() {
		if recover() == nil {
			t.Error("no panic")
		}
	}()
	page.Encode("x", func() {})
}

func TestSize(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		n         int32
		max, want int
	}{{0, 200, 50}, {0, 20, 20}, {1, 200, 1}, {200, 200, 200}, {201, 200, 200}, {1 << 30, 200, 200}} {
		if got, err := page.Size(c.n, c.max); got != c.want || err != nil {
			t.Errorf("Size(%d, %d) is %d, %v, want %d", c.n, c.max, got, err, c.want)
		}
	}
	if _, err := page.Size(-1, 200); !fault.Is(err, fault.InvalidArgument) {
		t.Errorf("a negative size gave %v", err)
	}
}

func FuzzTokenComesBack(f *testing.F) {
	f.Add("entries", "job", "a", "b")
	f.Add("", "", "", "")
	f.Fuzz(func(t *testing.T, kind, args, first, second string) {
		token := page.Encode(kind, args, first, second)
		if len(token) > page.MaxToken {
			t.Skip("longer than a token may be")
		}
		got, err := page.Decode(kind, args, token)
		if err != nil || len(got) != 2 || got[0] != first || got[1] != second {
			t.Errorf("came back as %q, %v", got, err)
		}
		if _, err := page.Decode(kind+"x", args, token); err == nil {
			t.Error("taken by another list")
		}
	})
}

func FuzzAnyTokenIsRefusedOrRead(f *testing.F) {
	f.Add("AAAA")
	f.Add(page.Encode("entries", 1, "a"))
	f.Fuzz(func(t *testing.T, token string) {
		got, err := page.Decode("entries", 1, token)
		if err == nil && token != "" && page.Encode("entries", 1, got...) != token {
			t.Errorf("%q was read as %q", token, got)
		}
	})
}
