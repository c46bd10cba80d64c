// Package sequencing is the service that says in which order a frame goes up and whether it stands meanwhile: the
// moves with what closes them, their machines and minutes; for each state whether it stands when the hook lets
// go, and the temporary braces that make it stand; how a bent bears being stood up. It keeps each company's
// rates of work, its rules of the stand check, and the lumber, fastenings and anchors that it braces with.
//
// Reasons that it gives of its own: ETAG_MISMATCH (another change of the rates, rules or stock came first),
// FRAME_LOCKED (no order exists; metadata pieces and joints name what locks), MOVE_NOT_FOUND, UNKNOWN_FORMAT and
// UNKNOWN_VIEW (a document was asked for in a form that is not offered). Those of the frames service pass through.
package sequencing

import (
	"context"
	"embed"
	"errors"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/internal/framefetch"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/store"
)

// The reasons of this service.
const (
	ReasonEtag   = "ETAG_MISMATCH"
	ReasonLocked = "FRAME_LOCKED"
	ReasonMove   = "MOVE_NOT_FOUND"
	ReasonView   = "UNKNOWN_VIEW"
)

//go:embed migrations/*.sql
var migrations embed.FS

// How many answers are kept: raisings, frames made ready for drawing, pictures of moves and of states, verdicts of one state,
// whole raisings checked, states made safe, lifts.
const (
	keptRaisings  = 64
	keptPictures  = 16
	keptDrawings  = 512
	keptVerdicts  = 256
	keptStandings = 32
	keptSafe      = 64
	keptLifts     = 128
)

// Config is what the service needs. DB, Frames and Pool are required.
type Config struct {
	// DB keeps the rates of work, the rules of the stand check and the stock.
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

// Service is the sequencing service.
type Service struct {
	sequencingv1.UnsafeSequencingServiceServer

	db        *store.DB
	frames    *framefetch.Source
	pool      *compute.Pool
	raisings  *compute.Cache
	pictures  *compute.Cache
	drawings  *compute.Cache
	verdicts  *compute.Cache
	standings *compute.Cache
	safe      *compute.Cache
	lifts     *compute.Cache
	now       func() time.Time
}

// New builds the service. The store stays the caller's to close.
func New(c Config) (*Service, error) {
	if c.DB == nil || c.Frames == nil || c.Pool == nil {
		return nil, errors.New("sequencing: a store, the frames service and a pool are required")
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	return &Service{
		db:        c.DB,
		frames:    framefetch.New(c.Frames),
		pool:      c.Pool,
		raisings:  compute.NewCache("raisings", keptRaisings, c.Registry),
		pictures:  compute.NewCache("raising_pictures", keptPictures, c.Registry),
		drawings:  compute.NewCache("move_drawings", keptDrawings, c.Registry),
		verdicts:  compute.NewCache("stand_verdicts", keptVerdicts, c.Registry),
		standings: compute.NewCache("standings", keptStandings, c.Registry),
		safe:      compute.NewCache("safe_states", keptSafe, c.Registry),
		lifts:     compute.NewCache("lifts", keptLifts, c.Registry),
		now:       c.Now,
	}, nil
}

// Name is the service's name.
func (s *Service) Name() string { return "sequencing" }

// Register adds the RPCs to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) {
	sequencingv1.RegisterSequencingServiceServer(r, s)
}

// Migrate brings the tables up to date.
func (s *Service) Migrate(ctx context.Context) error {
	return s.db.Migrate(ctx, migrations)
}

// Close has nothing to let go of.
func (s *Service) Close() error { return nil }
