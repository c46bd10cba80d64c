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

// spot names a revision, which never changes. A digest would not do: it passes over the order of a
// frame's lists, so a job could be answered in the order that another company wrote.
type spot struct {
	company, job string
	revision     int32
}

// shelf keeps the frames used last, by revision.
type shelf struct {
	mu     sync.Mutex
	limit  int
	filled int
	recent *list.List // of kept, the one used last in front
	places map[spot]*list.Element
}

// kept is a frame on the shelf.
type kept struct {
	at spot
	held
}

func newShelf(limit int) *shelf {
	return &shelf{limit: limit, recent: list.New(), places: map[spot]*list.Element{}}
}

// get finds the frame of a revision.
func (s *shelf) get(at spot) (held, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	e, ok := s.places[at]
	if !ok {
		return held{}, false
	}
	s.recent.MoveToFront(e)
	k, ok := e.Value.(kept)
	return k.held, ok
}

// put keeps a frame and lets go of those not used for longest.
func (s *shelf) put(at spot, h held) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, ok := s.places[at]; ok || h.pieces() > s.limit {
		return
	}
	s.places[at] = s.recent.PushFront(kept{at, h})
	s.filled += h.pieces()
	for s.filled > s.limit {
		last := s.recent.Back()
		old, _ := s.recent.Remove(last).(kept)
		delete(s.places, old.at)
		s.filled -= old.pieces()
	}
}
