package sitelog

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/page"
	"github.com/pikepole/pikepole/services/sitelog/entry"
)

func parseFilter(req *sitelogv1.ListEntriesRequest) (filter, error) {
	var f filter
	for i, k := range req.GetKinds() {
		kind := entry.Kind(k)
		if !kind.Known() {
			return filter{}, fault.Invalid(fmt.Sprintf("kinds[%d]", i), "is a kind (%d) that is not known here; choose one of the listed kinds", int32(k))
		}
		if !slices.Contains(f.Kinds, kind) {
			f.Kinds = append(f.Kinds, kind)
		}
	}
	var err error
	if f.Start, err = parseTime("start_time", req.GetStartTime()); err != nil {
		return filter{}, err
	}
	if f.End, err = parseTime("end_time", req.GetEndTime()); err != nil {
		return filter{}, err
	}
	if !f.Start.IsZero() && !f.End.IsZero() && !f.Start.Before(f.End) {
		return filter{}, fault.Invalid("end_time", "is not after start_time; give a later one")
	}
	return f, nil
}

// parseTime reads a bound; finer parts than a microsecond count as a whole one, since entries have none.
func parseTime(path string, t *timestamppb.Timestamp) (time.Time, error) {
	if t == nil {
		return time.Time{}, nil
	}
	if err := t.CheckValid(); err != nil {
		return time.Time{}, fault.Invalid(path, "is not a time between the years 1 and 9999; correct it")
	}
	at := t.AsTime()
	if cut := at.Truncate(time.Microsecond); cut.Before(at) {
		return cut.Add(time.Microsecond), nil
	}
	return at, nil
}

// listArgs is what a page token is bound to: the log, and what the list asks for besides pages.
func listArgs(l logOf, req *sitelogv1.ListEntriesRequest) []string {
	args := []string{l.Company, l.Job, timeText(req.GetStartTime()), timeText(req.GetEndTime())}
	for _, k := range req.GetKinds() {
		args = append(args, strconv.Itoa(int(k)))
	}
	return args
}

func timeText(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return t.AsTime().Format(time.RFC3339Nano)
}

func parseSpot(cursor []string) (*spot, error) {
	if len(cursor) == 0 {
		return nil, nil
	}
	if len(cursor) != 2 {
		return nil, page.Refused()
	}
	micros, err1 := strconv.ParseInt(cursor[0], 10, 64)
	position, err2 := strconv.ParseInt(cursor[1], 10, 32)
	if err1 != nil || err2 != nil {
		return nil, page.Refused()
	}
	return &spot{Micros: micros, Position: position}, nil
}
