package live

import (
	"net/http"
	"sync"
	"time"

	"github.com/pikepole/pikepole/gateway/internal/problem"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
)

const (
	// mostOfOne is how many streams one person may have open: more than their tabs, and few enough that
	// nobody takes the streams of all others.
	mostOfOne = 20
	// retry is how long a client waits before it comes again.
	retry = 3 * time.Second
)

// gate bounds the streams that are open at once.
type gate struct {
	slots chan struct{}

	mu     sync.Mutex
	people map[person]int // streams that are open
}

// person is who has a stream.
type person struct{ company, id string }

func newGate(limit int) *gate {
	return &gate{slots: make(chan struct{}, max(limit, 1)), people: map[person]int{}}
}

// enter takes a place for a stream of the caller's, until leave is called.
func (g *gate) enter(caller *accessv1.Caller) (leave func(), refusal *problem.Document) {
	who := person{caller.GetCompany(), caller.GetPerson()}
	g.mu.Lock()
	defer g.mu.Unlock()
	full := problem.New(http.StatusServiceUnavailable, problem.ReasonTooManyStreams, "Too many people watch at once; try again in a moment.")
	full.RetryAfter = problem.Seconds(retry)
	if g.people[who] >= mostOfOne {
		full.Detail = "You watch too much at once; close some of the pages that are open, and try again."
		return nil, full
	}
	select {
	case g.slots <- struct{}{}:
	default:
		return nil, full
	}
	g.people[who]++
	return func() {
		g.mu.Lock()
		defer g.mu.Unlock()
		<-g.slots
		if g.people[who]--; g.people[who] == 0 {
			delete(g.people, who)
		}
	}, nil
}
