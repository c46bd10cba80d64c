package framepb_test

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// Frames with a few fields altered to edge values are refused or computed with, never a panic, and what is
// accepted has sound measures.
func TestAlteredFramesAreRefusedOrSound(t *testing.T) {
	t.Parallel()
	whole := framepb.FromDraft(cabin(t))
	rapid.Check(t, func(t *rapid.T) {
		m := proto.CloneOf(whole)
		for range rapid.IntRange(1, 3).Draw(t, "changes") {
			alter(t, m.ProtoReflect())
		}
		f, err := frame.Parse(framepb.ToDraft(m))
		if err != nil {
			return
		}
		for i, timber := range f.Timbers() {
			s := f.Solid(i)
			mass, cg := f.Weigh([]int{i})
			if !(mass > 0) || math.IsInf(mass, 0) || !geom.Finite(cg) || !(s.OverallMM >= s.ShoulderMM) || !(s.RemovedMM3 >= 0) {
				t.Fatalf("%s weighs %v at %v: %+v", timber.Mark, mass, cg, s)
			}
		}
	})
}

// alter changes one field somewhere below the message.
func alter(t *rapid.T, m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	field := fields.Get(rapid.IntRange(0, fields.Len()-1).Draw(t, "field"))
	switch {
	case field.IsList():
		list := m.Mutable(field).List()
		if list.Len() == 0 {
			return
		}
		i := rapid.IntRange(0, list.Len()-1).Draw(t, "item")
		if field.Message() == nil {
			list.Set(i, edge(t, field))
			return
		}
		if rapid.IntRange(0, 9).Draw(t, "drop") == 9 {
			list.Truncate(i)
			return
		}
		alter(t, list.Get(i).Message())
	case field.Message() != nil:
		if rapid.IntRange(0, 9).Draw(t, "clear") == 9 {
			m.Clear(field)
			return
		}
		alter(t, m.Mutable(field).Message())
	default:
		m.Set(field, edge(t, field))
	}
}

// edge draws a value that is at the edge of what a field may hold, or beyond it.
func edge(t *rapid.T, field protoreflect.FieldDescriptor) protoreflect.Value {
	switch field.Kind() {
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(rapid.OneOf(
			rapid.SampledFrom([]float64{0, 1, -1, 20, 90, 1e6, -1e6, 50_000, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, 5e-324}),
			rapid.Float64Range(-5000, 5000),
		).Draw(t, "number"))
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(protoreflect.EnumNumber(rapid.IntRange(-1, 20).Draw(t, "enum")))
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(rapid.SampledFrom([]int32{0, 1, 2, -1, math.MaxInt32, math.MinInt32}).Draw(t, "count"))
	default:
		return protoreflect.ValueOfString(rapid.SampledFrom([]string{"", "P-1A", "T-1", "K-1", "R-1A", "white-oak", "bent-1", "1", "A", "a/b", "\x00"}).Draw(t, "text"))
	}
}
