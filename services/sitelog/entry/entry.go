// Package entry holds one fact from the field: what an entry must say to be taken into a job's log, and what becomes
// of a batch of them. It knows nothing of how entries travel or where they are kept.
package entry

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"strconv"
	"time"
)

// Kind is what an entry says. The numbers are those of the published interface.
type Kind int32

// The kinds of entries.
const (
	PiecesArrived Kind = 1
	PiecesPlaced  Kind = 2
	PiecesDamaged Kind = 3
	PiecesMissing Kind = 4
	BentAssembled Kind = 5
	BentRaised    Kind = 6
	MoveStarted   Kind = 7
	MoveDone      Kind = 8
	Delay         Kind = 9
	Note          Kind = 10
	Correction    Kind = 11
)

// The limits of an entry.
const (
	lastKnownKind   = Correction
	lastKnownCause  = OtherCause
	maxIDLength     = 64
	maxAssemblyLen  = 64
	maxNoteLength   = 2000
	maxMarks        = 200
	maxMarkLength   = 24
	maxDelayMinutes = 1440
	maxAhead        = 5 * time.Minute

	digestLabel = "entry.v1"
)

// String is the kind in the words of the trade.
func (k Kind) String() string {
	names := [...]string{
		"unknown kind", "pieces arrived", "pieces placed", "pieces damaged", "pieces missing", "bent assembled",
		"bent raised", "move started", "move done", "delay", "note", "correction",
	}
	if k < 0 || int(k) >= len(names) {
		return "kind " + strconv.Itoa(int(k))
	}
	return names[k]
}

// Known says whether an entry may be of this kind.
func (k Kind) Known() bool { return k > 0 && k <= lastKnownKind }

func (k Kind) ofPieces() bool { return k >= PiecesArrived && k <= PiecesMissing }
func (k Kind) ofBent() bool   { return k == BentAssembled || k == BentRaised }
func (k Kind) ofMove() bool   { return k == MoveStarted || k == MoveDone }

// Cause is why time was lost. The numbers are those of the published interface.
type Cause int32

// The causes of delays.
const (
	Weather    Cause = 1
	Fit        Cause = 2
	Delivery   Cause = 3
	Machine    Cause = 4
	Deck       Cause = 5
	Crew       Cause = 6
	OtherCause Cause = 7
)

// Known says whether a delay may have this cause.
func (c Cause) Known() bool { return c > 0 && c <= lastKnownCause }

// Entry is what a client says. OccurTime counts in whole microseconds; finer parts are cut off by whoever builds it.
type Entry struct {
	ID           string
	Kind         Kind
	OccurTime    time.Time
	Marks        []string
	Assembly     string
	Move         int32 // 0 names no move
	Revision     int32 // whose raising order numbers the move; 0 when no move is named
	Cause        Cause
	DelayMinutes int32
	Note         string
	Corrects     string // id of the entry that no longer counts
}

// Accepted is an entry that is in the log.
type Accepted struct {
	Entry
	Author     string // id of the person who posted it
	AcceptTime time.Time
	Position   int32 // place in the job's log, from 1, without gaps
}

// Digest names the content of an entry, its id included: two entries with the same digest say the same.
func (e Entry) Digest() string {
	h := sha256.New()
	text := func(s string) {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(s)))
		h.Write(n[:])
		h.Write([]byte(s))
	}
	number := func(n int64) { text(strconv.FormatInt(n, 10)) }
	text(digestLabel)
	text(e.ID)
	number(int64(e.Kind))
	number(e.OccurTime.UnixMicro())
	number(int64(len(e.Marks)))
	for _, m := range e.Marks {
		text(m)
	}
	text(e.Assembly)
	number(int64(e.Move))
	number(int64(e.Revision))
	number(int64(e.Cause))
	number(int64(e.DelayMinutes))
	text(e.Note)
	text(e.Corrects)
	return hex.EncodeToString(h.Sum(nil))
}
