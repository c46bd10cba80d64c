package server

import (
	"fmt"

	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	protov2 "google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// mostParts is how many messages one request may hold, those inside others included. The largest
// frame that is taken has less than half as many.
const mostParts = 1_000_000

// boundedCodec reads requests, but none of more parts than a request may have. An empty part is
// two bytes on the wire and a hundred times as much in memory, and a request is read before it
// is known who sends it: the limit of its bytes alone would let anybody take gigabytes.
type boundedCodec struct {
	encoding.CodecV2
	most int
}

func newBoundedCodec() boundedCodec { return boundedCodec{encoding.GetCodecV2(proto.Name), mostParts} }

// Unmarshal reads a request.
func (c boundedCodec) Unmarshal(data mem.BufferSlice, v any) error {
	message, ok := v.(protov2.Message)
	if !ok || data.Len() < 2*c.most {
		return c.CodecV2.Unmarshal(data, v)
	}
	whole := data.MaterializeToBuffer(mem.DefaultBufferPool())
	defer whole.Free()
	if parts(whole.ReadOnlyData(), message.ProtoReflect().Descriptor(), c.most) > c.most {
		return fmt.Errorf("the request has more than %d parts; send less at once", c.most)
	}
	return c.CodecV2.Unmarshal(mem.BufferSlice{whole}, v)
}

// parts counts the messages inside a message as it is on the wire, and stops soon after most. What
// can not be read it leaves to the reader to refuse.
func parts(wire []byte, md protoreflect.MessageDescriptor, most int) int {
	count := 0
	for len(wire) > 0 && count <= most {
		number, kind, n := protowire.ConsumeTag(wire)
		if n < 0 {
			return count
		}
		wire = wire[n:]
		if n = protowire.ConsumeFieldValue(number, kind, wire); n < 0 {
			return count
		}
		field := md.Fields().ByNumber(number)
		if kind == protowire.BytesType && field != nil && field.Kind() == protoreflect.MessageKind {
			inner, _ := protowire.ConsumeBytes(wire[:n])
			count += 1 + parts(inner, field.Message(), most-count-1)
		}
		wire = wire[n:]
	}
	return count
}
