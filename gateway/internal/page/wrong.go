package page

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

const ( // An entry that may have been wrong is asked about with its id and its time.
	queryWrong = "wrong"
	queryAt    = "at"
	formWrong  = "wrong"

	// listMost is the longest list that the site log gives.
	listMost = 500

	// lastYear is the last year that a time can be in.
	lastYear = 9998
)

// wrongForm asks whether an entry was wrong, and posts the correction that says so.
type wrongForm struct {
	Line entryLine
	// ID is the id under which the correction posts.
	ID string
	// Time is when the form was first shown, so that the form posts the same entry when it is sent twice.
	Time string
	Note string
}

func (s *Site) loadCorrections(job string) func(context.Context) (*sitelogv1.ListEntriesResponse, error) {
	return func(ctx context.Context) (*sitelogv1.ListEntriesResponse, error) {
		return s.config.Sitelog.ListEntries(ctx, &sitelogv1.ListEntriesRequest{
			Job: job, PageSize: listMost, Kinds: []sitelogv1.EntryKind{sitelogv1.EntryKind_ENTRY_KIND_CORRECTION},
		})
	}
}

// wrong makes the form that asks whether an entry was wrong: the entry that the address names, or the one
// of a correction that was just refused. It is nil when neither is there.
func (s *Site) wrong(r *http.Request, job string, corrections []*sitelogv1.Entry, refused url.Values) (*wrongForm, error) {
	form := &wrongForm{ID: newEntryID(), Time: s.config.Now().In(time.UTC).Format(time.RFC3339)}
	id, at := r.URL.Query().Get(queryWrong), r.URL.Query().Get(queryAt)
	if refused.Get("form") == formWrong {
		id, at, form.Note = refused.Get("corrects"), refused.Get(queryAt), refused.Get("note")
	}
	if id == "" {
		return nil, nil
	}
	gone := fault.New(fault.NotFound, "ENTRY_NOT_FOUND", "The log has no such entry at that time. Open the log anew and choose the entry there.")
	occurred, err := time.Parse(time.RFC3339Nano, at)
	if err != nil || occurred.Year() < 1 || occurred.Year() > lastYear {
		return nil, gone
	}
	entries, err := s.config.Sitelog.ListEntries(r.Context(), &sitelogv1.ListEntriesRequest{
		Job: job, PageSize: listMost, StartTime: timestamppb.New(occurred), EndTime: timestamppb.New(occurred.Add(time.Microsecond)),
	})
	if err != nil {
		return nil, err
	}
	for _, line := range entryLines(entries.GetEntries(), corrections...) {
		if line.GetId() == id {
			form.Line = line
			return form, nil
		}
	}
	return nil, gone
}
