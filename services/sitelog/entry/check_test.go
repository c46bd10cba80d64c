package entry_test

import (
	"strings"
	"testing"
	"time"

	"github.com/pikepole/pikepole/services/sitelog/entry"
)

var now = time.Date(2026, 5, 4, 9, 30, 0, 0, time.UTC)

func note(id string) entry.Entry {
	return entry.Entry{ID: id, Kind: entry.Note, OccurTime: now, Note: "Deck swept."}
}

func with(e entry.Entry, change func(*entry.Entry)) entry.Entry {
	change(&e)
	return e
}

func of(kind entry.Kind, change func(*entry.Entry)) entry.Entry {
	return with(entry.Entry{ID: "e1", Kind: kind, OccurTime: now}, change)
}

func TestCheckAccepts(t *testing.T) {
	t.Parallel()
	for name, e := range map[string]entry.Entry{
		"note":                  note("A-z_09"),
		"longest id":            note(strings.Repeat("x", 64)),
		"five minutes ahead":    with(note("e1"), func(e *entry.Entry) { e.OccurTime = now.Add(5 * time.Minute) }),
		"long ago":              with(note("e1"), func(e *entry.Entry) { e.OccurTime = now.AddDate(-3, 0, 0) }),
		"note of 2,000 letters": with(note("e1"), func(e *entry.Entry) { e.Note = strings.Repeat("ö", 2000) }),
		"note of several lines": with(note("e1"), func(e *entry.Entry) { e.Note = "one\r\ntwo\tthree" }),
		"pieces":                of(entry.PiecesArrived, func(e *entry.Entry) { e.Marks = []string{"P1", strings.Repeat("é", 24)} }),
		"200 pieces":            of(entry.PiecesPlaced, func(e *entry.Entry) { e.Marks = strings.Split(strings.Repeat("P,", 199)+"P", ",") }),
		"bent":                  of(entry.BentRaised, func(e *entry.Entry) { e.Assembly = "bent-2" }),
		"move":                  of(entry.MoveDone, func(e *entry.Entry) { e.Move, e.Revision = 1, 1 }),
		"bent with its move":    of(entry.BentRaised, func(e *entry.Entry) { e.Assembly, e.Move, e.Revision = "bent-2", 3, 2 }),
		"shortest delay":        of(entry.Delay, func(e *entry.Entry) { e.Cause, e.DelayMinutes = entry.Weather, 1 }),
		"longest delay":         of(entry.Delay, func(e *entry.Entry) { e.Cause, e.DelayMinutes = entry.Crew, 1440 }),
		"other delay":           of(entry.Delay, func(e *entry.Entry) { e.Cause, e.DelayMinutes, e.Note = entry.OtherCause, 5, "Bees." }),
		"correction":            of(entry.Correction, func(e *entry.Entry) { e.Corrects = "e0" }),
	} {
		if f := entry.Check(e, now); f != nil {
			t.Errorf("%s: refused: %s: %s", name, f.Field, f.Message)
		}
	}
}

