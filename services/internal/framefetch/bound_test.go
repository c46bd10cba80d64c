package framefetch

import (
	"testing"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/internal/frametest"
)

func TestKeptFramesAreBounded(t *testing.T) {
	t.Parallel()
	source := bounded(nil, 100)
	load := func(bents int) *frame.Frame {
		t.Helper()
		f, err := frame.Parse(frametest.Shed(bents))
		if err != nil {
			t.Fatal(err)
		}
		got, err := source.parsed(&framesv1.FrameRevision{Job: "job-1", Revision: 1, Digest: f.Digest(), Frame: framepb.FromDraft(f.Draft())})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	kept := func(f *frame.Frame) bool {
		got, ok := source.kept.Get("job-1/1/" + f.Digest())
		return ok && got == f
	}
	small := load(2)
	if load(3); load(2) != small {
		t.Fatal("a small frame is not kept")
	}
	// The one used longest ago goes first: of 2, 3 and 15 bents that is 3.
	load(15)
	if !kept(small) {
		t.Error("the frame that was just used is gone")
	}
	huge := load(40)
	if !kept(huge) || kept(small) || source.kept.Len() != 1 {
		t.Errorf("%d frames are kept beside one that is larger than all that may be", source.kept.Len()-1)
	}
	if want := len(huge.Timbers()); source.kept.Weight() != want {
		t.Errorf("%d timbers counted, %d kept", source.kept.Weight(), want)
	}
}
