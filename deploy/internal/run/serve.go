package run

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"time"
)

// serve takes calls on every listener that this process has.
func (s *Suite) serve(l listeners) error {
	inside := []net.Listener{s.pipe}
	if l.grpc != nil {
		inside = append(inside, l.grpc)
	}
	s.serving.Go(func() error { return s.server.Serve(inside...) })

	s.admin = &http.Server{Handler: s.server.Admin(), ReadHeaderTimeout: 5 * time.Second}
	s.serving.Go(func() error { return serveHTTP(s.admin, l.admin) })

	if l.public == nil {
		return nil
	}
	var err error
	if s.public, err = s.newFront(); err != nil {
		return fmt.Errorf("gateway: %w", err)
	}
	s.serving.Go(func() error { return serveHTTP(s.public.server, l.public) })
	return nil
}

func serveHTTP(server *http.Server, l net.Listener) error {
	if err := server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// answering waits until the admin port says that the process is ready, which takes in the
// stores and the services elsewhere, or until ctx ends.
func (s *Suite) answering(ctx context.Context) error {
	const pause = 20 * time.Millisecond
	client := &http.Client{Timeout: 5 * time.Second}
	defer client.CloseIdleConnections()
	tick := time.NewTicker(pause)
	defer tick.Stop()
	var last error
	for {
		if last = ready(ctx, client, s.AdminURL+"/readyz"); last == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("not ready: %w", last)
		case <-s.failed.Done():
			return errors.New("stopped serving while it was starting")
		case <-tick.C:
		}
	}
}

func ready(ctx context.Context, client *http.Client, address string) error {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return err
	}
	answer, err := client.Do(request)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(io.LimitReader(answer.Body, 4096))
	if err != nil {
		return err
	}
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s", answer.Status, text)
	}
	return nil
}
