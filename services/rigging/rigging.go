// Package rigging is the service that says how each piece or bent is picked, with the cranes and the
// gear of the company book, which it keeps.
//
// Reasons that it gives of its own: CRANE_NOT_FOUND, GEAR_NOT_FOUND, ETAG_MISMATCH (another change came
// first), BOOK_FULL (the book holds as many as it may), UNKNOWN_FORMAT (a document was asked for in a
// format that is not offered). Those of the frames service pass through. A pick that cannot be made is
// no error: it is in the answer, refused, with its reasons as sentences.
package rigging

import (
	"context"
	"embed"
	"errors"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	"github.com/pikepole/pikepole/services/internal/framefetch"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/rigging/picking"
)

// The reasons of this service.
const (
	ReasonCraneNotFound = "CRANE_NOT_FOUND"
	ReasonGearNotFound  = "GEAR_NOT_FOUND"
	ReasonEtag          = "ETAG_MISMATCH"
	ReasonBookFull      = "BOOK_FULL"
)

//go:embed migrations/*.sql
var migrations embed.FS

// keptAnswers is how many frames' picks are kept.
const keptAnswers = 64

// Config is what the service needs. DB, Frames and Pool are required.
type Config struct {
	// DB keeps the company book.
	DB *store.DB
	// Frames is the frames service; its connection forwards the caller's token.
	Frames framesv1.FramesServiceClient
	// Pool admits computations.
	Pool *compute.Pool
	// Now is the clock; default time.Now.
	Now func() time.Time
	// Logger is silent when nil.
	Logger *zap.Logger
	// Registry takes the metrics of the kept answers; nil counts nothing.
	Registry prometheus.Registerer
}

// Service is the rigging service.
type Service struct {
	riggingv1.UnsafeRiggingServiceServer

	db       *store.DB
	frames   *framefetch.Source
	pool     *compute.Pool
	cache    *compute.Cache
	now      func() time.Time
	settings picking.Settings
}

// New builds the service. The store stays the caller's to close.
func New(c Config) (*Service, error) {
	if c.DB == nil || c.Frames == nil || c.Pool == nil {
		return nil, errors.New("rigging: a store, the frames service and a pool are required")
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	return &Service{
		db:       c.DB,
		frames:   framefetch.New(c.Frames),
		pool:     c.Pool,
		cache:    compute.NewCache("picks", keptAnswers, c.Registry),
		now:      c.Now,
		settings: picking.Default(),
	}, nil
}

// Name is the service's name.
func (s *Service) Name() string { return "rigging" }

// Register adds the RPCs to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { riggingv1.RegisterRiggingServiceServer(r, s) }

// Migrate brings the tables up to date.
func (s *Service) Migrate(ctx context.Context) error {
	return s.db.Migrate(ctx, migrations)
}

// Close has nothing to let go of.
func (s *Service) Close() error { return nil }
