package page

import (
	"context"
	"net/http"
	"regexp"
	"slices"
	"strconv"

	"github.com/pikepole/pikepole/gateway/internal/problem"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// part is one part of a page: what a service answered, or why it did not.
type part[T any] struct {
	Value   T
	Refusal string
	// Again says that the same may well be answered in a while.
	Again bool
}

// load fills a part; a refusal leaves the rest of the page as it is.
func load[T any](to *part[T], get func(context.Context) (T, error)) func(context.Context) {
	return func(ctx context.Context) {
		value, err := get(ctx)
		if err != nil {
			d := problem.FromError(err, false)
			to.Refusal, to.Again = d.Detail, tryAgain(d.Status)
			return
		}
		to.Value = value
	}
}

// tryAgain says whether a status is of trouble that passes.
func tryAgain(status int) bool {
	switch status {
	case http.StatusTooManyRequests, http.StatusServiceUnavailable, http.StatusGatewayTimeout:
		return true
	}
	return false
}

// caution stands on every sheet.
const caution = "An aid to a competent person. Local codes, the crane's own chart, the sling's tag and licensed practice come first."

// cautions puts the caution of every sheet before those of this one, each once.
func cautions(more ...[]string) []string {
	all := []string{caution}
	for _, some := range more {
		for _, one := range some {
			if !slices.Contains(all, one) {
				all = append(all, one)
			}
		}
	}
	return all
}

// getJob reads the job that a page is of.
func (s *Site) getJob(r *http.Request) (*framesv1.Job, error) {
	return s.config.Frames.GetJob(r.Context(), &framesv1.GetJobRequest{Job: r.PathValue("job")})
}

// jobView begins a page of a job; when it cannot, it has answered.
func (s *Site) jobView(w http.ResponseWriter, r *http.Request, sheet, here string) (*view, bool) {
	job, err := s.getJob(r)
	if err != nil {
		s.fail(w, r, err)
		return nil, false
	}
	revision, err := revisionOf(r, job)
	if err != nil {
		s.fail(w, r, err)
		return nil, false
	}
	v := s.view(r, sheet)
	v.Job, v.Here = job, here
	v.Block.Cautions = cautions()
	v.Block.From = &sheetv1.ComputedFrom{Job: job.GetId(), Revision: revision, LatestRevision: job.GetLatestRevision()}
	return v, true
}

// sheetView begins a page that shows a frame; a job without one gets a page that says so.
func (s *Site) sheetView(w http.ResponseWriter, r *http.Request, sheet, here string) (*view, bool) {
	v, ok := s.jobView(w, r, sheet, here)
	if ok && v.Job.GetLatestRevision() == 0 {
		s.render(w, r, http.StatusOK, "noframe", v)
		return nil, false
	}
	return v, ok
}

// revisionOf gives the revision that is asked for; the newest when none is. A page holds on to one
// revision, so that all its parts are of the same frame even when another is issued meanwhile.
func revisionOf(r *http.Request, job *framesv1.Job) (int32, error) {
	text := r.URL.Query().Get("revision")
	if text == "" || text == "latest" {
		return job.GetLatestRevision(), nil
	}
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil || n < 1 || int32(n) > job.GetLatestRevision() {
		return 0, fault.New(fault.NotFound, "REVISION_NOT_FOUND", "The frame has no revision %q; the newest is %d. Open the job to see that one.", text, job.GetLatestRevision())
	}
	return int32(n), nil
}

// revision is the revision of the page as calls name it.
func (v *view) revision() string {
	return strconv.Itoa(int(v.Block.From.GetRevision()))
}

// computedFrom takes over from what the first part that came was computed.
func (v *view) computedFrom(parts ...interface {
	GetComputedFrom() *sheetv1.ComputedFrom
},
) {
	for _, p := range parts {
		if from := p.GetComputedFrom(); from.GetDigest() != "" {
			v.Block.From = from
			return
		}
	}
}

// paged cuts a list into pages and sets the page in the title block.
func paged[T any](v *view, r *http.Request, all []T, size int) []T {
	v.Block.Pages = max(1, (len(all)+size-1)/size)
	n, err := strconv.Atoi(r.URL.Query().Get("page"))
	if err != nil {
		n = 1
	}
	v.Block.Page = min(max(n, 1), v.Block.Pages)
	from := (v.Block.Page - 1) * size
	return all[from:min(from+size, len(all))]
}

// Before is the number of the page before this one; 0 when there is none.
func (b block) Before() int { return b.Page - 1 }

// After is the number of the page after this one; 0 when there is none.
func (b block) After() int {
	if b.Page >= b.Pages {
		return 0
	}
	return b.Page + 1
}

// rest is how many things of a list a page leaves out.
func rest(shown, all int) int { return max(0, all-shown) }

// linked finds the marks of the timbers in a drawing, which are its links.
func linked(svg []byte) map[string]bool {
	marks := map[string]bool{}
	for _, m := range regexp.MustCompile(`<a href="#([^"]+)">`).FindAllSubmatch(svg, -1) {
		marks[unescapeMark(string(m[1]))] = true
	}
	return marks
}
