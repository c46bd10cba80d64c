package frames

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/page"
	"github.com/pikepole/pikepole/services/platform/replay"
	"github.com/pikepole/pikepole/services/platform/store"
)

// What the outbox says happened.
const (
	eventJobCreated  = "job.created"
	eventJobUpdated  = "job.updated"
	eventFrameIssued = "frame.issued"
)

// mostOnPage bounds the entries of a page.
const mostOnPage = 200

// CreateJob makes a job; its id, revision, times and etag are given here, whatever the caller says.
func (s *Service) CreateJob(ctx context.Context, req *framesv1.CreateJobRequest) (*framesv1.Job, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	var c checker
	if req.Job == nil {
		return nil, fault.Invalid("job", "is missing; give at least its title")
	}
	c.job("job", req.Job)
	if err := c.err(); err != nil {
		return nil, err
	}
	id := newID()
	out := &framesv1.Job{}
	err = s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		proto.Reset(out)
		return replay.Once(ctx, tx, caller, framesv1.FramesService_CreateJob_FullMethodName, req.RequestId, req, out, func() error {
			now := timestamppb.New(store.Time(store.Micros(s.now())))
			row := jobRow{company: caller.Company, version: 1, job: &framesv1.Job{
				Id: id, Title: req.Job.Title, Customer: req.Job.Customer, Stage: stageOf(req.Job), Crane: req.Job.Crane,
				Site: req.Job.Site, CreateTime: now, UpdateTime: now,
			}}
			row.job.Etag = etag(id, row.version)
			proto.Merge(out, row.job)
			if err := insertJob(ctx, tx, row); err != nil {
				return err
			}
			return announce(ctx, tx, caller.Company, eventJobCreated, id, id, out)
		})
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// stageOf takes a job of which nothing is said as being estimated.
func stageOf(j *framesv1.Job) framesv1.JobStage {
	if j.Stage == framesv1.JobStage_JOB_STAGE_UNSPECIFIED {
		return framesv1.JobStage_JOB_STAGE_ESTIMATING
	}
	return j.Stage
}

// newID makes the id of a job: 50 random bits in letters and digits that are not mistaken for one
// another.
func newID() string { return "job-" + strings.ToLower(rand.Text()[:10]) }

// etag names one state of one job.
func etag(id string, version int64) string {
	sum := sha256.Sum256([]byte(id + ":" + strconv.FormatInt(version, 10)))
	return hex.EncodeToString(sum[:8])
}

// announce puts what happened into the company's feed, in the transaction that made it happen.
func announce(ctx context.Context, tx *store.Tx, company, kind, job, subject string, what proto.Message) error {
	payload, err := proto.MarshalOptions{Deterministic: true}.Marshal(what)
	if err != nil {
		return err
	}
	return outbox.Add(ctx, tx, company, kind, job, subject, payload)
}

// GetJob gives one job.
func (s *Service) GetJob(ctx context.Context, req *framesv1.GetJobRequest) (*framesv1.Job, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	var row jobRow
	err = s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		row, err = getJob(ctx, tx, caller.Company, req.Job)
		return err
	})
	if err != nil {
		return nil, err
	}
	return row.job, nil
}

