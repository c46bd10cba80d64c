package identity

import (
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/pikepole/pikepole/services/platform/fault"
)

// TokenLife is how long a token is good. A revoked key, a withdrawn role or a disabled person
// takes effect within it.
const TokenLife = 5 * time.Minute

const (
	// tokenVersion fixes algorithm and layout; there is no choice of algorithm in a token.
	tokenVersion = "v1"
	maxToken     = 4096
	// clockSkew is how far the clocks of two hosts may differ.
	clockSkew = 30 * time.Second
)

// Key is a public key that tokens are verified with.
type Key struct {
	// ID is what tokens name: 1 to 64 characters of A-Z, a-z, 0-9, hyphen and underscore.
	ID     string
	Public ed25519.PublicKey
	// Start is when the key begins to sign; it is shown before that.
	Start time.Time
	// Expire is until when tokens signed with the key are accepted.
	Expire time.Time
}

// KeySource gives the public keys, also those that will sign next.
type KeySource interface {
	SigningKeys(ctx context.Context) ([]Key, error)
}

// Signer makes tokens with one private key. It is safe for concurrent use.
type Signer struct {
	id      string
	private ed25519.PrivateKey
}

// NewSigner makes a signer of a key that verifiers know by id; it panics on a key of the wrong
// size or an id that can not stand in a token, both of which are mistakes of the program.
func NewSigner(id string, private ed25519.PrivateKey) *Signer {
	if len(private) != ed25519.PrivateKeySize {
		panic("identity: an Ed25519 private key has 64 bytes")
	}
	if !validKeyID(id) {
		panic(fmt.Sprintf("identity: key id %q can not stand in a token", id))
	}
	return &Signer{id: id, private: private}
}

// KeyID is the id that the signer's tokens name.
func (s *Signer) KeyID() string { return s.id }

// claims is what a token says. The names are short since every call carries them.
type claims struct {
	Company     string `json:"co"`
	CompanyName string `json:"cn,omitempty"`
	Person      string `json:"pe"`
	PersonName  string `json:"pn,omitempty"`
	Roles       []Role `json:"ro"`
	Issued      int64  `json:"iat"`
	Expires     int64  `json:"exp"`
}

// Sign makes a token for the caller, good from now for TokenLife. The caller must have a
// company and a person, and known roles only.
func (s *Signer) Sign(c Caller, now time.Time) (token string, expires time.Time, err error) {
	if c.Company == "" || c.Person == "" {
		return "", time.Time{}, errors.New("sign token: the caller has no company or no person")
	}
	for _, r := range c.Roles {
		if !r.Known() {
			return "", time.Time{}, fmt.Errorf("sign token: unknown role %q", r)
		}
	}
	expires = now.Add(TokenLife).Truncate(time.Second)
	body, err := json.Marshal(claims{
		Company: c.Company, CompanyName: c.CompanyName, Person: c.Person, PersonName: c.PersonName,
		Roles: c.Roles, Issued: now.Unix(), Expires: expires.Unix(),
	})
	if err != nil {
		return "", time.Time{}, fmt.Errorf("sign token: %w", err)
	}
	signed := tokenVersion + "." + s.id + "." + base64.RawURLEncoding.EncodeToString(body)
	sig := ed25519.Sign(s.private, []byte(signed))
	return signed + "." + base64.RawURLEncoding.EncodeToString(sig), expires, nil
}

// parsed is a token taken apart; nothing in it is to be trusted yet.
type parsed struct {
	keyID  string
	signed string
	body   []byte
	sig    []byte
}

func parse(token string) (parsed, error) {
	if len(token) > maxToken {
		return parsed{}, errors.New("token is too long")
	}
	parts := strings.Split(token, ".")
	if len(parts) != 4 || parts[0] != tokenVersion || !validKeyID(parts[1]) {
		return parsed{}, errors.New("token is not of the form v1.key.body.signature")
	}
	body, err := base64.RawURLEncoding.Strict().DecodeString(parts[2])
	if err != nil {
		return parsed{}, errors.New("token body is not base64url")
	}
	sig, err := base64.RawURLEncoding.Strict().DecodeString(parts[3])
	if err != nil || len(sig) != ed25519.SignatureSize {
		return parsed{}, errors.New("token signature is not 64 bytes of base64url")
	}
	return parsed{keyID: parts[1], signed: strings.Join(parts[:3], "."), body: body, sig: sig}, nil
}

// check proves the token against its key and the clock.
func (p parsed) check(k Key, now time.Time) (Caller, time.Time, error) {
	if len(k.Public) != ed25519.PublicKeySize || !ed25519.Verify(k.Public, []byte(p.signed), p.sig) {
		return Caller{}, time.Time{}, errors.New("signature does not fit")
	}
	if !k.Expire.IsZero() && !now.Before(k.Expire) {
		return Caller{}, time.Time{}, errors.New("signing key has expired")
	}
	var c claims
	if err := json.Unmarshal(p.body, &c); err != nil {
		return Caller{}, time.Time{}, errors.New("token body is not what a signer writes")
	}
	issued, expires := time.Unix(c.Issued, 0), time.Unix(c.Expires, 0)
	switch {
	case c.Company == "" || c.Person == "":
		return Caller{}, time.Time{}, errors.New("token names no company or no person")
	case !now.Before(expires):
		return Caller{}, time.Time{}, errors.New("token has expired")
	case issued.After(now.Add(clockSkew)):
		return Caller{}, time.Time{}, errors.New("token is from the future")
	case expires.Sub(issued) > TokenLife+time.Second:
		return Caller{}, time.Time{}, errors.New("token lives longer than a token may")
	case issued.Before(k.Start.Add(-clockSkew)):
		return Caller{}, time.Time{}, errors.New("token is older than its signing key")
	}
	return Caller{
		Company: c.Company, CompanyName: c.CompanyName, Person: c.Person, PersonName: c.PersonName, Roles: c.Roles,
	}, expires, nil
}

// refused is the fault for every token that is not good; the cause says why, to the log only.
func refused(cause error) error {
	return fault.New(fault.Unauthenticated, fault.ReasonToken, "The token is not valid or has expired; sign in again.").Wrap(cause)
}

func validKeyID(id string) bool {
	if id == "" || len(id) > 64 {
		return false
	}
	return strings.IndexFunc(id, func(r rune) bool {
		plain := r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_'
		return !plain
	}) < 0
}
