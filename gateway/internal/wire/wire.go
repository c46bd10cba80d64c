// Package wire is the JSON of the REST face: the proto JSON mapping, strict in what it reads and
// with every field in what it writes.
package wire

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"regexp"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// MediaType is what the REST face reads and writes.
const MediaType = "application/json"

// JSON reads and writes messages. It is the marshaler of the gateway's mux.
type JSON struct {
	runtime.JSONPb
}

// NewJSON gives the one way in which the gateway reads and writes JSON.
func NewJSON() *JSON {
	return &JSON{JSONPb: runtime.JSONPb{
		MarshalOptions:   protojson.MarshalOptions{EmitUnpopulated: true},
		UnmarshalOptions: protojson.UnmarshalOptions{DiscardUnknown: false},
	}}
}

// ContentType is the media type of what it writes.
func (*JSON) ContentType(any) string { return MediaType }

// NewDecoder gives a decoder that reads one message and nothing after it.
func (j *JSON) NewDecoder(r io.Reader) runtime.Decoder {
	return runtime.DecoderFunc(func(target any) error {
		data, err := io.ReadAll(r)
		if err != nil {
			return err
		}
		if len(data) == 0 {
			return io.EOF
		}
		return j.Unmarshal(data, target)
	})
}

// Unmarshal reads a message. Its error is a *Mistake.
func (j *JSON) Unmarshal(data []byte, target any) error {
	message, err := messageOf(target)
	if err != nil {
		return err
	}
	if err := j.UnmarshalOptions.Unmarshal(data, message); err != nil {
		return explain(data, message.ProtoReflect().Descriptor(), err)
	}
	return nil
}

// messageOf gives the message that target is read as: itself, or where the generated handlers
// read a resource into a pointer to a message pointer, a new one behind that pointer.
func messageOf(target any) (proto.Message, error) {
	if message, ok := target.(proto.Message); ok {
		return message, nil
	}
	holder := reflect.ValueOf(target)
	if holder.Kind() != reflect.Pointer || holder.Elem().Kind() != reflect.Pointer {
		return nil, fmt.Errorf("%T cannot be read from JSON", target)
	}
	if holder.Elem().IsNil() {
		holder.Elem().Set(reflect.New(holder.Elem().Type().Elem()))
	}
	message, ok := holder.Elem().Interface().(proto.Message)
	if !ok {
		return nil, fmt.Errorf("%T cannot be read from JSON", target)
	}
	return message, nil
}

// Mistake is JSON that cannot be read as the message it should be.
type Mistake struct {
	// Field is the path of the field at fault; empty where the text as a whole is at fault.
	Field string
	// Message says what is wrong and what to do.
	Message string
}

// The generated handlers turn a decoder's error into text, so a Mistake travels as text between
// these marks, which no sentence of a service contains.
const (
	markStart = "\x02json\x1f"
	markSplit = "\x1f"
	markEnd   = "\x03"
)

// Error is the mistake as text from which ParseMistake gets it back.
func (m *Mistake) Error() string {
	return markStart + m.Field + markSplit + m.Message + markEnd
}

// ParseMistake finds a mistake in the text of an error.
func ParseMistake(text string) (*Mistake, bool) {
	_, rest, found := strings.Cut(text, markStart)
	if !found {
		return nil, false
	}
	inner, _, found := strings.Cut(rest, markEnd)
	if !found {
		return nil, false
	}
	field, message, _ := strings.Cut(inner, markSplit)
	return &Mistake{Field: field, Message: message}, true
}

// explain says where the mistake is.
func explain(data []byte, md protoreflect.MessageDescriptor, cause error) *Mistake {
	var value any
	decoder := json.NewDecoder(strings.NewReader(string(data)))
	decoder.UseNumber()
	if err := decoder.Decode(&value); err != nil {
		return syntaxMistake(data, err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return &Mistake{Message: "Something follows the JSON value; send one value and nothing after it."}
	}
	if m := checkMessage(value, md, ""); m != nil {
		return m
	}
	return &Mistake{Message: "The JSON cannot be read: " + plain(cause) + "."}
}

func syntaxMistake(data []byte, err error) *Mistake {
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return &Mistake{Message: "The JSON ends before it is complete; send all of it."}
	}
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		line, column := position(data, syntax.Offset)
		return &Mistake{Message: fmt.Sprintf("The body is not JSON: %s at line %d, column %d.", syntax.Error(), line, column)}
	}
	return &Mistake{Message: "The body is not JSON: " + err.Error() + "."}
}

// position gives the line and column, from 1, of the byte before offset.
func position(data []byte, offset int64) (line, column int) {
	before := string(data[:min(max(offset-1, 0), int64(len(data)))])
	return strings.Count(before, "\n") + 1, len(before) - strings.LastIndexByte(before, '\n')
}

// plain takes the prefix and the place off an error of protojson, whose spacing varies on purpose.
func plain(err error) string {
	return regexp.MustCompile(`^proto:[\s\x{a0}]+`).ReplaceAllString(err.Error(), "")
}
