package entry

import (
	"fmt"
	"time"
	"unicode"
	"unicode/utf8"
)

// Fault is why an entry is refused: the field at fault, and a sentence that says what to do.
type Fault struct {
	Field   string
	Message string
}

func fault(field, format string, args ...any) *Fault {
	return &Fault{Field: field, Message: fmt.Sprintf(format, args...)}
}

// Check says what is wrong with an entry by itself, or nil. Whether a corrected entry exists is asked by Admit.
func Check(e Entry, now time.Time) *Fault {
	for _, check := range []func(Entry) *Fault{checkID, checkKind, checkMarks, checkAssembly, checkMove, checkDelay, checkNote, checkCorrects} {
		if f := check(e); f != nil {
			return f
		}
	}
	if e.OccurTime.After(now.Add(maxAhead)) {
		return fault("occur_time", "The entry is said to have happened at %s, more than %d minutes from now; set the clock of the device that wrote it.",
			e.OccurTime.UTC().Format(time.RFC3339), int(maxAhead.Minutes()))
	}
	return nil
}

func checkID(e Entry) *Fault {
	if e.ID == "" {
		return fault("id", "The entry has no id; give it one of 1 to %d characters that is unique in the job.", maxIDLength)
	}
	if len(e.ID) > maxIDLength {
		return fault("id", "The id has %d characters; use at most %d.", len(e.ID), maxIDLength)
	}
	if !plainID(e.ID) {
		return fault("id", "The id may only have A to Z, a to z, 0 to 9, hyphens and underscores.")
	}
	return nil
}

func plainID(id string) bool {
	for _, r := range id {
		switch {
		case r >= 'A' && r <= 'Z', r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '-', r == '_':
		default:
			return false
		}
	}
	return id != ""
}

func checkKind(e Entry) *Fault {
	if !e.Kind.Known() {
		return fault("kind", "The entry does not say what it is, or says a kind (%d) that is not known here; choose one of the listed kinds.", int32(e.Kind))
	}
	if e.OccurTime.IsZero() {
		return fault("occur_time", "The entry does not say when it happened; give the time.")
	}
	return nil
}

func checkMarks(e Entry) *Fault {
	if e.Kind.ofPieces() && len(e.Marks) == 0 {
		return fault("marks", "An entry of %s needs the mark of at least one piece.", e.Kind)
	}
	if len(e.Marks) > maxMarks {
		return fault("marks", "The entry names %d pieces; name at most %d and post the others in a second entry.", len(e.Marks), maxMarks)
	}
	for i, m := range e.Marks {
		field := fmt.Sprintf("marks[%d]", i)
		if m == "" {
			return fault(field, "The mark is empty; leave it out or give the mark stamped on the piece.")
		}
		if n := utf8.RuneCountInString(m); n > maxMarkLength {
			return fault(field, "The mark has %d characters; a mark has at most %d.", n, maxMarkLength)
		}
		if !printable(m, "") {
			return fault(field, "The mark has a character that cannot be printed; give the mark as it is stamped on the piece.")
		}
	}
	return nil
}

func checkAssembly(e Entry) *Fault {
	if e.Kind.ofBent() && e.Assembly == "" {
		return fault("assembly", "An entry of %s needs the id of the assembly.", e.Kind)
	}
	if n := utf8.RuneCountInString(e.Assembly); n > maxAssemblyLen {
		return fault("assembly", "The id of the assembly has %d characters; use at most %d.", n, maxAssemblyLen)
	}
	if !printable(e.Assembly, "") {
		return fault("assembly", "The id of the assembly has a character that cannot be printed; give it as the frame has it.")
	}
	return nil
}

func checkMove(e Entry) *Fault {
	if e.Move < 0 {
		return fault("move", "The number of the move is %d; moves are numbered from 1.", e.Move)
	}
	if e.Revision < 0 {
		return fault("revision", "The revision is %d; revisions are numbered from 1.", e.Revision)
	}
	if e.Kind.ofMove() && e.Move == 0 {
		return fault("move", "An entry of %s needs the number of the move, from 1.", e.Kind)
	}
	if e.Move > 0 && e.Revision == 0 {
		return fault("revision", "A move is named without the frame revision whose raising order numbers it; give the revision, from 1.")
	}
	return nil
}

func checkDelay(e Entry) *Fault {
	if e.Kind != Delay {
		if e.Cause != 0 {
			return fault("cause", "Only a delay has a cause; post the delay as an entry of its own.")
		}
		if e.DelayMinutes != 0 {
			return fault("delay_minutes", "Only a delay has minutes; post the delay as an entry of its own.")
		}
		return nil
	}
	if !e.Cause.Known() {
		return fault("cause", "The delay has no cause, or one (%d) that is not known here; choose one of the listed causes.", int32(e.Cause))
	}
	if e.DelayMinutes < 1 || e.DelayMinutes > maxDelayMinutes {
		return fault("delay_minutes", "The delay lasts %d minutes; give 1 to %d, and one entry a day for longer ones.", e.DelayMinutes, maxDelayMinutes)
	}
	if e.Cause == OtherCause && e.Note == "" {
		return fault("note", "The delay has some other cause; say in the note what it was.")
	}
	return nil
}

func checkNote(e Entry) *Fault {
	if e.Kind == Note && e.Note == "" {
		return fault("note", "The note is empty; write what is worth knowing.")
	}
	if n := utf8.RuneCountInString(e.Note); n > maxNoteLength {
		return fault("note", "The note has %d characters; write at most %d.", n, maxNoteLength)
	}
	if !printable(e.Note, "\n\r\t") {
		return fault("note", "The note has a control character; take it out.")
	}
	return nil
}

func checkCorrects(e Entry) *Fault {
	if e.Kind != Correction {
		if e.Corrects != "" {
			return fault("corrects", "Only a correction corrects another entry; post the correction as an entry of its own.")
		}
		return nil
	}
	if e.Corrects == "" {
		return fault("corrects", "The correction does not say which entry was wrong; give the id of that entry.")
	}
	if e.Corrects == e.ID {
		return fault("corrects", "The correction names itself; give the id of the entry that was wrong.")
	}
	if len(e.Corrects) > maxIDLength || !plainID(e.Corrects) {
		return fault("corrects", "No entry has the id given here; give the id of the entry that was wrong.")
	}
	return nil
}

// printable also keeps out the zero byte, which one of the two databases cannot hold in text.
func printable(s, besides string) bool {
	if !utf8.ValidString(s) {
		return false
	}
	for _, r := range s {
		if !unicode.IsControl(r) {
			continue
		}
		allowed := false
		for _, b := range besides {
			allowed = allowed || r == b
		}
		if !allowed {
			return false
		}
	}
	return true
}