func TestCheckRefuses(t *testing.T) {
	t.Parallel()
	delay := func(change func(*entry.Entry)) entry.Entry {
		return of(entry.Delay, func(e *entry.Entry) { e.Cause, e.DelayMinutes = entry.Fit, 10; change(e) })
	}
	for _, c := range []struct {
		name  string
		entry entry.Entry
		field string
		says  string
	}{
		{"no id", note(""), "id", "unique in the job"},
		{"id too long", note(strings.Repeat("x", 65)), "id", "at most 64"},
		{"id with a slash", note("a/b"), "id", "hyphens and underscores"},
		{"id with an umlaut", note("ä"), "id", "hyphens and underscores"},
		{"no kind", of(0, func(*entry.Entry) {}), "kind", "choose one"},
		{"kind of tomorrow", of(12, func(*entry.Entry) {}), "kind", "12"},
		{"negative kind", of(-1, func(*entry.Entry) {}), "kind", "-1"},
		{"no time", with(note("e1"), func(e *entry.Entry) { e.OccurTime = time.Time{} }), "occur_time", "give the time"},
		{"from the future", with(note("e1"), func(e *entry.Entry) { e.OccurTime = now.Add(5*time.Minute + time.Microsecond) }), "occur_time", "set the clock"},
		{"pieces without marks", of(entry.PiecesMissing, func(*entry.Entry) {}), "marks", "pieces missing"},
		{"201 marks", of(entry.PiecesArrived, func(e *entry.Entry) { e.Marks = make([]string, 201) }), "marks", "second entry"},
		{"empty mark", of(entry.PiecesArrived, func(e *entry.Entry) { e.Marks = []string{"P1", ""} }), "marks[1]", "empty"},
		{"mark of 25 letters", of(entry.PiecesArrived, func(e *entry.Entry) { e.Marks = []string{strings.Repeat("é", 25)} }), "marks[0]", "at most 24"},
		{"mark with a line end", of(entry.PiecesArrived, func(e *entry.Entry) { e.Marks = []string{"P\n1"} }), "marks[0]", "printed"},
		{"bent without assembly", of(entry.BentAssembled, func(*entry.Entry) {}), "assembly", "bent assembled"},
		{"assembly with a zero byte", of(entry.BentRaised, func(e *entry.Entry) { e.Assembly = "b\x00" }), "assembly", "printed"},
		{"assembly too long", of(entry.BentRaised, func(e *entry.Entry) { e.Assembly = strings.Repeat("b", 65) }), "assembly", "at most 64"},
		{"move without number", of(entry.MoveDone, func(e *entry.Entry) { e.Revision = 1 }), "move", "from 1"},
		{"negative move", of(entry.MoveDone, func(e *entry.Entry) { e.Move = -1 }), "move", "-1"},
		{"move without revision", of(entry.MoveStarted, func(e *entry.Entry) { e.Move = 4 }), "revision", "revision"},
		{"negative revision", of(entry.MoveStarted, func(e *entry.Entry) { e.Move, e.Revision = 4, -2 }), "revision", "-2"},
		{"delay without cause", delay(func(e *entry.Entry) { e.Cause = 0 }), "cause", "choose one"},
		{"delay of an unknown cause", delay(func(e *entry.Entry) { e.Cause = 8 }), "cause", "8"},
		{"delay of no minutes", delay(func(e *entry.Entry) { e.DelayMinutes = 0 }), "delay_minutes", "1 to 1440"},
		{"delay of two days", delay(func(e *entry.Entry) { e.DelayMinutes = 2880 }), "delay_minutes", "1 to 1440"},
		{"other delay without words", delay(func(e *entry.Entry) { e.Cause = entry.OtherCause }), "note", "what it was"},
		{"note with a cause", with(note("e1"), func(e *entry.Entry) { e.Cause = entry.Fit }), "cause", "entry of its own"},
		{"note with minutes", with(note("e1"), func(e *entry.Entry) { e.DelayMinutes = 5 }), "delay_minutes", "entry of its own"},
		{"empty note", with(note("e1"), func(e *entry.Entry) { e.Note = "" }), "note", "worth knowing"},
		{"note too long", with(note("e1"), func(e *entry.Entry) { e.Note = strings.Repeat("ö", 2001) }), "note", "at most 2000"},
		{"note with a zero byte", with(note("e1"), func(e *entry.Entry) { e.Note = "a\x00b" }), "note", "control"},
		{"note of broken text", with(note("e1"), func(e *entry.Entry) { e.Note = "a\xffb" }), "note", "control"},
		{"correction of nothing", of(entry.Correction, func(*entry.Entry) {}), "corrects", "which entry"},
		{"correction of itself", of(entry.Correction, func(e *entry.Entry) { e.Corrects = "e1" }), "corrects", "itself"},
		{"correction of no id", of(entry.Correction, func(e *entry.Entry) { e.Corrects = "e 0" }), "corrects", "No entry"},
		{"note that corrects", with(note("e1"), func(e *entry.Entry) { e.Corrects = "e0" }), "corrects", "Only a correction"},
	} {
		f := entry.Check(c.entry, now)
		if f == nil {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		if f.Field != c.field || !strings.Contains(f.Message, c.says) {
			t.Errorf("%s: refused with %s: %s; want field %s and %q in the message", c.name, f.Field, f.Message, c.field, c.says)
		}
	}
}

// TestDigestTellsEveryFieldApart changes one field at a time.
func TestDigestTellsEveryFieldApart(t *testing.T) {
	t.Parallel()
	base := entry.Entry{
		ID: "e1", Kind: entry.MoveDone, OccurTime: now, Marks: []string{"P1", "P2"}, Assembly: "b1", Move: 1, Revision: 2,
		Cause: entry.Fit, DelayMinutes: 3, Note: "n", Corrects: "e0",
	}
	if base.Digest() != with(base, func(e *entry.Entry) { e.Marks = []string{"P1", "P2"} }).Digest() {
		t.Error("the same entry has two digests")
	}
	seen := map[string]string{base.Digest(): "base"}
	for name, change := range map[string]func(*entry.Entry){
		"id": func(e *entry.Entry) { e.ID = "e2" }, "kind": func(e *entry.Entry) { e.Kind = entry.MoveStarted },
		"time": func(e *entry.Entry) { e.OccurTime = now.Add(time.Microsecond) }, "mark gone": func(e *entry.Entry) { e.Marks = []string{"P1"} },
		"marks run together": func(e *entry.Entry) { e.Marks = []string{"P1P2"} }, "marks moved": func(e *entry.Entry) { e.Marks = []string{"P1P", "2"} },
		"mark to assembly": func(e *entry.Entry) { e.Marks, e.Assembly = []string{"P1"}, "P2b1" }, "assembly": func(e *entry.Entry) { e.Assembly = "b2" },
		"move": func(e *entry.Entry) { e.Move = 2 }, "revision": func(e *entry.Entry) { e.Revision = 1 },
		"cause": func(e *entry.Entry) { e.Cause = entry.Crew }, "minutes": func(e *entry.Entry) { e.DelayMinutes = 4 },
		"note": func(e *entry.Entry) { e.Note = "m" }, "corrects": func(e *entry.Entry) { e.Corrects = "e9" },
	} {
		d := with(base, change).Digest()
		if was, twice := seen[d]; twice {
			t.Errorf("%s and %s have the same digest", name, was)
		}
		seen[d] = name
	}
}
