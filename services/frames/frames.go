// Package frames is the service that keeps jobs with their sites and the issued revisions of their
// frames, and that draws frames and computes their layout. It is the one source of truth for all others.
package frames

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/replay"
	"github.com/pikepole/pikepole/services/platform/store"
)

// Reasons that this service gives beside those of package fault.
const (
	// ReasonJob: the company has no such job.
	ReasonJob = "JOB_NOT_FOUND"
	// ReasonRevision: the job has no such revision of its frame.
	ReasonRevision = "REVISION_NOT_FOUND"
	// ReasonRevisionForm: the revision is neither a number nor "latest".
	ReasonRevisionForm = "INVALID_REVISION"
	// ReasonParent: another revision was issued since the one named as parent.
	ReasonParent = "PARENT_NOT_NEWEST"
	// ReasonETag: the job was changed since it was read.
	ReasonETag = "ETAG_MISMATCH"
	// ReasonView: the frame has no such drawing.
	ReasonView = "VIEW_UNKNOWN"
	// ReasonFormat: the document is not made in this format.
	ReasonFormat = "FORMAT_UNKNOWN"
	// ReasonFaults: the frame has faults; the fields name them.
	ReasonFaults = "FRAME_HAS_FAULTS"
	// ReasonDamaged: a stored frame no longer has the digest under which it was issued. It goes to the log;
	// callers see trouble of our own.
	ReasonDamaged = "FRAME_DAMAGED"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Config is what the service needs.
type Config struct {
	// DB keeps the jobs and frames; required.
	DB *store.DB
	// Pool admits the heavy computations of the process; required.
	Pool *compute.Pool
	// Now is the clock; the default is time.Now.
	Now func() time.Time
	// Logger takes what nobody asked for but somebody should know; the default is silent.
	Logger *zap.Logger
	// Registry takes the service's metrics; nil keeps them to itself.
	Registry prometheus.Registerer
}

// Service is the frames service.
type Service struct {
	framesv1.UnsafeFramesServiceServer

	db     *store.DB
	pool   *compute.Pool
	now    func() time.Time
	logger *zap.Logger
	// sheets keeps drawings and layouts, shelf the frames that were parsed last.
	sheets *compute.Cache
	shelf  *shelf
	issued prometheus.Counter
}

// sheetsKept is how many drawings and layouts are kept.
const sheetsKept = 128

// New makes the service; Migrate comes before the first call.
func New(c Config) (*Service, error) {
	if c.DB == nil || c.Pool == nil {
		return nil, errors.New("frames: a store and a pool are required")
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Logger == nil {
		c.Logger = zap.NewNop()
	}
	issued := prometheus.NewCounter(prometheus.CounterOpts{
		Name: "pikepole_frames_revisions_issued_total",
		Help: "Frame revisions issued since the start.",
	})
	if c.Registry != nil {
		if err := c.Registry.Register(issued); err != nil {
			return nil, fmt.Errorf("frames: register metrics: %w", err)
		}
	}
	return &Service{
		db: c.DB, pool: c.Pool, now: c.Now, logger: c.Logger.Named("frames"), issued: issued,
		sheets: compute.NewCache("frames_sheets", sheetsKept, c.Registry), shelf: newShelf(shelfPieces),
	}, nil
}

// Name is "frames".
func (s *Service) Name() string { return "frames" }

// Register adds the RPCs to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { framesv1.RegisterFramesServiceServer(r, s) }

// Migrate brings the store to its newest version.
func (s *Service) Migrate(ctx context.Context) error {
	if err := s.db.Migrate(ctx, migrations); err != nil {
		return err
	}
	return replay.Tidy(ctx, s.db, s.now())
}

// Close has nothing to let go of: the store belongs to whoever opened it.
func (s *Service) Close() error { return nil }
