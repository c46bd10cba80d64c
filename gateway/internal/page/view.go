package page

import (
	"bytes"
	"fmt"
	"html/template"
	"net/http"
	"path"
	"slices"
	"strconv"
	"time"

	"go.uber.org/zap"

	"github.com/pikepole/pikepole/gateway/internal/call"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
)

// digestShown is how many digits of a digest a sheet shows.
const digestShown = 8

// view is what every page shows: its head, its foot, and what is between.
type view struct {
	// Sheet is the name of the page.
	Sheet string
	// Caller is who looks at it; nil for someone who is not known.
	Caller *accessv1.Caller
	// CSRF is for the page's forms; empty for someone who came with a key.
	CSRF string
	// Job is the job that the page is of; nil for none.
	Job *framesv1.Job
	// Here is the last part of the page's path under the job; empty for the job itself.
	Here string
	// Address is the page's own, with its query.
	Address string
	// Live says whether the page has a script.
	Live bool
	// Block is the title block.
	Block block
	// Body is what the page's own template shows.
	Body any
}

// block is the title block in which every sheet ends.
type block struct {
	From     *sheetv1.ComputedFrom
	Computed time.Time
	Page     int
	Pages    int
	Cautions []string
}

// Digest is the beginning of the frame's digest.
func (b block) Digest() string {
	digest := b.From.GetDigest()
	return digest[:min(digestShown, len(digest))]
}

// Stale says whether the frame has a newer revision than the one that the sheet is of.
func (b block) Stale() bool {
	return b.From.GetLatestRevision() > b.From.GetRevision()
}

// Caution is the line of cautions that the title block of every sheet has; empty for none.
func (b block) Caution() string {
	if len(b.Cautions) == 0 {
		return ""
	}
	return b.Cautions[0]
}

// MoreCautions are those of this sheet. They stand once, before its title block, so that the block is
// short enough to end every printed page.
func (b block) MoreCautions() []string {
	return b.Cautions[min(1, len(b.Cautions)):]
}

// Query pins links to the revision that the sheet is of, when that is not the newest.
func (v *view) Query() string {
	if v.Block.Stale() {
		return "?revision=" + strconv.Itoa(int(v.Block.From.GetRevision()))
	}
	return ""
}

// Picture is the query of a picture: its revision, and what it was computed from, so that a browser
// may keep it.
func (v *view) Picture() string {
	from := v.Block.From
	return fmt.Sprintf("?revision=%d&from=%s-%s", from.GetRevision(), v.Block.Digest(), from.GetEngine())
}

// Zone is the time zone of the job's site.
func (v *view) Zone() *time.Location { return zone(v.Job) }

// ZoneName is the name of the site's time zone.
func (v *view) ZoneName() string { return v.Zone().String() }

// Ahead is how many minutes the clock at the site is ahead of universal time.
func (v *view) Ahead() int {
	_, seconds := v.Block.Computed.In(v.Zone()).Zone()
	return seconds / 60
}

// zone gives the time zone of a job's site; UTC when it has none or one that is not known here.
func zone(job *framesv1.Job) *time.Location {
	location, err := time.LoadLocation(job.GetSite().GetTimeZone())
	if err != nil {
		return time.UTC
	}
	return location
}

func (s *Site) view(r *http.Request, sheet string) *view {
	facts := call.From(r.Context())
	return &view{
		Sheet:   sheet,
		Address: localPath(r.URL.RequestURI()),
		Caller:  facts.Caller,
		CSRF:    facts.CSRF,
		Block:   block{Computed: s.config.Now(), Page: 1, Pages: 1},
	}
}

// sharedTemplates are the frame around all pages and the parts that several show.
func sharedTemplates() []string {
	return []string{"template/frame.html", "template/part.html", "template/stands.html"}
}

// parseTemplates makes one set of templates for each page: the frame around all, the parts that
// several show, and the page's own.
func parseTemplates() (map[string]*template.Template, error) {
	shared, err := template.New("").Funcs(functions()).ParseFS(templateFiles, sharedTemplates()...)
	if err != nil {
		return nil, fmt.Errorf("read the shared templates: %w", err)
	}
	entries, err := templateFiles.ReadDir("template")
	if err != nil {
		return nil, fmt.Errorf("list the templates: %w", err)
	}
	sets := map[string]*template.Template{}
	for _, entry := range entries {
		name := entry.Name()
		if slices.Contains(sharedTemplates(), "template/"+name) {
			continue
		}
		set, err := shared.Clone()
		if err != nil {
			return nil, fmt.Errorf("copy the shared templates: %w", err)
		}
		if set, err = set.ParseFS(templateFiles, "template/"+name); err != nil {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
		sets[name[:len(name)-len(path.Ext(name))]] = set
	}
	return sets, nil
}

// render answers with a page. It is written only when all of it could be made.
func (s *Site) render(w http.ResponseWriter, r *http.Request, status int, name string, v *view) {
	s.renderPart(w, r, status, name, "frame", v)
}

// renderPart answers with one template of a page.
func (s *Site) renderPart(w http.ResponseWriter, r *http.Request, status int, name, part string, v *view) {
	var out bytes.Buffer
	if err := s.templates[name].ExecuteTemplate(&out, part, v); err != nil {
		s.config.Logger.Error("page not made", zap.String("request_id", call.From(r.Context()).RequestID), zap.String("page", name), zap.Error(err))
		http.Error(w, "The page could not be made. It is in our log; try again.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	// A reader who has gone cannot be told.
	_, _ = w.Write(out.Bytes())
}

func retryText(seconds int) string { return strconv.Itoa(seconds) }
