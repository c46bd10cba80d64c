package frames

import (
	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/platform/lru"
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
	limit  int
	frames *lru.Cache[spot, held]
}

func newShelf(limit int) *shelf {
	return &shelf{limit: limit, frames: lru.NewWeighted[spot](limit, held.pieces)}
}

// get finds the frame of a revision.
func (s *shelf) get(at spot) (held, bool) { return s.frames.Get(at) }

// put keeps a frame that the shelf can carry, and lets go of those not used for longest.
func (s *shelf) put(at spot, h held) {
	if h.pieces() <= s.limit {
		s.frames.Add(at, h)
	}
}
