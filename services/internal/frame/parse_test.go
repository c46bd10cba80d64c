package frame_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

func faultsOf(t testing.TB, d frame.Draft) []frame.Finding {
	t.Helper()
	_, err := frame.Parse(d)
	if err == nil {
		return nil
	}
	var faults *frame.Faults
	if !errors.As(err, &faults) {
		t.Fatalf("not faults: %v", err)
	}
	return faults.Faults
}

func TestParseNamesEveryFault(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for name, test := range map[string]struct {
		change       func(*frame.Draft)
		field, piece string
	}{
		"no timbers":         {func(d *frame.Draft) { *d = frame.Draft{} }, "timbers", ""},
		"title too long":     {func(d *frame.Draft) { d.Title = strings.Repeat("a", 201) }, "title", ""},
		"width not a number": {func(d *frame.Draft) { d.Timbers[3].WidthMM = nan }, "timbers[3].width_mm", "B-A"},
		"negative depth":     {func(d *frame.Draft) { d.Timbers[3].DepthMM = -150 }, "timbers[3].depth_mm", "B-A"},
		"huge depth":         {func(d *frame.Draft) { d.Timbers[3].DepthMM = 1e9 }, "timbers[3].depth_mm", "B-A"},
		"nominal of nothing": {func(d *frame.Draft) { d.Timbers[3].NominalDepthIn = ptr(0.0) }, "timbers[3].nominal_depth_in", "B-A"},
		"infinite start":     {func(d *frame.Draft) { d.Timbers[3].Start.Y = inf }, "timbers[3].start.y_mm", "B-A"},
		"missing end":        {func(d *frame.Draft) { d.Timbers[3].End = geom.V(nan, nan, nan) }, "timbers[3].end", "B-A"},
		"no length":          {func(d *frame.Draft) { d.Timbers[3].End = d.Timbers[3].Start }, "timbers[3].end", "B-A"},
		"too long":           {func(d *frame.Draft) { d.Timbers[3].End = geom.V(0, 60000, 0) }, "timbers[3].end", "B-A"},
		"beyond a kilometre": {func(d *frame.Draft) { d.Timbers[3].End.X = 1.1e6 }, "timbers[3].end.x_mm", "B-A"},
		"roll":               {func(d *frame.Draft) { d.Timbers[3].RollDeg = inf }, "timbers[3].roll_deg", "B-A"},
		"one reference face": {func(d *frame.Draft) { d.Timbers[3].ReferenceFaces = []frame.Face{frame.PlusDepth} }, "timbers[3].reference_faces", "B-A"},
		"opposite faces":     {func(d *frame.Draft) { d.Timbers[3].ReferenceFaces = []frame.Face{frame.PlusDepth, frame.MinusDepth} }, "timbers[3].reference_faces", "B-A"},
		"species":            {func(d *frame.Draft) { d.Timbers[3].Species = "cheese" }, "timbers[3].species", "B-A"},
		"grade":              {func(d *frame.Draft) { d.Timbers[3].Grade = "a\nb" }, "timbers[3].grade", "B-A"},
		"finish":             {func(d *frame.Draft) { d.Timbers[3].Finish = 9 }, "timbers[3].finish", "B-A"},
		"bone dry":           {func(d *frame.Draft) { d.Timbers[3].MoisturePercent = 0 }, "timbers[3].moisture_percent", "B-A"},
		"moisture unknown":   {func(d *frame.Draft) { d.Timbers[3].MoisturePercent = nan }, "timbers[3].moisture_percent", "B-A"},
		"assembly":           {func(d *frame.Draft) { d.Timbers[3].Assembly = "bent-9" }, "timbers[3].assembly", "B-A"},
		"double mark":        {func(d *frame.Draft) { d.Timbers[3].Mark = "P-A" }, "timbers[3].mark", "P-A"},
		"empty mark":         {func(d *frame.Draft) { d.Timbers[3].Mark = "" }, "timbers[3].mark", ""},
		"long mark":          {func(d *frame.Draft) { d.Timbers[3].Mark = strings.Repeat("B", 25) }, "timbers[3].mark", ""},
		"mark with a bell":   {func(d *frame.Draft) { d.Timbers[3].Mark = "B\a" }, "timbers[3].mark", ""},
		"mark, broken UTF-8": {func(d *frame.Draft) { d.Timbers[3].Mark = "B\xff" }, "timbers[3].mark", ""},
		"mark with a slash":  {func(d *frame.Draft) { d.Timbers[3].Mark = "B/A" }, "timbers[3].mark", "B/A"},
		"double id":          {func(d *frame.Draft) { d.Joints[5].ID = "top-A" }, "joints[5].id", "top-A"},
		"joint listed again": {func(d *frame.Draft) {
			again := d.Joints[5]
			again.ID = "once more"
			d.Joints = append(d.Joints, again)
		}, "joints[6].entering", "once more"},
		"joint kind":              {func(d *frame.Draft) { d.Joints[5].Kind = 0 }, "joints[5].kind", "brace-beam"},
		"entering":                {func(d *frame.Draft) { d.Joints[5].Entering = "X" }, "joints[5].entering", "brace-beam"},
		"entering end":            {func(d *frame.Draft) { d.Joints[5].EnteringEnd = 0 }, "joints[5].entering_end", "brace-beam"},
		"tenon along":             {func(d *frame.Draft) { d.Joints[5].EnteringEnd = frame.Along }, "joints[5].entering_end", "brace-beam"},
		"receiving":               {func(d *frame.Draft) { d.Joints[5].Receiving = "" }, "joints[5].receiving", "brace-beam"},
		"enters itself":           {func(d *frame.Draft) { d.Joints[5].Receiving = "B-A" }, "joints[5].receiving", "brace-beam"},
		"base receives":           {func(d *frame.Draft) { d.Joints[0].Receiving = "T" }, "joints[0].receiving", "base-A"},
		"scarf table":             {func(d *frame.Draft) { d.Joints[5].Scarf = joinery.ScarfHalved }, "joints[5].scarf_table", "brace-beam"},
		"no tenon":                {func(d *frame.Draft) { d.Joints[5].Tenon = nil }, "joints[5].tenon", "brace-beam"},
		"tenon on a bearing base": {func(d *frame.Draft) { d.Joints[0].Tenon = &joinery.Tenon{LengthMM: 9, ThicknessMM: 9, WidthMM: 9} }, "joints[0].tenon", "base-A"},
		"tenon length":            {func(d *frame.Draft) { d.Joints[5].Tenon.LengthMM = nan }, "joints[5].tenon.length_mm", "brace-beam"},
		"deep housing":            {func(d *frame.Draft) { d.Joints[5].Tenon.HousingDepthMM = 80 }, "joints[5].tenon.housing_depth_mm", "brace-beam"},
		"housed, no housing":      {func(d *frame.Draft) { d.Joints[5].Kind = joinery.HousedMortiseAndTenon }, "joints[5].tenon.housing_depth_mm", "brace-beam"},
		"tenon too thick":         {func(d *frame.Draft) { d.Joints[5].Tenon.ThicknessMM = 120 }, "joints[5].tenon.thickness_mm", "brace-beam"},
		"tenon too long":          {func(d *frame.Draft) { d.Joints[2].Tenon.LengthMM = 299 }, "joints[2].tenon.length_mm", "top-A"},
		"no pegs":                 {func(d *frame.Draft) { d.Joints[2].Pegs.Count = 0 }, "joints[2].pegs.count", "top-A"},
		"peg wood":                {func(d *frame.Draft) { d.Joints[2].Pegs.Wood = "" }, "joints[2].pegs.wood", "top-A"},
		"peg face":                {func(d *frame.Draft) { d.Joints[2].Pegs.DrivenFrom = 9 }, "joints[2].pegs.driven_from", "top-A"},
		"peg hole":                {func(d *frame.Draft) { d.Joints[2].Pegs.Hole = 9 }, "joints[2].pegs.hole", "top-A"},
		"peg beyond the tip":      {func(d *frame.Draft) { d.Joints[2].Pegs.FromShoulderMM = 120 }, "joints[2].pegs.from_shoulder_mm", "top-A"},
		"pegs on one another":     {func(d *frame.Draft) { d.Joints[2].Pegs.SpacingMM = 0 }, "joints[2].pegs.spacing_mm", "top-A"},
		"draw-bore that cannot draw": {
			func(d *frame.Draft) { d.Joints[2].Pegs.Hole = joinery.HoleBoredThroughAfterAssembly },
			"joints[2].pegs.draw_bore_offset_mm", "top-A",
		},
		"joint off the end":  {func(d *frame.Draft) { d.Joints[5].At.Y = 926 }, "joints[5].at", "brace-beam"},
		"joint off the beam": {func(d *frame.Draft) { d.Timbers[3].End, d.Joints[5].At = geom.V(0, 870, 2970), geom.V(0, 870, 2970) }, "joints[5].at", "brace-beam"},
		"long unknown name":  {func(d *frame.Draft) { d.Joints[5].Receiving = strings.Repeat("x", 99) }, "joints[5].receiving", "brace-beam"},
		"lap off the brace": {func(d *frame.Draft) {
			d.Joints = append(d.Joints, manyLaps(1)...)
			d.Joints[6].At = geom.V(0, 0, 2600)
		}, "joints[6].at", "lap-0"},
		"lap let in": {func(d *frame.Draft) {
			d.Joints = append(d.Joints, manyLaps(1)...)
			d.Joints[6].Tenon.HousingDepthMM = 5
		}, "joints[6].tenon.housing_depth_mm", "lap-0"},
		"adrift":              {func(d *frame.Draft) { d.Joints = d.Joints[:4] }, "timbers[3]", "B-A"},
		"nothing on the deck": {func(d *frame.Draft) { d.Joints = d.Joints[2:] }, "timbers[0]", "P-A"},
		"assembly kind":       {func(d *frame.Draft) { d.Assemblies[0].Kind = 0 }, "assemblies[0].kind", "bent-1"},
		"assembly line":       {func(d *frame.Draft) { d.Assemblies[0].Line = "A" }, "assemblies[0].line", "bent-1"},
		"double assembly":     {func(d *frame.Draft) { d.Assemblies = append(d.Assemblies, d.Assemblies[0]) }, "assemblies[1].id", "bent-1"},
		"empty assembly": {func(d *frame.Draft) {
			d.Assemblies = append(d.Assemblies, frame.Assembly{ID: "b2", Kind: 1, Line: "1"})
		}, "assemblies[1].id", "b2"},
		"double bent line":          {func(d *frame.Draft) { d.Grid.BentLines = append(d.Grid.BentLines, d.Grid.BentLines[0]) }, "grid.bent_lines[1].label", "1"},
		"heading":                   {func(d *frame.Draft) { d.Grid.WallLines[1].HeadingDeg = nan }, "grid.wall_lines[1].heading_deg", "B"},
		"level":                     {func(d *frame.Draft) { d.Grid.Levels[0].ZMM = inf }, "grid.levels[0].z_mm", "beam top"},
		"hardware kind":             {func(d *frame.Draft) { d.Hardware[0].Kind = 0 }, "hardware[0].kind", "shoe-A"},
		"hardware count":            {func(d *frame.Draft) { d.Hardware[0].Count = 0 }, "hardware[0].count", "shoe-A"},
		"hardware mass":             {func(d *frame.Draft) { d.Hardware[0].MassEachKG = -1 }, "hardware[0].mass_each_kg", "shoe-A"},
		"hardware of no known mass": {func(d *frame.Draft) { d.Hardware[0].MassEachKG = 0 }, "hardware[0].mass_each_kg", "shoe-A"},
		"hardware timber":           {func(d *frame.Draft) { d.Hardware[0].Timber = "X" }, "hardware[0].timber", "shoe-A"},
		"double hardware":           {func(d *frame.Draft) { d.Hardware[1].ID = "shoe-A" }, "hardware[1].id", "shoe-A"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := portal()
			test.change(&d)
			found := faultsOf(t, d)
			for _, f := range found {
				if f.Field == test.field && f.Piece == test.piece {
					if !strings.HasSuffix(f.Message, ".") {
						t.Errorf("not a sentence: %q", f.Message)
					}
					return
				}
			}
			t.Errorf("no fault of %s (%s) in %v", test.field, test.piece, found)
		})
	}
}

