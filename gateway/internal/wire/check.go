package wire

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// namesShown is how many field or value names a message lists at most.
const namesShown = 24

// checkMessage finds the first mistake of a JSON value that should be a message, by sorted keys.
func checkMessage(value any, md protoreflect.MessageDescriptor, path string) *Mistake {
	switch md.FullName() {
	case "google.protobuf.Timestamp":
		return checkTime(value, path)
	case "google.protobuf.FieldMask":
		return nil
	}
	object, ok := value.(map[string]any)
	if !ok {
		return mistake(path, "must be an object, not %s", kindOf(value))
	}
	keys := make([]string, 0, len(object))
	for key := range object {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	for _, key := range keys {
		at := join(path, key)
		fd := fieldOf(md, key)
		if fd == nil {
			return mistake(at, "is no field here; the fields are %s", fieldNames(md))
		}
		if m := checkField(object[key], fd, at); m != nil {
			return m
		}
	}
	return nil
}

func checkField(value any, fd protoreflect.FieldDescriptor, path string) *Mistake {
	if value == nil {
		return nil
	}
	if !fd.IsList() {
		return checkOne(value, fd, path)
	}
	list, ok := value.([]any)
	if !ok {
		return mistake(path, "must be a list, not %s", kindOf(value))
	}
	for i, element := range list {
		at := fmt.Sprintf("%s[%d]", path, i)
		if element == nil {
			return mistake(at, "must not be null")
		}
		if m := checkOne(element, fd, at); m != nil {
			return m
		}
	}
	return nil
}

func checkOne(value any, fd protoreflect.FieldDescriptor, path string) *Mistake {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		return checkMessage(value, fd.Message(), path)
	case protoreflect.EnumKind:
		return checkEnum(value, fd.Enum(), path)
	case protoreflect.BoolKind:
		if _, ok := value.(bool); !ok {
			return mistake(path, "must be true or false, not %s", kindOf(value))
		}
	case protoreflect.StringKind, protoreflect.BytesKind:
		if _, ok := value.(string); !ok {
			return mistake(path, "must be a text, not %s", kindOf(value))
		}
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		if _, ok := number(value); !ok {
			return mistake(path, "must be a number, not %s", kindOf(value))
		}
	case protoreflect.Int32Kind:
		if n, ok := number(value); !ok || n != math.Trunc(n) || n < math.MinInt32 || n > math.MaxInt32 {
			return mistake(path, "must be a whole number from %d to %d, not %s", math.MinInt32, math.MaxInt32, kindOf(value))
		}
	}
	return nil
}

func checkEnum(value any, ed protoreflect.EnumDescriptor, path string) *Mistake {
	if name, ok := value.(string); ok && ed.Values().ByName(protoreflect.Name(name)) != nil {
		return nil
	}
	if n, ok := value.(json.Number); ok {
		if _, err := strconv.ParseInt(n.String(), 10, 32); err == nil {
			return nil
		}
	}
	names := make([]string, 0, ed.Values().Len())
	for i := range ed.Values().Len() {
		names = append(names, string(ed.Values().Get(i).Name()))
	}
	return mistake(path, "is none of %s", listed(names))
}

func checkTime(value any, path string) *Mistake {
	text, ok := value.(string)
	if !ok {
		return mistake(path, "must be a time such as 2030-05-14T08:30:00Z, not %s", kindOf(value))
	}
	if _, err := time.Parse(time.RFC3339Nano, text); err != nil {
		return mistake(path, "must be a time such as 2030-05-14T08:30:00Z")
	}
	return nil
}

// number gives the value of a JSON number or of a text that stands for one.
func number(value any) (float64, bool) {
	var text string
	switch v := value.(type) {
	case json.Number:
		text = v.String()
	case string:
		text = v
	default:
		return 0, false
	}
	n, err := strconv.ParseFloat(text, 64)
	return n, err == nil
}

func fieldOf(md protoreflect.MessageDescriptor, key string) protoreflect.FieldDescriptor {
	if fd := md.Fields().ByJSONName(key); fd != nil {
		return fd
	}
	return md.Fields().ByName(protoreflect.Name(key))
}

func fieldNames(md protoreflect.MessageDescriptor) string {
	names := make([]string, 0, md.Fields().Len())
	for i := range md.Fields().Len() {
		names = append(names, md.Fields().Get(i).JSONName())
	}
	return listed(names)
}

func listed(names []string) string {
	switch {
	case len(names) == 0:
		return "none"
	case len(names) > namesShown:
		return strings.Join(names[:namesShown], ", ") + ", …"
	}
	return strings.Join(names, ", ")
}

func kindOf(value any) string {
	switch v := value.(type) {
	case nil:
		return "null"
	case bool:
		return "true or false"
	case json.Number:
		return "the number " + v.String()
	case string:
		return "a text"
	case []any:
		return "a list"
	default:
		return "an object"
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func mistake(path, format string, args ...any) *Mistake {
	return &Mistake{Field: path, Message: fmt.Sprintf(format, args...)}
}
