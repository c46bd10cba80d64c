package entry

import "time"

// Fate is what became of one entry of a batch. The numbers are those of the published interface.
type Fate int32

// What becomes of an entry.
const (
	Taken    Fate = 1 // it goes into the log
	Repeated Fate = 2 // the same entry was in the log before
	Refused  Fate = 3 // the log stays as it was
)

// Outcome tells what became of one entry.
type Outcome struct {
	ID       string
	Fate     Fate
	Fault    *Fault // why it is refused; nil otherwise
	Position int32  // place in the log; 0 when it is refused
}

// Known is what the log holds under an id.
type Known struct {
	Digest   string
	Kind     Kind
	Position int32
}

// Mentioned lists the ids that a batch has to be compared with: its own and those that it corrects, without repeats.
func Mentioned(batch []Entry) []string {
	seen := make(map[string]bool, len(batch))
	var ids []string
	for _, e := range batch {
		for _, id := range []string{e.ID, e.Corrects} {
			if id != "" && len(id) <= maxIDLength && plainID(id) && !seen[id] {
				seen[id] = true
				ids = append(ids, id)
			}
		}
	}
	return ids
}

// Admit decides about a batch, in its order, against a log that ends at position last and knows what is in known. It
// answers with one outcome for each entry and with the entries to append. A refused entry holds back no other.
func Admit(batch []Entry, known map[string]Known, author string, now time.Time, last int32) ([]Outcome, []Accepted) {
	now = time.UnixMicro(now.UnixMicro()).UTC()
	inLog := make(map[string]Known, len(known)+len(batch))
	for id, k := range known {
		inLog[id] = k
	}
	outcomes := make([]Outcome, 0, len(batch))
	var taken []Accepted
	for _, e := range batch {
		digest := e.Digest()
		was, there := inLog[e.ID]
		switch {
		case there && was.Digest == digest:
			outcomes = append(outcomes, Outcome{ID: e.ID, Fate: Repeated, Position: was.Position})
			continue
		case there:
			outcomes = append(outcomes, refused(e, fault("id", "The log has another entry with this id at position %d; entries are never changed, so post this one under a new id.", was.Position)))
			continue
		}
		f := Check(e, now)
		if f == nil {
			f = checkCorrected(e, inLog)
		}
		if f != nil {
			outcomes = append(outcomes, refused(e, f))
			continue
		}
		last++
		inLog[e.ID] = Known{Digest: digest, Kind: e.Kind, Position: last}
		outcomes = append(outcomes, Outcome{ID: e.ID, Fate: Taken, Position: last})
		taken = append(taken, Accepted{Entry: e, Author: author, AcceptTime: now, Position: last})
	}
	return outcomes, taken
}

func refused(e Entry, f *Fault) Outcome { return Outcome{ID: e.ID, Fate: Refused, Fault: f} }

func checkCorrected(e Entry, inLog map[string]Known) *Fault {
	if e.Kind != Correction {
		return nil
	}
	target, there := inLog[e.Corrects]
	if !there {
		return fault("corrects", "The job's log has no entry with the id %s; give the id of the entry that was wrong.", e.Corrects)
	}
	if target.Kind == Correction {
		return fault("corrects", "The entry %s is itself a correction and cannot be corrected; post what is true as a new entry.", e.Corrects)
	}
	return nil
}

// String is one word for what became of an entry.
func (f Fate) String() string {
	switch f {
	case Taken:
		return "accepted"
	case Repeated:
		return "repeated"
	case Refused:
		return "refused"
	default:
		return "unknown"
	}
}
