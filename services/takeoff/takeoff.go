// Package takeoff is the service that says what a frame is made of: every stick, peg and piece of
// hardware, measured and weighed. It keeps nothing; frames come from the frames service.
//
// Reasons that it gives of its own: UNKNOWN_FORMAT (a document was asked for in a format that is not
// offered, see package sheet). Those of the frames service pass through.
package takeoff

import (
	"context"
	"errors"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/internal/framefetch"
	"github.com/pikepole/pikepole/services/platform/compute"
)

// keptAnswers is how many takeoffs are kept.
const keptAnswers = 64

// Config is what the service needs. Frames and Pool are required.
type Config struct {
	// Frames is the frames service; its connection forwards the caller's token.
	Frames framesv1.FramesServiceClient
	// Pool admits computations.
	Pool *compute.Pool
	// Logger is silent when nil.
	Logger *zap.Logger
	// Registry takes the metrics of the kept answers; nil counts nothing.
	Registry prometheus.Registerer
}

// Service is the takeoff service.
type Service struct {
	takeoffv1.UnsafeTakeoffServiceServer

	frames *framefetch.Source
	pool   *compute.Pool
	cache  *compute.Cache
}

// New builds the service.
func New(c Config) (*Service, error) {
	if c.Frames == nil || c.Pool == nil {
		return nil, errors.New("takeoff: the frames service and a pool are required")
	}
	return &Service{
		frames: framefetch.New(c.Frames),
		pool:   c.Pool,
		cache:  compute.NewCache("takeoff", keptAnswers, c.Registry),
	}, nil
}

// Name is the service's name.
func (s *Service) Name() string { return "takeoff" }

// Register adds the RPCs to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { takeoffv1.RegisterTakeoffServiceServer(r, s) }

// Migrate has nothing to do: the service keeps nothing.
func (s *Service) Migrate(context.Context) error { return nil }

// Close has nothing to let go of.
func (s *Service) Close() error { return nil }
