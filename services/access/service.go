package access

import (
	"context"
	"embed"
	"errors"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/replay"
	"github.com/pikepole/pikepole/services/platform/store"
)

//go:embed migrations/*.sql
var migrations embed.FS

// defaultFlush is how often last uses are written down.
const defaultFlush = time.Minute

// Config is what the service needs. DB is required.
type Config struct {
	DB       *store.DB
	Now      func() time.Time // default time.Now
	Logger   *zap.Logger
	Registry prometheus.Registerer // nil counts nothing
	// FlushEvery is how often last uses are written down, besides at Close; default one minute.
	FlushEvery time.Duration
}

// Service is the access service.
type Service struct {
	accessv1.UnsafeAccessServiceServer

	db      *store.DB
	now     func() time.Time
	log     *zap.Logger
	ring    *ring
	usage   *usage
	metrics *metrics

	closing  chan struct{}
	kept     chan struct{}
	closeOne sync.Once
}

// New builds the service; it must be closed.
func New(c Config) (*Service, error) {
	if c.DB == nil {
		return nil, errors.New("access: a store is required")
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Logger == nil {
		c.Logger = zap.NewNop()
	}
	if c.FlushEvery <= 0 {
		c.FlushEvery = defaultFlush
	}
	m, err := newMetrics(c.Registry)
	if err != nil {
		return nil, err
	}
	// The store keeps whole microseconds; a first answer must say the same as a later one.
	now := func() time.Time { return c.Now().Truncate(time.Microsecond) }
	s := &Service{
		db: c.DB, now: now, log: c.Logger.Named("access"),
		ring: newRing(c.DB, now), usage: newUsage(), metrics: m,
		closing: make(chan struct{}), kept: make(chan struct{}),
	}
	go s.keepUses(c.FlushEvery)
	return s, nil
}

// Name is the service's name.
func (s *Service) Name() string { return "access" }

// Register adds the RPCs to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { accessv1.RegisterAccessServiceServer(r, s) }

// Migrate brings the tables up to date.
func (s *Service) Migrate(ctx context.Context) error {
	if err := s.db.Migrate(ctx, migrations); err != nil {
		return err
	}
	return replay.Tidy(ctx, s.db, s.now())
}

// Close writes down the last uses that are still noted. The store is left open.
func (s *Service) Close() error {
	var err error
	s.closeOne.Do(func() {
		close(s.closing)
		<-s.kept
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		err = s.flush(ctx)
	})
	return err
}

// SigningKeys gives the public keys that tokens are verified with, also those that will sign next.
func (s *Service) SigningKeys(ctx context.Context) ([]identity.Key, error) { return s.ring.public(ctx) }

// write runs a transaction and gives back what it came to.
func write[T any](ctx context.Context, db *store.DB, fn func(ctx context.Context, tx *store.Tx) (T, error)) (T, error) {
	var result T
	err := db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		var err error
		result, err = fn(ctx, tx)
		return err
	})
	return result, err
}

// read runs a reading transaction and gives back what it came to.
func read[T any](ctx context.Context, db *store.DB, fn func(ctx context.Context, tx *store.Tx) (T, error)) (T, error) {
	var result T
	err := db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		var err error
		result, err = fn(ctx, tx)
		return err
	})
	return result, err
}
