package access

import (
	"context"
	"slices"
	"strings"
	"sync"
	"time"

	"go.uber.org/zap"

	"github.com/pikepole/pikepole/services/platform/store"
)

// sweepEvery is how often ended sessions and links are taken away.
const sweepEvery = time.Hour

// use is when a key or a session was last used.
type use struct {
	ID     string
	Micros int64
}

// usage gathers last uses until they are written down together, so that no call waits for it.
type usage struct {
	mu       sync.Mutex
	keys     map[string]int64
	sessions map[string]int64
	before   map[string]int64 // sessions that were handed over last, and may not be in the store yet
}

func newUsage() *usage { return &usage{keys: map[string]int64{}, sessions: map[string]int64{}} }

func (u *usage) noteKey(id string, now time.Time) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.keys[id] = max(u.keys[id], store.Micros(now))
}

func (u *usage) noteSession(hash string, now time.Time) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.sessions[hash] = max(u.sessions[hash], store.Micros(now))
}

// lastOf is the last use of a session, when one is noted that is later than what the store has.
func (u *usage) lastOf(s session) time.Time {
	u.mu.Lock()
	defer u.mu.Unlock()
	if noted := max(u.sessions[s.Hash], u.before[s.Hash]); noted > store.Micros(s.Used) {
		return store.Time(noted)
	}
	return s.Used
}

// take hands over what was noted. Last uses of sessions stay known until the next time: a session in use must not look
// idle while they are on their way into the store. Both lists are sorted, so that two instances that write at the same
// time touch the rows in the same order.
func (u *usage) take() (keys, sessions []use) {
	u.mu.Lock()
	defer u.mu.Unlock()
	keys, sessions = sortedUses(u.keys), sortedUses(u.sessions)
	u.before = u.sessions
	u.keys, u.sessions = map[string]int64{}, map[string]int64{}
	return keys, sessions
}

// giveBack notes again what could not be written.
func (u *usage) giveBack(keys, sessions []use) {
	for _, k := range keys {
		u.noteKey(k.ID, store.Time(k.Micros))
	}
	for _, s := range sessions {
		u.noteSession(s.ID, store.Time(s.Micros))
	}
}

func sortedUses(m map[string]int64) []use {
	uses := make([]use, 0, len(m))
	for id, micros := range m {
		uses = append(uses, use{ID: id, Micros: micros})
	}
	slices.SortFunc(uses, func(a, b use) int { return strings.Compare(a.ID, b.ID) })
	return uses
}

// flush writes down what was noted. What could not be written is kept for the next time.
func (s *Service) flush(ctx context.Context) error {
	keys, sessions := s.usage.take()
	if len(keys)+len(sessions) == 0 {
		return nil
	}
	err := s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		return noteUses(ctx, tx, keys, sessions)
	})
	if err != nil {
		s.usage.giveBack(keys, sessions)
	}
	return err
}

// keepUses writes down uses until the service is closed.
func (s *Service) keepUses(every time.Duration) {
	defer close(s.kept)
	tick := time.NewTicker(every)
	defer tick.Stop()
	swept := s.now()
	for {
		select {
		case <-s.closing:
			return
		case <-tick.C:
		}
		ctx, cancel := context.WithTimeout(context.Background(), every)
		if err := s.flush(ctx); err != nil {
			s.log.Warn("last uses not written; trying again later", zap.Error(err))
		}
		if now := s.now(); now.Sub(swept) >= sweepEvery {
			swept = now
			err := s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error { return sweep(ctx, tx, now) })
			if err != nil {
				s.log.Warn("ended sessions not taken away; trying again later", zap.Error(err))
			}
		}
		cancel()
	}
}
