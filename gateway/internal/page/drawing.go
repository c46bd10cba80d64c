package page

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"html"
	"html/template"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/pikepole/pikepole/gateway/internal/document"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

const (
	pictureSuffix = ".svg"
	viewPlan      = "plan"
	viewAxon      = "axon"
)

// drawingView is one drawing that there is of a frame.
type drawingView struct {
	// View is what the frames service calls it: bent:2.
	View string
	// Name is what people call it: Bent 2.
	Name string
}

// Path is the last part of the drawing's address.
func (d drawingView) Path() string { return url.PathEscape(d.View) }

// views lists the drawings of a frame: the plan, every bent and wall in which a post stands, and
// the frame from a corner.
func views(layout *framesv1.Layout) []drawingView {
	all := []drawingView{{viewAxon, "Whole frame"}, {viewPlan, "Plan"}}
	var bents, walls []drawingView
	for _, post := range layout.GetPosts() {
		bents = withView(bents, "bent", "Bent", post.GetBentLine())
		walls = withView(walls, "wall", "Wall", post.GetWallLine())
	}
	return slices.Concat(all, bents, walls)
}

func withView(all []drawingView, kind, name, label string) []drawingView {
	v := drawingView{View: kind + ":" + label, Name: name + " " + label}
	if label == "" || slices.Contains(all, v) {
		return all
	}
	return append(all, v)
}

// drawn is a drawing that stands inside a page.
type drawn struct {
	// SVG is the drawing. It comes from the frames service, which escapes every text in it, and the
	// page's policy lets no script run.
	SVG    template.HTML
	styles []string
}

// inline makes a drawing part of a page.
func inline(svg []byte) drawn {
	text := string(svg)
	if at := strings.Index(text, "<svg"); at > 0 {
		text = text[at:]
	}
	d := drawn{SVG: template.HTML(text)} // #nosec G203 -- see SVG.
	for _, m := range regexp.MustCompile(`(?s)<style[^>]*>(.*?)</style>`).FindAllStringSubmatch(text, -1) {
		// A browser hashes the text after it has read it as markup, as it does with a style inside
		// an SVG that stands in a page, so entities are resolved first.
		sum := sha256.Sum256([]byte(html.UnescapeString(m[1])))
		d.styles = append(d.styles, "'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
	}
	return d
}

// allowStyles lets the page show the styles of its drawings, and no others, besides the style sheet.
func allowStyles(w http.ResponseWriter, hashes []string) {
	if len(hashes) == 0 {
		return
	}
	policy := w.Header().Get("Content-Security-Policy")
	w.Header().Set("Content-Security-Policy", policy+"; style-src 'self' "+strings.Join(hashes, " "))
}

// unescapeMark gives the mark of a link in a drawing.
func unescapeMark(text string) string {
	text = html.UnescapeString(text)
	if plain, err := url.PathUnescape(text); err == nil {
		return plain
	}
	return text
}

// drawing answers with a drawing: as a picture when its name ends in .svg, else as a page with the
// sticks that are in it.
func (s *Site) drawing(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("view")
	if view, isPicture := strings.CutSuffix(name, pictureSuffix); isPicture {
		s.picture(w, r, func(ctx context.Context, revision string) (*sheetv1.Document, error) {
			return s.config.Frames.DrawFrame(ctx, &framesv1.DrawFrameRequest{Job: r.PathValue("job"), Revision: revision, View: view})
		})
		return
	}
	v, ok := s.sheetView(w, r, "Drawing", "drawings/"+url.PathEscape(name))
	if !ok {
		return
	}
	body := &drawingPage{View: name}
	var drawErr error
	each(r.Context(),
		load(&body.Layout, s.loadLayout(v.Job.GetId(), v.revision())),
		load(&body.Takeoff, s.loadTakeoff(v.Job.GetId(), v.revision())),
		func(ctx context.Context) {
			var doc *sheetv1.Document
			doc, drawErr = s.config.Frames.DrawFrame(ctx, &framesv1.DrawFrameRequest{Job: v.Job.GetId(), Revision: v.revision(), View: name})
			body.Drawing, body.marks = inline(doc.GetContent()), linked(doc.GetContent())
		},
	)
	if drawErr != nil {
		s.fail(w, r, drawErr)
		return
	}
	v.computedFrom(body.Takeoff.Value, body.Layout.Value)
	v.Sheet = body.Name()
	v.Body = body
	allowStyles(w, body.Drawing.styles)
	s.render(w, r, http.StatusOK, "drawing", v)
}

// drawingPage is one drawing with the sticks that are in it.
type drawingPage struct {
	View    string
	Layout  part[*framesv1.Layout]
	Takeoff part[*takeoffv1.Takeoff]
	Drawing drawn
	marks   map[string]bool
}

// Views are the drawings that there are.
func (p *drawingPage) Views() []drawingView { return views(p.Layout.Value) }

// Name is what people call the drawing.
func (p *drawingPage) Name() string {
	for _, v := range p.Views() {
		if v.View == p.View {
			return v.Name
		}
	}
	return p.View
}

// Sticks are those that the drawing links to.
func (p *drawingPage) Sticks() []*takeoffv1.Stick {
	var some []*takeoffv1.Stick
	for _, stick := range p.Takeoff.Value.GetSticks() {
		if p.marks[stick.GetMark()] {
			some = append(some, stick)
		}
	}
	return some
}

// movePicture answers with the picture of a move.
func (s *Site) movePicture(w http.ResponseWriter, r *http.Request) {
	number, isPicture := strings.CutSuffix(r.PathValue("move"), pictureSuffix)
	n, err := strconv.ParseInt(number, 10, 32)
	if !isPicture || err != nil || n < 1 {
		s.fail(w, r, fault.New(fault.NotFound, "MOVE_NOT_FOUND", "A picture of a move is named by its number, as in 3.svg."))
		return
	}
	s.picture(w, r, func(ctx context.Context, revision string) (*sheetv1.Document, error) {
		return s.config.Sequencing.DrawMove(ctx, &sequencingv1.DrawMoveRequest{Job: r.PathValue("job"), Revision: revision, Move: int32(n)})
	})
}

// picture answers with a drawing. One that is named with what it was computed from may be kept.
func (s *Site) picture(w http.ResponseWriter, r *http.Request, draw func(ctx context.Context, revision string) (*sheetv1.Document, error)) {
	query := r.URL.Query()
	revision := query.Get("revision")
	if revision == "" {
		revision = "latest"
	}
	doc, err := draw(r.Context(), revision)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	if query.Get("from") != "" {
		w.Header().Set("Cache-Control", "private, max-age=86400, immutable")
	}
	document.Write(w, r, doc)
}
