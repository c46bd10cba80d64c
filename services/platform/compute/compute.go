// Package compute runs heavy, pure computations: as many at once as there are cores, each only
// once however many wait for it, and its answer kept for the next who asks.
package compute

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"runtime/debug"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/pikepole/pikepole/services/platform/build"
)

// Do gives the answer of fn for the key: from the cache; from the computation that is already
// under way for it; or by starting one, which takes a slot of the pool. fn is pure: the key says
// everything that its answer depends on (see Key), and it makes no calls to other services,
// since it holds a slot. What it returns is shared and must not be written to.
//
// The computation goes on while at least one caller waits; when the last one's context ends, so
// does the context that fn was given. Errors are not kept, nor are answers cut short by a clock:
// see Within and Uncached. A full queue is an Exhausted fault COMPUTE_BUSY. A panic of fn
// reaches every caller as a panic with a *Panic. With a nil cache fn just runs in a slot.
func Do[T any](ctx context.Context, p *Pool, c *Cache, key string, fn func(context.Context) (T, error)) (T, error) {
	var none T
	if c == nil {
		var answer T
		err := p.Run(ctx, func(ctx context.Context) error {
			var err error
			answer, err = fn(ctx)
			return err
		})
		if err != nil {
			return none, err
		}
		return answer, nil
	}
	answer, err := c.do(ctx, p, key, func(ctx context.Context) (any, error) { return fn(ctx) })
	if err != nil {
		return none, err
	}
	typed, ok := answer.(T)
	if !ok && answer != nil {
		return none, fmt.Errorf("compute: key %s holds a %T, not a %T", key, answer, none)
	}
	return typed, nil
}

// Key hashes all inputs of a computation, together with the engine's version, into a key. Parts
// may be strings, bytes, proto messages, and whatever encoding/json can write; it panics on
// anything else. Who may see the answer is an input too: name the company.
func Key(parts ...any) string {
	h := sha256.New()
	write := func(kind byte, b []byte) {
		head := binary.BigEndian.AppendUint64([]byte{kind}, uint64(len(b)))
		h.Write(head)
		h.Write(b)
	}
	write('v', []byte(build.Version))
	for _, part := range parts {
		switch v := part.(type) {
		case string:
			write('s', []byte(v))
		case []byte:
			write('b', v)
		case proto.Message:
			b, err := proto.MarshalOptions{Deterministic: true}.Marshal(v)
			if err != nil {
				panic(fmt.Sprintf("compute: part of a key: %v", err))
			}
			write('p', append([]byte(v.ProtoReflect().Descriptor().FullName()+"\x00"), b...))
		default:
			b, err := json.Marshal(v)
			if err != nil {
				panic(fmt.Sprintf("compute: part of a key: %v", err))
			}
			write('j', b)
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}

type flightKey struct{}

// Uncached says, from inside a computation, that its answer is not to be kept.
func Uncached(ctx context.Context) {
	if f, ok := ctx.Value(flightKey{}).(*flight); ok {
		f.spoiled.Store(true)
	}
}

// Within is context.WithTimeout for a computation that answers with the best it has when its
// time is up: if that happens, the answer is not kept.
func Within(ctx context.Context, d time.Duration) (context.Context, context.CancelFunc) {
	limited, cancel := context.WithTimeout(ctx, d)
	if f, ok := ctx.Value(flightKey{}).(*flight); ok {
		f.mu.Lock()
		f.clocks = append(f.clocks, limited)
		f.mu.Unlock()
	}
	return limited, cancel
}

// Panic is what a caller of Do panics with when the computation did, on a goroutine of its own.
type Panic struct {
	Value any
	// Stack is of the goroutine that panicked.
	Stack []byte
}

// Error is the value and the stack.
func (p *Panic) Error() string { return fmt.Sprintf("computation panicked: %v\n%s", p.Value, p.Stack) }

// Unwrap gives the value when it is an error.
func (p *Panic) Unwrap() error {
	err, _ := p.Value.(error)
	return err
}

func newPanic(value any) *Panic {
	if p, ok := value.(*Panic); ok {
		return p
	}
	return &Panic{Value: value, Stack: debug.Stack()}
}
