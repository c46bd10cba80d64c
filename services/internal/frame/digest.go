package frame

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// encodingVersion begins the canonical encoding; a change of the encoding needs a new one, since
// digests name frames everywhere.
const encodingVersion = "pikepole frame 1"

// digest is the lower-case hex of SHA-256 over the canonical encoding: every field in the order of the
// frame model; texts with their length before them; numbers as 64-bit big-endian, those with a fraction as
// their IEEE 754 bits with −0 as 0; what may be absent after a 1 or a 0; lists after their length, the grid's
// in the order given, timbers by mark, joints, assemblies and hardware by id.
func digest(d Draft) string {
	e := encoder{buf: make([]byte, 0, 256*(len(d.Timbers)+len(d.Joints))+1024)}
	e.text(encodingVersion)
	e.text(d.Title)
	e.grid(d.Grid)
	each(&e, d.Timbers, func(t *Timber) string { return t.Mark }, e.timber)
	each(&e, d.Joints, func(j *Joint) string { return j.ID }, e.joint)
	each(&e, d.Assemblies, func(a *Assembly) string { return a.ID }, func(a *Assembly) {
		e.text(a.ID)
		e.int(int64(a.Kind))
		e.text(a.Line)
	})
	each(&e, d.Hardware, func(h *Hardware) string { return h.ID }, func(h *Hardware) {
		e.text(h.ID)
		e.int(int64(h.Kind))
		e.int(int64(h.Count))
		e.number(h.MassEachKG)
		e.point(h.At)
		e.text(h.Timber)
	})
	sum := sha256.Sum256(e.buf)
	return hex.EncodeToString(sum[:])
}

// each encodes a list sorted by its keys, which are unique.
func each[T any](e *encoder, list []T, key func(*T) string, encode func(*T)) {
	order := make([]*T, len(list))
	for i := range list {
		order[i] = &list[i]
	}
	slices.SortFunc(order, func(a, b *T) int { return cmp.Compare(key(a), key(b)) })
	e.int(int64(len(order)))
	for _, item := range order {
		encode(item)
	}
}

type encoder struct{ buf []byte }

func (e *encoder) int(v int64) { e.buf = binary.BigEndian.AppendUint64(e.buf, uint64(v)) }

func (e *encoder) number(v float64) {
	if v == 0 {
		v = 0 // −0 and 0 are the same fact
	}
	e.buf = binary.BigEndian.AppendUint64(e.buf, math.Float64bits(v))
}

func (e *encoder) numbers(vs ...float64) {
	for _, v := range vs {
		e.number(v)
	}
}

func (e *encoder) text(s string) {
	e.int(int64(len(s)))
	e.buf = append(e.buf, s...)
}

func (e *encoder) point(p geom.Vec) { e.numbers(p.X, p.Y, p.Z) }

func (e *encoder) present(yes bool) bool {
	b := byte(0)
	if yes {
		b = 1
	}
	e.buf = append(e.buf, b)
	return yes
}

func (e *encoder) optional(v *float64) {
	if e.present(v != nil) {
		e.number(*v)
	}
}

func (e *encoder) grid(g Grid) {
	for _, lines := range [2][]GridLine{g.BentLines, g.WallLines} {
		e.int(int64(len(lines)))
		for _, l := range lines {
			e.text(l.Label)
			e.point(l.Point)
			e.number(l.HeadingDeg)
		}
	}
	e.int(int64(len(g.Levels)))
	for _, l := range g.Levels {
		e.text(l.Label)
		e.number(l.ZMM)
	}
}

func (e *encoder) timber(t *Timber) {
	e.text(t.Mark)
	e.int(int64(t.Role))
	e.numbers(t.WidthMM, t.DepthMM)
	e.optional(t.NominalWidthIn)
	e.optional(t.NominalDepthIn)
	e.point(t.Start)
	e.point(t.End)
	e.number(t.RollDeg)
	e.int(int64(len(t.ReferenceFaces)))
	for _, face := range t.ReferenceFaces {
		e.int(int64(face))
	}
	e.text(t.Species)
	e.text(t.Grade)
	e.int(int64(t.Finish))
	e.number(t.MoisturePercent)
	e.text(t.Assembly)
}

func (e *encoder) joint(j *Joint) {
	e.text(j.ID)
	e.int(int64(j.Kind))
	e.text(j.Entering)
	e.int(int64(j.EnteringEnd))
	e.text(j.Receiving)
	if t := j.Tenon; e.present(t != nil) {
		e.numbers(t.LengthMM, t.ThicknessMM, t.WidthMM, t.ShoulderOffsetMM, t.HousingDepthMM, t.ClearanceMM)
	}
	if p := j.Pegs; e.present(p != nil) {
		e.int(int64(p.Count))
		e.numbers(p.DiameterMM, p.LengthMM)
		e.text(p.Wood)
		e.int(int64(p.DrivenFrom))
		e.int(int64(p.Hole))
		e.numbers(p.DrawBoreOffsetMM, p.FromShoulderMM, p.SpacingMM)
	}
	e.point(j.At)
	e.int(int64(j.Scarf))
}
