package frames

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/page"
	"github.com/pikepole/pikepole/services/platform/replay"
	"github.com/pikepole/pikepole/services/platform/store"
)

// mostNote bounds the note of a revision, in characters.
const mostNote = 1000

// IssueFrame makes a revision of a job's frame. Of two that name the same parent one is refused, and a
// frame with faults is refused with all of them.
func (s *Service) IssueFrame(ctx context.Context, req *framesv1.IssueFrameRequest) (*framesv1.FrameRevision, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	if err := checkIssue(req); err != nil {
		return nil, err
	}
	if err := s.exists(ctx, caller.Company, req.Job); err != nil {
		return nil, err
	}
	h, err := s.parse(ctx, req.Frame)
	if err != nil {
		return nil, refusal(err, "frame.", ReasonFaults)
	}
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(h.message)
	if err != nil {
		return nil, fmt.Errorf("write frame: %w", err)
	}
	out, fresh := &framesv1.FrameRevision{}, false
	err = s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		fresh = false
		proto.Reset(out)
		return replay.Once(ctx, tx, caller, framesv1.FramesService_IssueFrame_FullMethodName, req.RequestId, req, out, func() error {
			fresh = true
			return s.keep(ctx, tx, caller, req, h.frame.Digest(), body, out)
		})
	})
	if err != nil {
		return nil, err
	}
	if fresh {
		s.issued.Inc()
	}
	s.shelf.put(spot{caller.Company, req.Job, out.Revision}, h)
	out.Frame, out.Warnings = h.message, findings(h.frame.Warnings())
	return out, nil
}

// checkIssue checks what stands beside the frame.
func checkIssue(req *framesv1.IssueFrameRequest) error {
	var c checker
	if req.Frame == nil {
		c.wrong("frame", "is missing; give the whole frame")
	}
	if req.ParentRevision < 0 {
		c.wrong("parent_revision", "is %d; give the newest revision that you saw, 0 for the first", req.ParentRevision)
	}
	c.words("note", req.Note, 0, mostNote)
	return c.err()
}

// exists refuses early what could not be kept, before a large frame is parsed.
func (s *Service) exists(ctx context.Context, company, job string) error {
	return s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		_, err := getJob(ctx, tx, company, job)
		return err
	})
}

// keep stores a revision in the transaction in which its parent was seen to be the newest.
func (s *Service) keep(ctx context.Context, tx *store.Tx, caller identity.Caller, req *framesv1.IssueFrameRequest, digest string, body []byte, out *framesv1.FrameRevision) error {
	row, err := getJob(ctx, tx, caller.Company, req.Job)
	if err != nil {
		return err
	}
	newest := row.job.LatestRevision
	if req.ParentRevision != newest {
		return fault.New(fault.Conflict, ReasonParent,
			"The newest revision is %d, not %d; look at what changed in it, then issue again with parent_revision %d.", newest, req.ParentRevision, newest).
			WithMetadata("newest_revision", strconv.Itoa(int(newest)))
	}
	fr := frameRow{revision: newest + 1, digest: digest, author: caller.Person, note: req.Note, created: store.Micros(s.now())}
	if err := insertFrame(ctx, tx, caller.Company, req.Job, fr, body); err != nil {
		return err
	}
	row.job.LatestRevision = fr.revision
	s.touch(&row)
	if err := updateJob(ctx, tx, row); err != nil {
		return err
	}
	proto.Merge(out, fr.message(req.Job, fr.revision))
	return announce(ctx, tx, caller.Company, eventFrameIssued, req.Job, strconv.Itoa(int(fr.revision)), out)
}

// message is what stands beside a frame, as it is answered.
func (r frameRow) message(job string, latest int32) *framesv1.FrameRevision {
	return &framesv1.FrameRevision{
		Job: job, Revision: r.revision, Digest: r.digest, Author: r.author, Note: r.note,
		CreateTime: timestamppb.New(store.Time(r.created)), LatestRevision: latest,
	}
}

// parse builds a frame from what a caller sent. What is answered and kept afterwards is made from the
// parsed frame, so that nothing is kept that was not checked.
func (s *Service) parse(ctx context.Context, sent *framev1.Frame) (held, error) {
	bytes, err := proto.MarshalOptions{Deterministic: true}.Marshal(sent)
	if err != nil {
		return held{}, fmt.Errorf("read frame: %w", err)
	}
	return compute.Do(ctx, s.pool, s.sheets, compute.Key("parse", bytes), func(ctx context.Context) (held, error) {
		// Parsed frames are large; the shelf keeps them by their weight.
		compute.Uncached(ctx)
		f, err := frame.Parse(framepb.ToDraft(sent))
		if err != nil {
			return held{}, err
		}
		return held{frame: f, message: framepb.FromDraft(f.Draft())}, nil
	})
}

// refusal turns the faults of a frame or of the numbers for one into one fault that names all of them, by
// their paths in the request; other errors stay what they are.
func refusal(err error, prefix, reason string) error {
	var faults *frame.Faults
	if !errors.As(err, &faults) {
		return err
	}
	var c checker
	for _, f := range faults.Faults {
		message := f.Message
		if f.Piece != "" {
			message = f.Piece + ": " + message
		}
		c.wrong(prefix+f.Field, "%s", message)
	}
	out := fault.InvalidFields(overflow(c.fields, c.more))
	out.Reason = reason
	return out
}

