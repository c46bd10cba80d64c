// Package rotation is the timetable of the keys that sign tokens. It keeps no keys and reads no clock.
//
// A key signs from its start until the start of the next one, a day later. It is shown ahead of its start, so that whoever
// verifies tokens has it in hand before the first token signed with it. It is accepted until the last token that it
// signed has ended. Every instance that reads the same keys comes to the same answer, so several can share one store
// without talking to one another. The very first key signs at once: nobody holds an older set of keys that could lack it.
package rotation

import "time"

const (
	// Every is how long a key signs.
	Every = 24 * time.Hour
	// Notice is how long a key is shown, at the least, before it signs.
	Notice = 10 * time.Minute
	// Refresh is how old the keys may be that an instance works with.
	Refresh = time.Minute
	// Leeway is how much longer than the life of its last token a key is accepted, for clocks that differ.
	Leeway = time.Minute
	// early is how long before its start a key is made, if some instance is at work then.
	early = time.Hour
)

// Schedule holds the starts of all keys, in rising order.
type Schedule struct {
	Starts    []time.Time
	TokenLife time.Duration
}

// Signing is the index of the key that signs now: the newest that has started. It is -1 when there is none. When none
// has started, for a clock that was set back, it is the oldest.
func (s Schedule) Signing(now time.Time) int {
	signing := -1
	for i, start := range s.Starts {
		if i == 0 || !start.After(now) {
			signing = i
		}
	}
	return signing
}

// Next says whether another key is due, and from when it signs.
func (s Schedule) Next(now time.Time) (start time.Time, due bool) {
	if len(s.Starts) == 0 {
		return now, true
	}
	change := s.Starts[len(s.Starts)-1].Add(Every)
	if now.Before(change.Add(-early)) {
		return time.Time{}, false
	}
	return later(change, s.soonest(now)), true
}

// AcceptedUntil is when tokens of a key are no longer taken. For the newest key it moves on while no other follows.
func (s Schedule) AcceptedUntil(i int, now time.Time) time.Time {
	end := later(s.Starts[i].Add(Every), s.soonest(now))
	if i+1 < len(s.Starts) {
		end = s.Starts[i+1]
	}
	return end.Add(s.TokenLife + Leeway)
}

// soonest is when a key made now may sign: after its notice, counted from when the slowest instance has read it.
func (s Schedule) soonest(now time.Time) time.Time { return now.Add(Notice + Refresh) }

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
