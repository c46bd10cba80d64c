package run

import (
	"context"
	"errors"
	"net/http"
	"time"

	"go.uber.org/zap"

	"github.com/pikepole/pikepole/gateway"
)

// front is the gateway with its HTTP server.
type front struct {
	gateway *gateway.Gateway
	server  *http.Server
}

func (s *Suite) newFront() (*front, error) {
	set := s.config.Settings
	proxies, err := set.Proxies()
	if err != nil {
		return nil, err
	}
	logger := s.config.Logger.Named("gateway")
	g, err := gateway.New(gateway.Config{
		Access: s.peer("access"), Frames: s.peer("frames"), Takeoff: s.peer("takeoff"),
		Rigging: s.peer("rigging"), Sequencing: s.peer("sequencing"), Sitelog: s.peer("sitelog"),
		Logger: logger, Registry: s.registry, PublicURL: set.PublicURL, TrustedProxies: proxies, Now: s.config.Now,
		RequestsPerSecond: set.RequestRate, RequestBurst: set.RequestBurst,
	})
	if err != nil {
		return nil, err
	}
	lines, err := zap.NewStdLogAt(logger, zap.WarnLevel)
	if err != nil {
		return nil, err
	}
	return &front{gateway: g, server: &http.Server{
		Handler: g.Handler(), ErrorLog: lines,
		ReadHeaderTimeout: 5 * time.Second, ReadTimeout: time.Minute, IdleTimeout: 2 * time.Minute,
		// No WriteTimeout: live streams stay open; every call beneath has a deadline of its own.
	}}, nil
}

// stop ends the live streams, lets requests under way finish until ctx ends, and then closes
// what is still open.
func (f *front) stop(ctx context.Context) error {
	f.gateway.Close()
	err := f.server.Shutdown(ctx)
	if errors.Is(err, context.DeadlineExceeded) {
		return errors.Join(err, f.server.Close())
	}
	return err
}
