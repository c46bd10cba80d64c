package live

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"

	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/gateway/internal/accept"
	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/problem"
	"github.com/pikepole/pikepole/gateway/internal/wire"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
)

// searchTime is the longest that a search may take, with its waiting: below a minute, after which many clients
// and proxies give up. The service ends its search before and answers with the best that it has.
const searchTime = 55 * time.Second

// Search is the part of the sequencing service that this package calls.
type Search interface {
	MakeSafe(ctx context.Context, in *sequencingv1.MakeSafeRequest, opts ...grpc.CallOption) (grpc.ServerStreamingClient[sequencingv1.MakeSafeAnswer], error)
}

// Searcher answers POST /v1/jobs/{job}/frames/{revision}:makeSafe: every better answer to a client that accepts
// events, only the last to any other.
type Searcher struct {
	search    Search
	gauge     Gauge
	heartbeat time.Duration
	stop      <-chan struct{}
	gate      *gate
	json      *wire.JSON
}

// Searcher gives a searcher whose streams count with the watcher's.
func (h *Watcher) Searcher(search Search) *Searcher {
	return &Searcher{search: search, gauge: h.config.Gauge, heartbeat: h.config.Heartbeat, stop: h.config.Stop, gate: h.gate, json: h.json}
}

// ServeHTTP searches. What is asked is refused with a problem document as any other request is, as long as no event
// was sent.
func (s *Searcher) ServeHTTP(w http.ResponseWriter, r *http.Request, params map[string]string) {
	in := &sequencingv1.MakeSafeRequest{}
	if err := s.json.NewDecoder(r.Body).Decode(in); err != nil && !errors.Is(err, io.EOF) {
		if refusal := call.Unreadable(err); refusal != nil {
			call.RefuseWith(w, r, refusal)
			return
		}
		call.Refuse(w, r, err)
		return
	}
	in.Job, in.Revision = params["job"], params["revision"]
	ctx, cancel := context.WithTimeout(r.Context(), searchTime)
	defer cancel()
	media, _ := accept.Choose(r.Header.Get("Accept"), []string{wire.MediaType, MediaType})
	w.Header().Set("Vary", "Accept")
	if media != MediaType {
		s.answerLast(ctx, w, r, in)
		return
	}
	leave, refusal := s.gate.enter(call.From(ctx).Caller)
	if refusal != nil {
		call.RefuseWith(w, r, refusal)
		return
	}
	defer leave()
	stream, err := s.search.MakeSafe(ctx, in)
	if err != nil {
		call.Refuse(w, r, err)
		return
	}
	s.gauge.StreamBegan()
	defer s.gauge.StreamEnded()
	s.send(ctx, w, r, stream)
}

// answerLast waits for the last answer.
func (s *Searcher) answerLast(ctx context.Context, w http.ResponseWriter, r *http.Request, in *sequencingv1.MakeSafeRequest) {
	stream, err := s.search.MakeSafe(ctx, in)
	if err != nil {
		call.Refuse(w, r, err)
		return
	}
	last := &sequencingv1.MakeSafeAnswer{}
	for {
		answer, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			call.Refuse(w, r, err)
			return
		}
		last = answer
	}
	call.Answer(w, r, s.json, last)
}

// found is an answer of a search, or how it ended.
type found struct {
	answer *sequencingv1.MakeSafeAnswer
	err    error
}

// send sends each answer as an event. Until the first event a failure is a problem document, afterwards an event.
func (s *Searcher) send(ctx context.Context, w http.ResponseWriter, r *http.Request, stream grpc.ServerStreamingClient[sequencingv1.MakeSafeAnswer]) {
	out := &events{writer: writer{w: w, control: http.NewResponseController(w)}}
	beat := time.NewTicker(s.heartbeat)
	defer beat.Stop()
	answers := s.receive(ctx, stream)
	for n := 1; ; {
		var err error
		select {
		case <-s.stop:
			_ = out.write(": stopping, ask again\n\n")
			return
		case <-beat.C:
			err = out.write(": here\n\n")
		case got := <-answers:
			switch {
			case errors.Is(got.err, io.EOF):
				return
			case got.err != nil && !out.begun:
				call.Refuse(w, r, got.err)
				return
			case got.err != nil:
				_ = s.fail(out, got.err)
				return
			}
			err = s.event(out, n, got.answer)
			n++
		}
		if err != nil {
			return
		}
	}
}

func (s *Searcher) event(out *events, n int, answer *sequencingv1.MakeSafeAnswer) error {
	data, err := s.json.Marshal(answer)
	if err != nil {
		return fmt.Errorf("encode an answer: %w", err)
	}
	name := "better"
	if answer.GetFinal() {
		name = "final"
	}
	if err := out.write(fmt.Sprintf("id: %d\nevent: %s\ndata: %s\n\n", n, name, oneLine(data))); err != nil {
		return err
	}
	s.gauge.EventSent()
	return nil
}

// fail sends the problem that ended a search.
func (s *Searcher) fail(out *events, cause error) error {
	data, err := json.Marshal(problem.FromError(cause, false))
	if err != nil {
		return fmt.Errorf("encode a problem: %w", err)
	}
	return out.write(fmt.Sprintf("event: problem\ndata: %s\n\n", oneLine(data)))
}

// receive reads the stream until it ends, which is the last that it gives.
func (s *Searcher) receive(ctx context.Context, stream grpc.ServerStreamingClient[sequencingv1.MakeSafeAnswer]) <-chan found {
	answers := make(chan found)
	go func() {
		for {
			answer, err := stream.Recv()
			select {
			case answers <- found{answer, err}:
			case <-ctx.Done():
				return
			}
			if err != nil {
				return
			}
		}
	}()
	return answers
}

// oneLine takes line breaks out: one would end the event early, and JSON has none but for an encoder's whim.
func oneLine(data []byte) []byte { return bytes.ReplaceAll(data, []byte("\n"), []byte(" ")) }

// events writes a stream of events, its head before the first.
type events struct {
	writer
	begun bool
}

func (e *events) write(text string) error {
	if !e.begun {
		e.begun = true
		header := e.w.Header()
		header.Set("Content-Type", MediaType)
		header.Set("Cache-Control", "no-store")
		header.Set("X-Accel-Buffering", "no")
	}
	return e.writer.write(text)
}
