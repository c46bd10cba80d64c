package store

import (
	"testing"
	"testing/synctest"
	"time"
)

// TestBatchEndsWhileOthersWait: under steady load a batch that took in whoever waits would go on to
// its full number, and nobody in it would be answered for as long.
func TestBatchEndsWhileOthersWait(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		w := &writer{engine: sqliteEngine{}, queue: make(chan *write)}
		job := &write{}
		go func() { w.queue <- job }()
		synctest.Wait()
		if w.next(1, time.Now().Add(-time.Nanosecond)) != nil {
			t.Error("a batch whose time is up takes in another write")
		}
		if w.next(w.engine.maxBatch(), time.Now().Add(time.Second)) != nil {
			t.Error("a full batch takes in another write")
		}
		if w.next(1, time.Now().Add(time.Second)) != job {
			t.Error("a batch with time left does not take in the write that waits")
		}
		if w.next(2, time.Now().Add(time.Second)) != nil {
			t.Error("a write comes out of nowhere")
		}
	})
}
