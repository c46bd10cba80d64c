package frames

import (
	"container/list"
	"sync"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
)

// shelfPieces bounds the parsed frames that are kept, in sticks and joints of all of them together.
const shelfPieces = 400_000

// held is a frame that was parsed, with the message that it is answered as. Both are shared by all
// calls and never written to.
type held struct {
	frame   *frame.Frame
	message *framev1.Frame
}

// pieces is the size of a frame as the shelf counts it.
func (h held) pieces() int { return len(h.frame.Timbers()) + len(h.frame.Joints()) + 1 }

// shelf keeps the frames used last by digest. A digest names what is in a frame, so equal frames of
// different jobs stand on it once.
type shelf struct {
	mu     sync.Mutex
	limit  int
	filled int
	recent *list.List // of held, the one used last in front
	places map[string]*list.Element
}

func newShelf(limit int) *shelf {
	return &shelf{limit: limit, recent: list.New(), places: map[string]*list.Element{}}
}

// get finds a frame by digest.
func (s *shelf) get(digest string) (held, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	e, ok := s.places[digest]
	if !ok {
		return held{}, false
	}
	s.recent.MoveToFront(e)
	h, ok := e.Value.(held)
	return h, ok
}

// put keeps a frame and lets go of those not used for longest.
func (s *shelf) put(h held) {
	s.mu.Lock()
	defer s.mu.Unlock()
	digest := h.frame.Digest()
	if _, ok := s.places[digest]; ok || h.pieces() > s.limit {
		return
	}
	s.places[digest] = s.recent.PushFront(h)
	s.filled += h.pieces()
	for s.filled > s.limit {
		last := s.recent.Back()
		old, _ := s.recent.Remove(last).(held)
		delete(s.places, old.frame.Digest())
		s.filled -= old.pieces()
	}
}
