package rotation_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/access/rotation"
)

var begin = time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)

const tokenLife = 5 * time.Minute

func schedule(starts ...time.Duration) rotation.Schedule {
	s := rotation.Schedule{TokenLife: tokenLife}
	for _, d := range starts {
		s.Starts = append(s.Starts, begin.Add(d))
	}
	return s
}

func TestSigning(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		starts []time.Duration
		now    time.Duration
		want   int
	}{
		{"no keys", nil, 0, -1},
		{"at its start", []time.Duration{0}, 0, 0},
		{"the next is only shown", []time.Duration{0, 24 * time.Hour}, 24*time.Hour - 1, 0},
		{"the next takes over", []time.Duration{0, 24 * time.Hour}, 24 * time.Hour, 1},
		{"clock set back", []time.Duration{0, 24 * time.Hour}, -time.Hour, 0},
	} {
		if got := schedule(c.starts...).Signing(begin.Add(c.now)); got != c.want {
			t.Errorf("%s: Signing = %d, want %d", c.name, got, c.want)
		}
	}
}

func TestNext(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		starts []time.Duration
		now    time.Duration
		due    bool
		start  time.Duration
	}{
		{"the first signs at once", nil, 5 * time.Hour, true, 5 * time.Hour},
		{"not yet", []time.Duration{0}, 22 * time.Hour, false, 0},
		{"an hour ahead", []time.Duration{0}, 23 * time.Hour, true, 24 * time.Hour},
		{"late: after its notice", []time.Duration{0}, 30 * time.Hour, true, 30*time.Hour + rotation.Notice + rotation.Refresh},
		{"the next is there", []time.Duration{0, 24 * time.Hour}, 24*time.Hour - time.Minute, false, 0},
	} {
		start, due := schedule(c.starts...).Next(begin.Add(c.now))
		if due != c.due || (due && !start.Equal(begin.Add(c.start))) {
			t.Errorf("%s: Next = %v, %v, want %v, %v", c.name, start.Sub(begin), due, c.start, c.due)
		}
	}
}

// TestLifeOfKeys lives through days with uneven visits and holds every promise of the package: a key is shown at least ten
// minutes before it signs (but the first), no key signs longer than it must, and every token made is accepted while it lives.
func TestLifeOfKeys(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := rotation.Schedule{TokenLife: tokenLife}
		var shown []time.Time
		type token struct {
			key    int
			expire time.Time
		}
		var tokens []token
		now := begin
		for range rapid.IntRange(1, 200).Draw(t, "visits") {
			now = now.Add(time.Duration(rapid.IntRange(1, 4*3600).Draw(t, "pause")) * time.Second)
			if start, due := s.Next(now); due {
				s.Starts, shown = append(s.Starts, start), append(shown, now)
			}
			if _, due := s.Next(now); due {
				t.Fatal("a key is due right after one was added")
			}
			signing := s.Signing(now)
			if signing > 0 && now.Sub(shown[signing]) < 10*time.Minute {
				t.Fatalf("key %d signs %s after it was shown", signing, now.Sub(shown[signing]))
			}
			if age := now.Sub(s.Starts[signing]); age > rotation.Every && signing == len(s.Starts)-1 {
				t.Fatalf("key %d has signed for %s and no other follows", signing, age)
			}
			tokens = append(tokens, token{signing, now.Add(tokenLife)})
			for _, tok := range tokens {
				if !now.After(tok.expire) && s.AcceptedUntil(tok.key, now).Before(tok.expire) {
					t.Fatalf("a token that lives until %s is accepted until %s", tok.expire, s.AcceptedUntil(tok.key, now))
				}
			}
		}
	})
}
