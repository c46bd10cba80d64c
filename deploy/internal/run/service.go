package run

import (
	"context"
	"fmt"
	"runtime"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health/grpc_health_v1"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/frames"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/server"
	"github.com/pikepole/pikepole/services/platform/suite"
	"github.com/pikepole/pikepole/services/rigging"
	"github.com/pikepole/pikepole/services/sequencing"
	"github.com/pikepole/pikepole/services/sitelog"
	"github.com/pikepole/pikepole/services/takeoff"
)

func processors() int { return runtime.GOMAXPROCS(0) }

// build makes the services of this process, brings their stores up to date, and makes the
// server that holds them.
func (s *Suite) build(ctx context.Context) error {
	pool := s.pool()
	for _, part := range s.config.Parts {
		if part == "gateway" {
			continue
		}
		service, err := s.make(ctx, part, pool)
		if err != nil {
			return fmt.Errorf("%s: %w", part, err)
		}
		s.services = append(s.services, service)
		if err := service.Migrate(ctx); err != nil {
			return fmt.Errorf("%s: bring the store up to date: %w", part, err)
		}
	}
	var err error
	s.server, err = server.New(server.Config{
		Logger: s.config.Logger, Registry: s.registry, Services: s.services, Tracer: s.tracer, Now: s.config.Now,
		Verifier: identity.NewVerifier(s.keys(), s.config.Now), Ready: s.ready,
	})
	return err
}

func (s *Suite) make(ctx context.Context, part string, pool *compute.Pool) (suite.Service, error) {
	logger, now := s.config.Logger.Named(part), s.config.Now
	frameClient := framesv1.NewFramesServiceClient(s.peer("frames"))
	if part == "takeoff" {
		return takeoff.New(takeoff.Config{Frames: frameClient, Pool: pool, Logger: logger, Registry: s.registry})
	}
	db, err := s.open(ctx, part)
	if err != nil {
		return nil, err
	}
	switch part {
	case "access":
		s.access, err = access.New(access.Config{DB: db, Now: now, Logger: logger, Registry: s.registry})
		return s.access, err
	case "frames":
		return frames.New(frames.Config{DB: db, Now: now, Logger: logger, Pool: pool, Registry: s.registry})
	case "rigging":
		return rigging.New(rigging.Config{DB: db, Frames: frameClient, Pool: pool, Now: now, Logger: logger, Registry: s.registry})
	case "sequencing":
		return sequencing.New(sequencing.Config{DB: db, Frames: frameClient, Pool: pool, Now: now, Logger: logger, Registry: s.registry})
	case "sitelog":
		return sitelog.New(sitelog.Config{
			DB: db, Frames: frameClient, Sequencing: sequencingv1.NewSequencingServiceClient(s.peer("sequencing")),
			Now: now, Logger: logger, Registry: s.registry,
		})
	}
	return nil, fmt.Errorf("there is no such service")
}

// peer is the connection to a service; Check has made sure that those which are called exist.
func (s *Suite) peer(service string) grpc.ClientConnInterface {
	if conn, ok := s.peers[service]; ok {
		return conn
	}
	return nil
}

// keys is where the tokens of callers are verified: the access service of this process, or
// the one that runs elsewhere.
func (s *Suite) keys() identity.KeySource {
	if s.access != nil {
		return s.access
	}
	return identity.RemoteKeys(accessv1.NewAccessServiceClient(s.peer("access")))
}

// answers checks that a service that runs elsewhere is reached and serving.
func answers(conn *grpc.ClientConn) func(context.Context) error {
	client := grpc_health_v1.NewHealthClient(conn)
	return func(ctx context.Context) error {
		ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
		defer cancel()
		answer, err := client.Check(ctx, &grpc_health_v1.HealthCheckRequest{})
		if err != nil {
			return err
		}
		if answer.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
			return fmt.Errorf("it is %s", answer.GetStatus())
		}
		return nil
	}
}
