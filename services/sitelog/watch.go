package sitelog

import (
	"context"
	"errors"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/server"
	"github.com/pikepole/pikepole/services/platform/store"
)

const (
	// partSize is how many entries are read at once.
	partSize = 500
	// onlyNew asks a watch to begin behind the newest entry.
	onlyNew = -1
	// reconnectAfter is how long a client waits before it connects again, so that not all come at the same moment that a
	// server goes.
	reconnectAfter = time.Second
)

// WatchEntries sends entries of a job as they are accepted. It ends, with a hint to connect again, when the server stops
// and when the token ends, which the server makes the deadline of every stream: the caller comes back with a new token, if
// they still get one.
func (s *Service) WatchEntries(req *sitelogv1.WatchEntriesRequest, stream grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) error {
	ctx := stream.Context()
	if after := req.GetAfterPosition(); after < onlyNew {
		return fault.Invalid("after_position", "is %d; give the position of the last entry that was seen, 0 from the start, or -1 for only new ones", after)
	}
	_, l, err := s.logFor(ctx, req.GetJob())
	if err != nil {
		return err
	}
	s.metrics.watches.Inc()
	defer s.metrics.watches.Dec()
	wake := s.db.Listen(l.topic()) // before the first look, so that nothing falls in between
	defer wake.Close()
	position, err := s.beginAt(ctx, l, req.GetAfterPosition())
	if err != nil {
		return err
	}
	if err := stream.SendHeader(metadata.MD{}); err != nil { // tells the client that the watch has begun
		return err
	}
	for {
		if position, err = s.sendAfter(ctx, l, position, stream); err != nil {
			return err
		}
		select {
		case <-wake.C():
		case <-ctx.Done():
			if errors.Is(ctx.Err(), context.DeadlineExceeded) {
				return again(fault.ReasonReconnect, "The token has ended; connect again with a new one, behind the last position.")
			}
			return ctx.Err()
		case <-server.Stopping(ctx):
			return again(fault.ReasonStopping, "The server is being stopped; connect again.")
		case <-s.closing:
			return again(fault.ReasonStopping, "The server is being stopped; connect again.")
		}
	}
}

func again(reason, message string) error {
	return fault.New(fault.Unavailable, reason, "%s", message).After(reconnectAfter)
}

func (s *Service) beginAt(ctx context.Context, l logOf, after int32) (int32, error) {
	if after != onlyNew {
		return after, nil
	}
	var last int32
	err := s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		last, err = lastPosition(ctx, tx, l)
		return err
	})
	return last, err
}

// sendAfter sends all that is behind a position and gives the position that was sent last.
func (s *Service) sendAfter(ctx context.Context, l logOf, position int32, stream grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) (int32, error) {
	for {
		entries, err := s.after(ctx, l, position)
		if err != nil {
			return position, err
		}
		for _, e := range entries {
			if err := stream.Send(&sitelogv1.WatchEntriesResponse{Entry: renderEntry(e)}); err != nil {
				return position, err
			}
			position = e.Position
		}
		if len(entries) < partSize {
			return position, nil
		}
	}
}