func manyLaps(n int) []frame.Joint {
	var laps []frame.Joint
	for i := range n {
		laps = append(laps, frame.Joint{
			ID: fmt.Sprintf("lap-%d", i), Kind: joinery.Lap, Entering: "B-A", EnteringEnd: frame.Along, Receiving: "P-A",
			At:    geom.V(0, 100, 2200+float64(i)),
			Tenon: &joinery.Tenon{LengthMM: 100, ThicknessMM: 100, WidthMM: 200},
		})
	}
	return laps
}

// Joints that take more wood than a stick has are refused rather than weighed with less than nothing.
func TestParseRefusesMoreMortiseThanWood(t *testing.T) {
	t.Parallel()
	d := portal()
	d.Joints = append(d.Joints, manyLaps(70)...)
	for _, f := range faultsOf(t, d) {
		if f.Field == "timbers[0]" && f.Piece == "P-A" && strings.Contains(f.Message, "more wood") {
			return
		}
	}
	t.Error("not refused")
}

func TestParseFindsAllFaultsAtOnce(t *testing.T) {
	t.Parallel()
	d := portal()
	d.Timbers[0].WidthMM, d.Timbers[1].Species, d.Timbers[2].MoisturePercent = -1, "cheese", 400
	d.Joints[4].Pegs = &joinery.Pegs{}
	d.Hardware[0].Count = -3
	found := faultsOf(t, d)
	for _, want := range []string{
		"timbers[0].width_mm", "timbers[1].species", "timbers[2].moisture_percent", "joints[4].pegs.count", "joints[4].pegs.diameter_mm",
		"joints[4].pegs.wood", "hardware[0].count",
	} {
		ok := false
		for _, f := range found {
			ok = ok || f.Field == want
		}
		if !ok {
			t.Errorf("no fault of %s in %v", want, found)
		}
	}
}

