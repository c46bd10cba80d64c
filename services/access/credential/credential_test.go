package credential_test

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"regexp"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/access/credential"
)

func TestKeyComesBackFromItsText(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for range 1000 {
		key := credential.NewKey()
		back, ok := credential.ParseKey(key.String())
		if !ok || back != key {
			t.Fatalf("ParseKey(%q) = %v, %v", key, back, ok)
		}
		if seen[key.ID] || seen[key.Secret] {
			t.Fatalf("the same key was made twice: %s", key)
		}
		seen[key.ID], seen[key.Secret] = true, true
	}
}

// TestKeyHolds256Bits reads the secret with the standard library alone: RFC 4648 section 5, without padding.
func TestKeyHolds256Bits(t *testing.T) {
	t.Parallel()
	text := credential.NewKey().String()
	if !regexp.MustCompile(`^pk_[a-z0-9]+_[A-Za-z0-9_-]{43}$`).MatchString(text) {
		t.Fatalf("key has another shape: %s", text)
	}
	secret, err := base64.RawURLEncoding.DecodeString(text[strings.Index(text[3:], "_")+4:])
	if err != nil || len(secret) != 32 {
		t.Fatalf("secret has %d bytes, %v", len(secret), err)
	}
}

func TestParseKeyRefuses(t *testing.T) {
	t.Parallel()
	good := credential.Key{ID: "abc", Secret: strings.Repeat("A", 43)}.String()
	if _, ok := credential.ParseKey(good); !ok {
		t.Fatalf("a good key is refused: %s", good)
	}
	for name, text := range map[string]string{
		"empty":             "",
		"no prefix":         good[3:],
		"another prefix":    "qk" + good[2:],
		"no id":             "pk__" + strings.Repeat("A", 43),
		"upper-case id":     "pk_ABC_" + strings.Repeat("A", 43),
		"no secret":         "pk_abc_",
		"short secret":      good[:len(good)-1],
		"long secret":       good + "A",
		"padding":           good + "=",
		"not base64url":     good[:len(good)-1] + "+",
		"loose last bits":   good[:len(good)-1] + "B",
		"zero byte in id":   "pk_a\x00c_" + strings.Repeat("A", 43),
		"id beyond measure": "pk_" + strings.Repeat("a", 41) + "_" + strings.Repeat("A", 43),
		"trailing newline":  good + "\n",
	} {
		if key, ok := credential.ParseKey(text); ok {
			t.Errorf("%s: %q is taken for a key: %v", name, text, key)
		}
	}
}

// TestHashIsSHA256 checks against the standard library's digest of the same bytes.
func TestHashIsSHA256(t *testing.T) {
	t.Parallel()
	sum := sha256.Sum256([]byte("pk_abc_secret"))
	want := hex.EncodeToString(sum[:])
	if got := credential.Hash("pk_abc_secret"); got != want {
		t.Errorf("Hash = %s, want %s", got, want)
	}
	for secret, matches := range map[string]bool{"pk_abc_secret": true, "pk_abc_Secret": false, "": false} {
		if credential.Matches(secret, want) != matches {
			t.Errorf("Matches(%q) = %v, want %v", secret, !matches, matches)
		}
	}
	if credential.Matches("", "") {
		t.Error("an empty hash matches")
	}
}

func FuzzParseKey(f *testing.F) {
	f.Add("pk_abc_" + strings.Repeat("A", 43))
	f.Add("pk__")
	f.Add("pk_a_b_c")
	f.Fuzz(func(t *testing.T, text string) {
		if key, ok := credential.ParseKey(text); ok && key.String() != text {
			t.Errorf("ParseKey(%q) comes back as %q", text, key)
		}
	})
}