// ListFrames gives a page of a job's revisions without their frames, newest first.
func (s *Service) ListFrames(ctx context.Context, req *framesv1.ListFramesRequest) (*framesv1.ListFramesResponse, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	size, err := page.Size(req.PageSize, mostOnPage)
	if err != nil {
		return nil, err
	}
	args := []string{caller.Company, req.Job}
	cursor, err := page.Decode("frames", args, req.PageToken)
	if err != nil {
		return nil, err
	}
	below := int64(math.MaxInt64)
	if len(cursor) > 0 {
		if below, err = strconv.ParseInt(cursor[0], 10, 64); err != nil || len(cursor) != 1 {
			return nil, page.Refused()
		}
	}
	var job jobRow
	var rows []frameRow
	err = s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		if job, err = getJob(ctx, tx, caller.Company, req.Job); err != nil {
			return err
		}
		rows, err = listFrames(ctx, tx, caller.Company, req.Job, below, size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &framesv1.ListFramesResponse{}
	if len(rows) > size {
		rows = rows[:size]
		out.NextPageToken = page.Encode("frames", args, strconv.Itoa(int(rows[size-1].revision)))
	}
	for _, r := range rows {
		out.Frames = append(out.Frames, r.message(req.Job, job.job.LatestRevision))
	}
	return out, nil
}

// GetFrame gives one revision with its frame.
func (s *Service) GetFrame(ctx context.Context, req *framesv1.GetFrameRequest) (*framesv1.FrameRevision, error) {
	l, err := s.load(ctx, req.Job, req.Revision)
	if err != nil {
		return nil, err
	}
	out := l.row.message(req.Job, l.job.LatestRevision)
	out.Frame, out.Warnings = l.message, findings(l.frame.Warnings())
	return out, nil
}

// loaded is a revision that was found, with its frame.
type loaded struct {
	held
	company string
	job     *framesv1.Job
	row     frameRow
}

// load finds a revision of a job of the caller's company and gives it with its parsed frame.
func (s *Service) load(ctx context.Context, job, revision string) (loaded, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return loaded{}, err
	}
	number, err := revisionNumber(revision)
	if err != nil {
		return loaded{}, err
	}
	out := loaded{company: caller.Company}
	var body []byte
	err = s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		row, err := getJob(ctx, tx, caller.Company, job)
		if err != nil {
			return err
		}
		out.job, body = row.job, nil
		wanted := number
		if wanted == latest {
			wanted = row.job.LatestRevision
		}
		out.row, err = getFrame(ctx, tx, caller.Company, job, wanted)
		if errors.Is(err, store.ErrNoRows) {
			return noRevision(row.job, revision)
		}
		if err != nil {
			return err
		}
		var ok bool
		if out.held, ok = s.shelf.get(spot{caller.Company, job, wanted}); ok {
			return nil
		}
		body, err = getBody(ctx, tx, caller.Company, job, wanted)
		return err
	})
	if err != nil || body == nil {
		return out, err
	}
	if out.held, err = s.reparse(ctx, out.row, body); err == nil {
		s.shelf.put(spot{caller.Company, job, out.row.revision}, out.held)
	}
	return out, err
}

// latest stands for the newest revision.
const latest = 0

// revisionNumber reads "latest" or a number from 1.
func revisionNumber(text string) (int32, error) {
	if text == "latest" {
		return latest, nil
	}
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil || n < 1 || strconv.FormatInt(n, 10) != text {
		f := fault.Invalid("revision", "%s is neither a number from 1 nor \"latest\"", quote(text))
		f.Reason = ReasonRevisionForm
		return 0, f
	}
	return int32(n), nil
}

func noRevision(job *framesv1.Job, wanted string) error {
	if job.LatestRevision == 0 {
		return fault.New(fault.NotFound, ReasonRevision, "No frame was issued for job %s yet; issue its first revision.", job.Id)
	}
	return fault.New(fault.NotFound, ReasonRevision, "Job %s has no revision %s; its newest is %d.", job.Id, wanted, job.LatestRevision)
}

// reparse builds a stored frame again and proves that it is the one that was issued.
func (s *Service) reparse(ctx context.Context, row frameRow, body []byte) (held, error) {
	return compute.Do(ctx, s.pool, s.sheets, compute.Key("reparse", row.digest, body), func(ctx context.Context) (held, error) {
		compute.Uncached(ctx)
		message := &framev1.Frame{}
		if err := proto.Unmarshal(body, message); err != nil {
			return held{}, damaged(err)
		}
		f, err := frame.Parse(framepb.ToDraft(message))
		if err != nil {
			return held{}, damaged(err)
		}
		if f.Digest() != row.digest {
			return held{}, damaged(fmt.Errorf("digest is %s, issued as %s", f.Digest(), row.digest))
		}
		return held{frame: f, message: message}, nil
	})
}

func damaged(cause error) error {
	return fault.New(fault.Internal, ReasonDamaged, "The stored frame is damaged; restore it from a backup.").Wrap(cause)
}
