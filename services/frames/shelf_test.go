package frames

import (
	"strconv"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
)

// The shelf lets go of what was not used for longest, by weight, and never of what it just took.
func TestShelf(t *testing.T) {
	t.Parallel()
	var all []held
	for i := range 4 {
		d := frametest.Shed(2)
		d.Title = strconv.Itoa(i)
		f, err := frame.Parse(d)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, held{frame: f})
	}
	weight := all[0].pieces()
	s := newShelf(3 * weight)
	at := func(i int) spot { return spot{"alder", "job-1", int32(i)} }
	for i, h := range all[:3] {
		s.put(at(i), h)
	}
	s.put(at(1), all[1])
	if _, ok := s.get(at(0)); !ok {
		t.Fatal("the first frame is gone before the shelf is full")
	}
	s.put(at(3), all[3])
	for i, want := range []bool{true, false, true, true} {
		if _, ok := s.get(at(i)); ok != want {
			t.Errorf("frame %d is kept: %t, want %t", i, ok, want)
		}
	}
	if s.frames.Weight() != 3*weight || s.frames.Len() != 3 {
		t.Errorf("the shelf holds %d pieces in %d places", s.frames.Weight(), s.frames.Len())
	}
	small := newShelf(weight - 1)
	small.put(at(0), all[0])
	if _, ok := small.get(at(0)); ok {
		t.Error("a frame heavier than the shelf carries was kept")
	}
}
