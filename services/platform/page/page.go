// Package page makes and reads the opaque tokens by which lists are paged.
//
// A token holds the sort key of the last row that was shown, a version, and a checksum over
// the name of the list, its other arguments and the key. A token that was altered, or that
// comes from another list or from the same list with other arguments, is refused.
package page

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"

	"google.golang.org/protobuf/proto"

	"github.com/pikepole/pikepole/services/platform/fault"
)

const (
	version = 1
	sumSize = 12
	// DefaultSize is the page size when the caller names none.
	DefaultSize = 50
	// MaxToken is the longest token that is looked at.
	MaxToken = 4096
)

// Encode makes the token of the page that starts behind cursor. kind names the list, args are
// its other arguments: any value that encoding/json can write (it panics on one that it can
// not), or a proto message without page_token and page_size.
func Encode(kind string, args any, cursor ...string) string {
	body := []byte{version}
	for _, part := range cursor {
		body = binary.AppendUvarint(body, uint64(len(part)))
		body = append(body, part...)
	}
	sum := checksum(kind, args, body)
	return base64.RawURLEncoding.EncodeToString(append(sum, body...))
}

// Decode reads a token made by Encode with the same kind and arguments. The empty token is
// the first page and gives no cursor. Everything else is a fault INVALID_PAGE_TOKEN.
func Decode(kind string, args any, token string) ([]string, error) {
	if token == "" {
		return nil, nil
	}
	if len(token) > MaxToken {
		return nil, Refused()
	}
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) <= sumSize || raw[sumSize] != version {
		return nil, Refused()
	}
	body := raw[sumSize:]
	if !bytes.Equal(raw[:sumSize], checksum(kind, args, body)) {
		return nil, Refused()
	}
	var cursor []string
	for rest := body[1:]; len(rest) > 0; {
		n, used := binary.Uvarint(rest)
		if used <= 0 || n > uint64(len(rest)-used) {
			return nil, Refused()
		}
		end := used + int(n)
		cursor = append(cursor, string(rest[used:end]))
		rest = rest[end:]
	}
	return cursor, nil
}

// Size is the page size to use: DefaultSize (or max when that is less) for 0, at most max;
// a negative size is a fault that names page_size.
func Size(n int32, max int) (int, error) {
	switch {
	case n < 0:
		return 0, fault.Invalid("page_size", "must be 0 to %d, not %d", max, n)
	case n == 0:
		return min(DefaultSize, max), nil
	default:
		return min(int(n), max), nil
	}
}

// Refused is the fault INVALID_PAGE_TOKEN. A service gives it too for a cursor that Decode took and that it did not
// write: the checksum of a token is no secret, so anybody can make one.
func Refused() error {
	f := fault.Invalid("page_token", "is not from this list with these arguments; leave it out to start at the first page")
	f.Reason = fault.ReasonPageToken
	return f
}

func checksum(kind string, args any, body []byte) []byte {
	var text []byte
	var err error
	if m, ok := args.(proto.Message); ok {
		text, err = proto.MarshalOptions{Deterministic: true}.Marshal(m)
	} else {
		text, err = json.Marshal(args)
	}
	if err != nil {
		panic(fmt.Sprintf("page: arguments of list %q: %v", kind, err))
	}
	h := sha256.New()
	for _, part := range [][]byte{[]byte(kind), text, body} {
		var size [8]byte
		binary.BigEndian.PutUint64(size[:], uint64(len(part)))
		h.Write(size[:])
		h.Write(part)
	}
	return h.Sum(nil)[:sumSize]
}
