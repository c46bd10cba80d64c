// Package credential makes and reads the secrets that people and programs show: keys, session handles and one-time codes.
//
// All of them carry 256 bits from the system's random source, so a plain SHA-256 is kept of each and no slow hash is
// needed: nobody can try them all.
package credential

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"encoding/base64"
	"encoding/hex"
	"strings"
)

const (
	keyPrefix   = "pk"
	secretBytes = 32
	idLength    = 10
	maxIDLength = 40
)

// Key is a key as its holder has it. Its text is pk_<id>_<secret>; the id is public, the secret is shown once.
type Key struct {
	ID     string
	Secret string // base64url without padding
}

// NewKey makes a key.
func NewKey() Key { return Key{ID: NewID(""), Secret: NewHandle()} }

// String is the whole key. It is a secret: never log it.
func (k Key) String() string { return keyPrefix + "_" + k.ID + "_" + k.Secret }

// ParseKey reads a key. It says only whether the text has the shape of one.
func ParseKey(text string) (Key, bool) {
	parts := strings.SplitN(text, "_", 3)
	if len(parts) != 3 || parts[0] != keyPrefix || !plain(parts[1]) {
		return Key{}, false
	}
	// The decoder skips line ends, so the length of the text is asked as well.
	secret, err := base64.RawURLEncoding.Strict().DecodeString(parts[2])
	if err != nil || len(secret) != secretBytes || len(parts[2]) != base64.RawURLEncoding.EncodedLen(secretBytes) {
		return Key{}, false
	}
	return Key{ID: parts[1], Secret: parts[2]}, true
}

func plain(id string) bool {
	if id == "" || len(id) > maxIDLength {
		return false
	}
	for _, r := range id {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') {
			return false
		}
	}
	return true
}

// NewHandle makes 256 random bits as base64url without padding: a session handle, a one-time code, a CSRF token.
func NewHandle() string {
	var b [secretBytes]byte
	_, _ = rand.Read(b[:]) // never fails: it ends the program rather than give weak bytes
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// NewID makes a short random id behind a prefix, 50 bits: "person-x7k2m9q4wz".
func NewID(prefix string) string {
	var b [8]byte
	_, _ = rand.Read(b[:])
	id := strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b[:]))
	return prefix + id[:idLength]
}

// Hash is what is kept of a secret: its SHA-256 as lower-case hex.
func Hash(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// Matches says whether a kept hash is that of a secret, in a time that does not depend on where they differ.
func Matches(secret, hash string) bool {
	return subtle.ConstantTimeCompare([]byte(Hash(secret)), []byte(hash)) == 1
}
