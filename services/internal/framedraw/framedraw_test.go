package framedraw_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/framedraw"
	"github.com/pikepole/pikepole/services/internal/geom"
)

var update = flag.Bool("update", false, "write the golden drawings anew")

// sheets draws every view of a frame, and a move with a brace.
func sheets(t testing.TB, f *frame.Frame) map[string]*drawing.Sheet {
	t.Helper()
	b := framedraw.Block{Job: "Example job", Revision: 2, Latest: 3, Engine: "1"}
	out := map[string]*drawing.Sheet{}
	for _, view := range framedraw.Views(f) {
		kind, label, _ := strings.Cut(view, ":")
		ok := true
		switch kind {
		case "plan":
			out[view] = framedraw.Plan(f, b)
		case "axon":
			out[view] = framedraw.Axon(f, b)
		case "bent":
			out[view], ok = framedraw.Bent(f, label, b)
		case "wall":
			out[view], ok = framedraw.Wall(f, label, b)
		}
		if !ok {
			t.Errorf("view %s was not drawn", view)
		}
	}
	return out
}

func TestGolden(t *testing.T) {
	t.Parallel()
	f := box(t, 2)
	for view, sheet := range sheets(t, f) {
		// The digest is another package's business.
		got := bytes.ReplaceAll(drawing.SVG(sheet), []byte(f.Digest()[:8]), []byte("01234567"))
		path := filepath.Join("testdata", strings.ReplaceAll(view, ":", "-")+".svg")
		if *update {
			if err := os.WriteFile(path, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(string(want), string(got)); diff != "" {
			t.Errorf("%s differs from %s (-want +got); run with -update when that is meant:\n%s", view, path, diff)
		}
	}
}

// texts gives what is written on a sheet.
func texts(s *drawing.Sheet) []string {
	var out []string
	for _, i := range s.Items {
		if i.Shape == drawing.Label {
			out = append(out, i.Text)
		}
	}
	return out
}

func TestWellFormed(t *testing.T) {
	t.Parallel()
	for view, sheet := range sheets(t, box(t, 3)) {
		d := xml.NewDecoder(bytes.NewReader(drawing.SVG(sheet)))
		for {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s is not well formed: %v", view, err)
			}
		}
	}
}

func TestMove(t *testing.T) {
	t.Parallel()
	f := box(t, 2)
	var standing, moving, coming []int
	for i, s := range f.Timbers() {
		switch s.Assembly {
		case "bent-1":
			standing = append(standing, i)
		case "bent-2":
			moving = append(moving, i)
		default:
			coming = append(coming, i)
		}
	}
	braces := [][2]geom.Vec{{geom.V(100, 1500, 2000), geom.V(-2000, 1500, 0)}}
	sheet := framedraw.NewPicture(f).Move(standing, moving, coming, braces, "move", framedraw.Block{})
	marks := map[string]bool{}
	count := map[drawing.Class]int{}
	for _, i := range sheet.Items {
		count[i.Class]++
		if i.Class == drawing.CenterMark {
			marks[i.Text] = true
		}
	}
	if count[drawing.Brace] != 1 || count[drawing.Moving] != 9 || count[drawing.Coming] != 2 {
		t.Errorf("drew %d braces, %d moving faces, %d sticks to come; want 1, 9, 2", count[drawing.Brace], count[drawing.Moving], count[drawing.Coming])
	}
	if diff := cmp.Diff(map[string]bool{"P2A": true, "P2B": true, "T2": true}, marks); diff != "" {
		t.Errorf("marks (-want +got):\n%s", diff)
	}
}

// A job and its frame often have the same title; the last line of a sheet says it once.
func TestTheTitleIsSaidOnce(t *testing.T) {
	t.Parallel()
	f := box(t, 2)
	lastLine := func(job string) string {
		for _, item := range slices.Backward(framedraw.Plan(f, framedraw.Block{Job: job, Revision: 1}).Items) {
			if item.Class == drawing.TitleBlock && item.Text != "" {
				return item.Text
			}
		}
		return ""
	}
	if got := strings.Count(lastLine(f.Title()), f.Title()); got != 1 {
		t.Errorf("the title stands %d times", got)
	}
	if got := lastLine("Another job"); !strings.HasPrefix(got, "Another job · "+f.Title()) {
		t.Errorf("the last line is %q", got)
	}
}