// ListJobs gives a page of the company's jobs, newest first.
func (s *Service) ListJobs(ctx context.Context, req *framesv1.ListJobsRequest) (*framesv1.ListJobsResponse, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	size, err := page.Size(req.PageSize, mostOnPage)
	if err != nil {
		return nil, err
	}
	cursor, err := page.Decode("jobs", caller.Company, req.PageToken)
	if err != nil {
		return nil, err
	}
	before, id := int64(math.MaxInt64), ""
	if len(cursor) > 0 {
		// The checksum of a token is no secret, so anybody can make one; text that is no id reaches no statement.
		if len(cursor) != 2 || !known(cursor[1]) {
			return nil, page.Refused()
		}
		if before, err = strconv.ParseInt(cursor[0], 10, 64); err != nil {
			return nil, page.Refused()
		}
		id = cursor[1]
	}
	var rows []jobRow
	err = s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		rows, err = listJobs(ctx, tx, caller.Company, before, id, size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &framesv1.ListJobsResponse{}
	if len(rows) > size {
		rows = rows[:size]
		last := rows[size-1].job
		out.NextPageToken = page.Encode("jobs", caller.Company, strconv.FormatInt(store.Micros(last.CreateTime.AsTime()), 10), last.Id)
	}
	for _, r := range rows {
		out.Jobs = append(out.Jobs, r.job)
	}
	return out, nil
}

// UpdateJob changes the fields of a job that the mask names, when nobody changed it since it was read.
func (s *Service) UpdateJob(ctx context.Context, req *framesv1.UpdateJobRequest) (*framesv1.Job, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	if req.Job == nil {
		return nil, fault.Invalid("job", "is missing; give its id and what to change")
	}
	paths, err := changes(req)
	if err != nil {
		return nil, err
	}
	var out *framesv1.Job
	err = s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		row, err := getJob(ctx, tx, caller.Company, req.Job.Id)
		if err != nil {
			return err
		}
		if req.Job.Etag != "" && req.Job.Etag != row.job.Etag {
			return fault.New(fault.Conflict, ReasonETag,
				"The job was changed by somebody else since it was read; read it again and repeat the change.")
		}
		for _, path := range paths {
			assign(row.job.ProtoReflect(), req.Job.ProtoReflect(), strings.Split(path, "."))
		}
		var c checker
		c.job("job", row.job)
		if err := c.err(); err != nil {
			return err
		}
		row.job.Stage = stageOf(row.job)
		s.touch(&row)
		if err := updateJob(ctx, tx, row); err != nil {
			return err
		}
		out = row.job
		return announce(ctx, tx, caller.Company, eventJobUpdated, out.Id, out.Id, out)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// touch gives a changed job its next version and time.
func (s *Service) touch(row *jobRow) {
	row.version++
	row.job.Etag = etag(row.job.Id, row.version)
	row.job.UpdateTime = timestamppb.New(store.Time(store.Micros(s.now())))
}

// changes gives the paths that an update changes. Without a mask it is every field that is set; fields
// that only the service sets are passed over, as AIP-203 has it.
func changes(req *framesv1.UpdateJobRequest) ([]string, error) {
	fields := []string{"title", "customer", "stage", "site", "crane"}
	given := req.UpdateMask.GetPaths()
	if len(given) == 0 {
		for _, f := range fields {
			if m := req.Job.ProtoReflect(); m.Has(m.Descriptor().Fields().ByName(protoreflect.Name(f))) {
				given = append(given, f)
			}
		}
	}
	var out []string
	for _, path := range given {
		first, rest, nested := strings.Cut(path, ".")
		switch {
		case path == "*":
			out = append(out, fields...)
		case first == "site" && nested && siteField(rest):
			out = append(out, path)
		case !nested && (first == "site" || first == "title" || first == "customer" || first == "stage" || first == "crane"):
			out = append(out, path)
		case first == "id" || first == "etag" || first == "latest_revision" || first == "create_time" || first == "update_time":
		default:
			return nil, fault.Invalid("update_mask", "%s is no field of a job that can be changed; use title, customer, stage, site, crane or a field of site", quote(path))
		}
	}
	if len(out) == 0 {
		return nil, fault.Invalid("update_mask", "names nothing that can be changed; use title, customer, stage, site or crane")
	}
	return out, nil
}

func siteField(name string) bool {
	return (&framesv1.Site{}).ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(name)) != nil
}

// assign copies the field at a path from one message to another of the same kind.
func assign(to, from protoreflect.Message, path []string) {
	field := to.Descriptor().Fields().ByName(protoreflect.Name(path[0]))
	switch {
	case len(path) > 1:
		assign(to.Mutable(field).Message(), from.Get(field).Message(), path[1:])
	case from.Has(field):
		to.Set(field, from.Get(field))
	default:
		to.Clear(field)
	}
}