func TestParseRefusesTooMuch(t *testing.T) {
	t.Parallel()
	d := frame.Draft{Timbers: make([]frame.Timber, 50_000)}
	if found := faultsOf(t, d); len(found) != 1 || found[0].Field != "timbers" || !strings.Contains(found[0].Message, "50000") {
		t.Error(found)
	}
	d = portal()
	d.Joints = make([]frame.Joint, frame.MaxJoints+1)
	if found := faultsOf(t, d); len(found) != 1 || found[0].Field != "joints" {
		t.Error(found)
	}
	d = frame.Draft{Timbers: make([]frame.Timber, frame.MaxTimbers)}
	if found := faultsOf(t, d); len(found) != 2001 || !strings.Contains(found[2000].Message, "more faults") {
		t.Error("a wholly empty frame lists its first faults and says how many more there are", len(found))
	}
}

func TestWarnings(t *testing.T) {
	t.Parallel()
	if w := frametest.Parse(t, portal()).Warnings(); len(w) != 1 || w[0].Field != "joints[2].pegs.from_shoulder_mm" || w[0].Piece != "top-A" ||
		!strings.Contains(w[0].Message, "from memory") {
		t.Errorf("pegs 70 mm from the end of a white oak tenon, 3 diameters are 75: %v", w)
	}
	for name, test := range map[string]struct {
		change       func(*frame.Draft)
		field, piece string
	}{
		"pegs near the face": {func(d *frame.Draft) { d.Joints[2].Pegs.FromShoulderMM = 30 }, "joints[2].pegs.from_shoulder_mm", "top-A"},
		"pegs near":          {func(d *frame.Draft) { d.Joints[2].Pegs.SpacingMM = 50 }, "joints[2].pegs.spacing_mm", "top-A"},
		"shorter than deep": {func(d *frame.Draft) {
			d.Timbers[3].DepthMM = 1140
			d.Joints[4].Tenon.WidthMM, d.Joints[5].Tenon.WidthMM = 60, 60
		}, "timbers[3].end", "B-A"},
		"out of plane": {func(d *frame.Draft) {
			d.Timbers[3].Start.X, d.Timbers[3].End.X = 76, 76
			d.Joints[4].At.X, d.Joints[5].At.X = 76, 76
			d.Joints[4].Tenon.ThicknessMM, d.Joints[5].Tenon.ThicknessMM = 30, 30
		}, "assemblies[0]", "bent-1"},
		"same space": {func(d *frame.Draft) {
			loose := d.Timbers[3]
			loose.Mark, loose.Assembly = "G", ""
			loose.Start, loose.End = geom.V(100, 0, 1000), geom.V(-2000, 0, 1000) // through P-A
			d.Timbers = append(d.Timbers, loose)
			d.Joints = append(d.Joints, frame.Joint{ID: "g", Kind: joinery.PostBaseBearing, Entering: "G", EnteringEnd: frame.AtStart, At: loose.Start})
		}, "timbers[4]", "G"},
		"through the timber that it enters": {func(d *frame.Draft) {
			loose := d.Timbers[3]
			loose.Mark, loose.Assembly = "G", ""
			loose.Start, loose.End = geom.V(-2000, 0, 1000), geom.V(100, 0, 1000) // to the far face of P-A
			d.Timbers = append(d.Timbers, loose)
			d.Joints = append(d.Joints, frame.Joint{
				ID: "g", Kind: joinery.BlindMortiseAndTenon, Entering: "G", EnteringEnd: frame.AtEnd, Receiving: "P-A", At: loose.End,
				Tenon: &joinery.Tenon{LengthMM: 80, ThicknessMM: 40, WidthMM: 60},
			})
		}, "timbers[4]", "G"},
	} {
		d := portal()
		test.change(&d)
		found := false
		f, err := frame.Parse(d)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for _, w := range f.Warnings() {
			found = found || w.Field == test.field && w.Piece == test.piece
		}
		if !found {
			t.Errorf("%s: no warning of %s in %v", name, test.field, f.Warnings())
		}
	}
}

// A heap of sticks all in one place must not take time in proportion to the square of their number.
func TestOverlapsOfAHeapAreCutShort(t *testing.T) {
	t.Parallel()
	var d frame.Draft
	for i := range 6000 {
		post := portal().Timbers[0]
		post.Mark, post.Assembly = fmt.Sprintf("P-%d", i), ""
		d.Timbers = append(d.Timbers, post)
		d.Joints = append(d.Joints, frame.Joint{ID: fmt.Sprint(i), Kind: joinery.PostBaseBearing, Entering: post.Mark, EnteringEnd: frame.AtStart})
	}
	w := frametest.Parse(t, d).Warnings()
	if len(w) != 101 || !strings.Contains(w[100].Message, "than are listed") {
		t.Errorf("%d warnings", len(w))
	}
}
