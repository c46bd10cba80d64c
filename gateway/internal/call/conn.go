package call

import (
	"context"
	"slices"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"github.com/pikepole/pikepole/gateway/internal/problem"
	"github.com/pikepole/pikepole/services/platform/callid"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
)

const (
	fieldRequestID  = "request_id"
	fieldEtag       = "etag"
	fieldID         = "id"
	fieldUpdateMask = "update_mask"
)

// Conn is a connection to a service that adds the facts of the HTTP request to every call.
// The request's id travels in the context as package callid has it; a connection made by package
// dial sends it along.
type Conn struct {
	beneath grpc.ClientConnInterface
	timeout time.Duration
	longer  map[string]time.Duration
}

// NewConn puts a Conn on a connection. A unary call takes at most timeout, or what longer says of its method.
func NewConn(beneath grpc.ClientConnInterface, timeout time.Duration, longer map[string]time.Duration) *Conn {
	return &Conn{beneath: beneath, timeout: timeout, longer: longer}
}

// Invoke makes a unary call.
func (c *Conn) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	facts := From(ctx)
	if message, ok := args.(proto.Message); ok {
		if err := facts.complete(message.ProtoReflect()); err != nil {
			return err
		}
	}
	ctx, cancel := context.WithTimeout(facts.outgoing(ctx), max(c.timeout, c.longer[method]))
	defer cancel()
	err := c.beneath.Invoke(ctx, method, args, reply, opts...)
	if facts.Token != "" && facts.Forget != nil && status.Code(err) == codes.Unauthenticated {
		// The token ended before its time; the next request asks for another.
		facts.Forget()
	}
	return err
}

// NewStream opens a stream; the caller gives it its deadline.
func (c *Conn) NewStream(ctx context.Context, desc *grpc.StreamDesc, method string, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	return c.beneath.NewStream(From(ctx).outgoing(ctx), desc, method, opts...)
}

func (f *Facts) outgoing(ctx context.Context) context.Context {
	if f.RequestID != "" {
		ctx = callid.With(ctx, f.RequestID)
	}
	if f.Token != "" {
		ctx = metadata.AppendToOutgoingContext(ctx, identity.Header, identity.Scheme+f.Token)
	}
	return ctx
}

// complete puts the headers' values into the request message and refuses what contradicts them.
func (f *Facts) complete(message protoreflect.Message) error {
	if err := f.setRequestID(message); err != nil {
		return err
	}
	if err := f.setEtag(message); err != nil {
		return err
	}
	f.trimMask(message)
	return nil
}

func (f *Facts) setRequestID(message protoreflect.Message) error {
	field := message.Descriptor().Fields().ByName(fieldRequestID)
	if f.IdempotencyKey == "" || field == nil {
		return nil
	}
	given := message.Get(field).String()
	if given != "" && given != f.IdempotencyKey {
		return differs(problem.ReasonIdempotencyKey, fieldRequestID,
			"Idempotency-Key and requestId differ; send one of them, or the same in both.")
	}
	message.Set(field, protoreflect.ValueOfString(f.IdempotencyKey))
	return nil
}

// setEtag puts If-Match where the request has an etag: in itself or in the resource that it carries.
func (f *Facts) setEtag(message protoreflect.Message) error {
	if f.IfMatch == "" {
		return nil
	}
	holder, field := etagHolder(message)
	if field == nil {
		return differs(problem.ReasonIfMatch, fieldEtag, "This call knows no etag; leave If-Match out.")
	}
	given := holder.Get(field).String()
	if given != "" && given != f.IfMatch {
		return differs(problem.ReasonIfMatch, fieldEtag,
			"If-Match and etag differ; send one of them, or the same in both.")
	}
	holder.Set(field, protoreflect.ValueOfString(f.IfMatch))
	return nil
}

func etagHolder(message protoreflect.Message) (protoreflect.Message, protoreflect.FieldDescriptor) {
	fields := message.Descriptor().Fields()
	if field := fields.ByName(fieldEtag); field != nil {
		return message, field
	}
	for i := range fields.Len() {
		outer := fields.Get(i)
		if outer.Message() == nil || outer.IsList() || outer.IsMap() {
			continue
		}
		if inner := outer.Message().Fields().ByName(fieldEtag); inner != nil {
			return message.Mutable(outer).Message(), inner
		}
	}
	return nil, nil
}

// trimMask takes the id and the etag out of a mask that was derived from the body: they say which
// resource is meant, and are not changes.
func (f *Facts) trimMask(message protoreflect.Message) {
	field := message.Descriptor().Fields().ByName(fieldUpdateMask)
	if f.MaskGiven || field == nil || !message.Has(field) {
		return
	}
	mask, ok := message.Get(field).Message().Interface().(*fieldmaskpb.FieldMask)
	if !ok {
		return
	}
	mask.Paths = slices.DeleteFunc(mask.GetPaths(), func(path string) bool {
		return path == fieldID || path == fieldEtag
	})
}

func differs(reason, field, message string) error {
	refused := fault.New(fault.InvalidArgument, reason, "%s", message)
	return refused.With(fault.Field{Path: field, Message: message})
}
