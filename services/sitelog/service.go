package sitelog

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/page"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/sitelog/entry"
	"github.com/pikepole/pikepole/services/sitelog/progress"
)

//go:embed migrations/*.sql
var migrations embed.FS

const (
	maxBatch   = 500
	maxPage    = 500
	maxJobID   = 64
	entryList  = "entries"
	entryAdded = "entries.accepted"
)

// Config is what the service needs. DB, Frames and Sequencing are required.
type Config struct {
	DB         *store.DB
	Frames     framesv1.FramesServiceClient
	Sequencing sequencingv1.SequencingServiceClient
	Now        func() time.Time // default time.Now
	Logger     *zap.Logger
	Registry   prometheus.Registerer // nil counts nothing
}

// Service is the site log service.
type Service struct {
	sitelogv1.UnsafeSitelogServiceServer

	db         *store.DB
	frames     framesv1.FramesServiceClient
	sequencing sequencingv1.SequencingServiceClient
	now        func() time.Time
	log        *zap.Logger
	metrics    *metrics
	jobs       *recent[logOf, struct{}]
	plans      *recent[planKey, plan]

	closing  chan struct{}
	closeOne sync.Once
}

// New builds the service; it must be closed.
func New(c Config) (*Service, error) {
	if c.DB == nil || c.Frames == nil || c.Sequencing == nil {
		return nil, errors.New("sitelog: a store and the frames and sequencing services are required")
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Logger == nil {
		c.Logger = zap.NewNop()
	}
	m, err := newMetrics(c.Registry)
	if err != nil {
		return nil, err
	}
	return &Service{
		db: c.DB, frames: c.Frames, sequencing: c.Sequencing, now: c.Now, log: c.Logger.Named("sitelog"),
		metrics: m, closing: make(chan struct{}),
		jobs:  newRecent[logOf, struct{}](jobsKept, jobKept),
		plans: newRecent[planKey, plan](plansKept, planKept),
	}, nil
}

// Name is the service's name.
func (s *Service) Name() string { return "sitelog" }

// Register adds the RPCs to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { sitelogv1.RegisterSitelogServiceServer(r, s) }

// Migrate brings the tables up to date.
func (s *Service) Migrate(ctx context.Context) error {
	return s.db.Migrate(ctx, migrations)
}

// Close ends watches that are still open. The store is left open.
func (s *Service) Close() error {
	s.closeOne.Do(func() { close(s.closing) })
	return nil
}

// PostEntries takes a batch into the log of a job. What it answers as accepted is committed.
func (s *Service) PostEntries(ctx context.Context, req *sitelogv1.PostEntriesRequest) (*sitelogv1.PostEntriesResponse, error) {
	if n := len(req.GetEntries()); n == 0 || n > maxBatch {
		return nil, fault.Invalid("entries", "has %d entries; post 1 to %d at once", n, maxBatch)
	}
	caller, l, err := s.logFor(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	batch := make([]entry.Entry, len(req.GetEntries()))
	for i, e := range req.GetEntries() {
		batch[i] = parseEntry(e)
	}
	var outcomes []entry.Outcome
	err = s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		outcomes, err = s.admit(ctx, tx, l, caller.Person, batch)
		return err
	})
	if err != nil {
		return nil, err
	}
	s.metrics.count(outcomes)
	res := &sitelogv1.PostEntriesResponse{}
	for _, o := range outcomes {
		res.Outcomes = append(res.Outcomes, renderOutcome(o))
	}
	return res, nil
}

func (s *Service) admit(ctx context.Context, tx *store.Tx, l logOf, author string, batch []entry.Entry) ([]entry.Outcome, error) {
	last, err := lockLog(ctx, tx, l)
	if err != nil {
		return nil, err
	}
	known, err := findKnown(ctx, tx, l, entry.Mentioned(batch))
	if err != nil {
		return nil, err
	}
	outcomes, taken := entry.Admit(batch, known, author, s.now(), last)
	if len(taken) == 0 {
		return outcomes, nil
	}
	if err := appendEntries(ctx, tx, l, taken); err != nil {
		return nil, err
	}
	if err := tell(ctx, tx, l, taken); err != nil {
		return nil, err
	}
	return outcomes, tx.Notify(ctx, l.topic())
}

// tell puts one event for the whole batch into the company's feed: its subject is the range of positions, its payload
// the outcomes of what was accepted, by which a reader finds the entries.
func tell(ctx context.Context, tx *store.Tx, l logOf, taken []entry.Accepted) error {
	res := &sitelogv1.PostEntriesResponse{}
	for _, e := range taken {
		res.Outcomes = append(res.Outcomes, renderOutcome(entry.Outcome{ID: e.ID, Fate: entry.Taken, Position: e.Position}))
	}
	payload, err := proto.Marshal(res)
	if err != nil {
		return err
	}
	subject := fmt.Sprintf("%d-%d", taken[0].Position, taken[len(taken)-1].Position)
	return outbox.Add(ctx, tx, l.Company, entryAdded, l.Job, subject, payload)
}

// ListEntries lists entries of a job, newest first by when they happened.
func (s *Service) ListEntries(ctx context.Context, req *sitelogv1.ListEntriesRequest) (*sitelogv1.ListEntriesResponse, error) {
	f, err := parseFilter(req)
	if err != nil {
		return nil, err
	}
	size, err := page.Size(req.GetPageSize(), maxPage)
	if err != nil {
		return nil, err
	}
	_, l, err := s.logFor(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	bound := listArgs(l, req)
	cursor, err := page.Decode(entryList, bound, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	if f.Before, err = parseSpot(cursor); err != nil {
		return nil, err
	}
	var entries []entry.Accepted
	err = s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		entries, err = listEntries(ctx, tx, l, f, size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	res := &sitelogv1.ListEntriesResponse{}
	if len(entries) > size {
		entries = entries[:size]
		last := entries[size-1]
		res.NextPageToken = page.Encode(entryList, bound,
			strconv.FormatInt(store.Micros(last.OccurTime), 10), strconv.FormatInt(int64(last.Position), 10))
	}
	for _, e := range entries {
		res.Entries = append(res.Entries, renderEntry(e))
	}
	return res, nil
}

// GetProgress folds the log of a job into how far it is, by its newest frame.
func (s *Service) GetProgress(ctx context.Context, req *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) {
	_, l, err := parseLog(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	plan, from, err := s.planFor(ctx, l)
	if err != nil {
		return nil, err
	}
	var log progress.Log
	if err := s.readAll(ctx, l, &log); err != nil {
		return nil, err
	}
	res := renderProgress(log.Fold(plan))
	res.ComputedFrom = from
	return res, nil
}

// readAll reads a whole log, in parts, so that no reader holds a transaction open for long. Nothing in a log changes
// behind a position that was read.
func (s *Service) readAll(ctx context.Context, l logOf, log *progress.Log) error {
	for position := int32(0); ; {
		entries, err := s.after(ctx, l, position)
		if err != nil {
			return err
		}
		log.Add(entries...)
		if len(entries) < partSize {
			return nil
		}
		position = entries[len(entries)-1].Position
	}
}

// after reads the next part of a log behind a position.
func (s *Service) after(ctx context.Context, l logOf, position int32) (entries []entry.Accepted, err error) {
	err = s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		entries, err = entriesAfter(ctx, tx, l, position, partSize)
		return err
	})
	return entries, err
}
