// Package live sends server-sent events: the entries of a job as they come, and the answers of a search as they get
// better.
package live

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/problem"
	"github.com/pikepole/pikepole/gateway/internal/wire"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

const (
	// MediaType is the media type of server-sent events.
	MediaType = "text/event-stream"
	// Heartbeat is how often a comment shows a quiet stream to be alive.
	Heartbeat = 15 * time.Second
	// writeTimeout is how long a client may take to read one event.
	writeTimeout = 30 * time.Second
	// longest is the life of a stream whose token names no end.
	longest = 5 * time.Minute

	headerLastEvent = "Last-Event-ID"
	queryAfter      = "afterPosition"
)

// Log is the part of the site log that this package calls.
type Log interface {
	ListEntries(ctx context.Context, in *sitelogv1.ListEntriesRequest, opts ...grpc.CallOption) (*sitelogv1.ListEntriesResponse, error)
	WatchEntries(ctx context.Context, in *sitelogv1.WatchEntriesRequest, opts ...grpc.CallOption) (grpc.ServerStreamingClient[sitelogv1.WatchEntriesResponse], error)
}

// Gauge counts the streams and events.
type Gauge interface {
	StreamBegan()
	StreamEnded()
	EventSent()
}

// Config says what a Watcher works with; all but the numbers is required.
type Config struct {
	Log   Log
	Gauge Gauge
	// Heartbeat is 15 s when 0.
	Heartbeat time.Duration
	// Limit is how many streams may be open at once.
	Limit int
	// Stop ends every stream when it is closed.
	Stop <-chan struct{}
}

// Watcher answers GET /v1/jobs/{job}/entries:watch.
type Watcher struct {
	config Config
	json   *wire.JSON
	gate   *gate
}

// New makes a watcher.
func New(config Config) *Watcher {
	if config.Heartbeat == 0 {
		config.Heartbeat = Heartbeat
	}
	return &Watcher{config: config, json: wire.NewJSON(), gate: newGate(config.Limit)}
}

// ServeHTTP sends the entries after the position that the client saw last. The stream ends with
// the caller's token, so that rights are looked at again; the client connects anew by itself.
func (h *Watcher) ServeHTTP(w http.ResponseWriter, r *http.Request, params map[string]string) {
	after, refusal := position(r)
	if refusal != nil {
		call.RefuseWith(w, r, refusal)
		return
	}
	// A quiet watch says nothing for long, and a server sends its header with a refusal too, so that
	// neither tells whether the watch was let in. What refuses a listing refuses a watch, and can
	// still be answered with a problem document.
	job := params["job"]
	if _, err := h.config.Log.ListEntries(r.Context(), &sitelogv1.ListEntriesRequest{Job: job, PageSize: 1}); err != nil {
		call.Refuse(w, r, err)
		return
	}
	leave, refusal := h.gate.enter(call.From(r.Context()).Caller)
	if refusal != nil {
		call.RefuseWith(w, r, refusal)
		return
	}
	defer leave()
	ctx, cancel := context.WithDeadline(r.Context(), end(r.Context()))
	defer cancel()
	stream, err := h.config.Log.WatchEntries(ctx, &sitelogv1.WatchEntriesRequest{Job: job, AfterPosition: after})
	if err != nil {
		call.Refuse(w, r, err)
		return
	}
	h.config.Gauge.StreamBegan()
	defer h.config.Gauge.StreamEnded()
	h.send(ctx, w, call.From(ctx).Head, stream)
}

func (h *Watcher) send(ctx context.Context, w http.ResponseWriter, head bool, stream grpc.ServerStreamingClient[sitelogv1.WatchEntriesResponse]) {
	header := w.Header()
	header.Set("Content-Type", MediaType)
	header.Set("Cache-Control", "no-store")
	header.Set("X-Accel-Buffering", "no")
	if head {
		w.WriteHeader(http.StatusOK)
		return
	}
	out := writer{w: w, control: http.NewResponseController(w)}
	if out.write(fmt.Sprintf("retry: %d\n\n", retry.Milliseconds())) != nil {
		return
	}
	beat := time.NewTicker(h.config.Heartbeat)
	defer beat.Stop()
	entries := receive(ctx, stream)
	for {
		var err error
		select {
		case <-h.config.Stop:
			_ = out.write(": stopping, connect again\n\n")
			return
		case <-ctx.Done():
			_ = out.write(": connect again\n\n")
			return
		case entry, open := <-entries:
			if !open {
				_ = out.write(": connect again\n\n")
				return
			}
			err = h.sendEntry(out, entry)
		case <-beat.C:
			err = out.write(": here\n\n")
		}
		if err != nil {
			return
		}
	}
}

func (h *Watcher) sendEntry(out writer, entry *sitelogv1.Entry) error {
	data, err := h.json.Marshal(entry)
	if err != nil {
		return fmt.Errorf("encode an entry: %w", err)
	}
	if err := out.write(fmt.Sprintf("id: %d\nevent: entry\ndata: %s\n\n", entry.GetPosition(), oneLine(data))); err != nil {
		return err
	}
	h.config.Gauge.EventSent()
	return nil
}

// receive reads the stream until it ends, and then closes the channel.
func receive(ctx context.Context, stream grpc.ServerStreamingClient[sitelogv1.WatchEntriesResponse]) <-chan *sitelogv1.Entry {
	entries := make(chan *sitelogv1.Entry)
	go func() {
		defer close(entries)
		for {
			message, err := stream.Recv()
			if err != nil {
				return
			}
			select {
			case entries <- message.GetEntry():
			case <-ctx.Done():
				return
			}
		}
	}()
	return entries
}

// position gives the position after which the client wants entries: Last-Event-ID, which a browser
// sends when it connects again, wins over the query.
func position(r *http.Request) (int32, *problem.Document) {
	field, text := headerLastEvent, r.Header.Get(headerLastEvent)
	if text == "" {
		field, text = queryAfter, r.URL.Query().Get(queryAfter)
	}
	if text == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil || n < -1 {
		message := "must be the position of an entry, 0 for all, or -1 for only new ones"
		return 0, problem.New(http.StatusBadRequest, fault.ReasonInvalid, field+" "+message+".").WithField(field, message)
	}
	return int32(n), nil
}

// end is when the stream must end at the latest.
func end(ctx context.Context) time.Time {
	if end := call.From(ctx).TokenEnd; !end.IsZero() {
		return end
	}
	return time.Now().Add(longest)
}

// writer writes an event as a whole and sends it at once.
type writer struct {
	w       http.ResponseWriter
	control *http.ResponseController
}

func (o writer) write(text string) error {
	// Not every writer knows deadlines, and one that does not needs none.
	_ = o.control.SetWriteDeadline(time.Now().Add(writeTimeout))
	if _, err := o.w.Write([]byte(text)); err != nil {
		return fmt.Errorf("write an event: %w", err)
	}
	if err := o.control.Flush(); err != nil {
		return fmt.Errorf("send an event: %w", err)
	}
	return nil
}
