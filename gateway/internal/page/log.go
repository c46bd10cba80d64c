package page

import (
	"context"
	"crypto/rand"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/pikepole/pikepole/gateway/internal/problem"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

const (
	logShown = 50
	// A browser writes a time of day without a zone; that of the site is meant.
	fieldTime        = "2006-01-02T15:04"
	fieldTimeSeconds = "2006-01-02T15:04:05"
)

// newEntryID makes the id under which a form posts, so that a form which is sent twice is one entry.
func newEntryID() string { return "page-" + strings.ToLower(rand.Text()) }

// logPage is the log of a job with its forms.
type logPage struct {
	Lines []entryLine
	// After is the position of the newest entry shown.
	After int32
	// Next is the token of the next page; empty at the end.
	Next string
	// Kind is the kind that the list is narrowed to; empty for all.
	Kind string
	// MayPost says whether the reader's roles allow them to post.
	MayPost bool
	Forms   []entryForm
	// Posted says that an entry was just accepted.
	Posted bool
	// Refusal says why an entry was refused.
	Refusal string
	// Wrong asks whether an entry was wrong; nil when nobody wants to know.
	Wrong *wrongForm
	// Assemblies are those of the raising order; none when there is no order.
	Assemblies []string
}

// Kinds are the kinds that the list can be narrowed to.
func (*logPage) Kinds() []sitelogv1.EntryKind {
	var kinds []sitelogv1.EntryKind
	values := sitelogv1.EntryKind(0).Descriptor().Values()
	for i := 1; i < values.Len(); i++ {
		kinds = append(kinds, sitelogv1.EntryKind(values.Get(i).Number()))
	}
	return kinds
}

// entryForm is one form of the log.
type entryForm struct {
	// Name tells the forms apart.
	Name, Title string
	// ID is the id under which it posts.
	ID    string
	Kinds []sitelogv1.EntryKind
	// Open says whether it is shown unfolded.
	Open bool
	// Values are what its fields hold.
	Values url.Values
}

// Value gives what a field holds.
func (f entryForm) Value(field string) string { return f.Values.Get(field) }

// Causes are the causes of a delay.
func (entryForm) Causes() []sitelogv1.DelayCause {
	var causes []sitelogv1.DelayCause
	values := sitelogv1.DelayCause(0).Descriptor().Values()
	for i := 1; i < values.Len(); i++ {
		causes = append(causes, sitelogv1.DelayCause(values.Get(i).Number()))
	}
	return causes
}

// entryForms gives the forms; the one that was just refused keeps what was written.
func entryForms(progress *sitelogv1.Progress, now time.Time, refused url.Values) []entryForm {
	all := []entryForm{
		{Name: "move", Title: "A move", Kinds: []sitelogv1.EntryKind{sitelogv1.EntryKind_ENTRY_KIND_MOVE_DONE, sitelogv1.EntryKind_ENTRY_KIND_MOVE_STARTED}},
		{Name: "bent", Title: "A bent", Kinds: []sitelogv1.EntryKind{sitelogv1.EntryKind_ENTRY_KIND_BENT_RAISED, sitelogv1.EntryKind_ENTRY_KIND_BENT_ASSEMBLED}},
		{Name: "pieces", Title: "Pieces", Kinds: []sitelogv1.EntryKind{
			sitelogv1.EntryKind_ENTRY_KIND_PIECES_ARRIVED, sitelogv1.EntryKind_ENTRY_KIND_PIECES_PLACED,
			sitelogv1.EntryKind_ENTRY_KIND_PIECES_DAMAGED, sitelogv1.EntryKind_ENTRY_KIND_PIECES_MISSING,
		}},
		{Name: "delay", Title: "A delay", Kinds: []sitelogv1.EntryKind{sitelogv1.EntryKind_ENTRY_KIND_DELAY}},
		{Name: "note", Title: "A note", Kinds: []sitelogv1.EntryKind{sitelogv1.EntryKind_ENTRY_KIND_NOTE}},
	}
	for i := range all {
		form := &all[i]
		form.ID = newEntryID()
		form.Open = refused == nil && i == 0
		form.Values = url.Values{"time": {now.Format(fieldTime)}}
		if next := progress.GetNextMove(); next > 0 {
			form.Values.Set("move", strconv.Itoa(int(next)))
		}
		if refused.Get("form") == form.Name {
			form.Open, form.Values = true, refused
		}
	}
	return all
}

func (s *Site) log(w http.ResponseWriter, r *http.Request) {
	s.showLog(w, r, http.StatusOK, "", nil)
}

func (s *Site) showLog(w http.ResponseWriter, r *http.Request, status int, refusal string, refused url.Values) {
	v, ok := s.jobView(w, r, "Log", "log")
	if !ok {
		return
	}
	query := r.URL.Query()
	request := &sitelogv1.ListEntriesRequest{Job: v.Job.GetId(), PageSize: logShown, PageToken: query.Get("after")}
	kind := query.Get("kind")
	if number, known := sitelogv1.EntryKind_value[kind]; known && number != 0 {
		request.Kinds = []sitelogv1.EntryKind{sitelogv1.EntryKind(number)}
	} else {
		kind = ""
	}
	body := &logPage{Kind: kind, MayPost: v.MayPost(), Posted: query.Has("posted"), Refusal: refusal}
	var progress part[*sitelogv1.Progress]
	var raising part[*sequencingv1.Raising]
	var corrections part[*sitelogv1.ListEntriesResponse]
	var entries *sitelogv1.ListEntriesResponse
	var err error
	loaders := []func(context.Context){
		load(&progress, s.loadProgress(v.Job.GetId())),
		load(&corrections, s.loadCorrections(v.Job.GetId())),
		func(ctx context.Context) { entries, err = s.config.Sitelog.ListEntries(ctx, request) },
	}
	if body.MayPost && v.Job.GetLatestRevision() > 0 {
		loaders = append(loaders, load(&raising, s.loadRaising(v.Job.GetId(), v.revision())))
	}
	each(r.Context(), loaders...)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	if body.MayPost {
		if body.Wrong, err = s.wrong(r, v.Job.GetId(), corrections.Value.GetEntries(), refused); err != nil {
			s.fail(w, r, err)
			return
		}
	}
	v.Live = true
	body.Lines = entryLines(entries.GetEntries(), corrections.Value.GetEntries()...)
	body.After = newestPosition(entries.GetEntries())
	body.Next = entries.GetNextPageToken()
	body.Assemblies = assemblies(raising.Value)
	body.Forms = entryForms(progress.Value, s.config.Now().In(v.Zone()), refused)
	v.Body = body
	s.render(w, r, status, "log", v)
}

// MayPost says whether the reader's roles allow them to post entries. It only decides what is
// shown; the site log decides for itself.
func (v *view) MayPost() bool {
	for _, role := range v.Caller.GetRoles() {
		switch role {
		case accessv1.Role_ROLE_FIELD, accessv1.Role_ROLE_LEAD, accessv1.Role_ROLE_SHOP, accessv1.Role_ROLE_ADMIN:
			return v.CSRF != ""
		}
	}
	return false
}

// postEntry posts what a form says. The id was made when the form was shown, so sending it twice
// is harmless.
func (s *Site) postEntry(w http.ResponseWriter, r *http.Request) {
	job, err := s.getJob(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	entry, err := readEntry(r.PostForm, zone(job), s.config.Now())
	if err == nil {
		entry.Revision = moveRevision(entry, r.PostForm, job.GetLatestRevision())
		err = s.post(r.Context(), job.GetId(), entry)
	}
	if err != nil {
		d := problem.FromError(err, false)
		if d.Status != http.StatusBadRequest {
			s.fail(w, r, err)
			return
		}
		s.showLog(w, r, d.Status, d.Detail, r.PostForm)
		return
	}
	http.Redirect(w, r, "/jobs/"+url.PathEscape(job.GetId())+"/log?posted=1", http.StatusSeeOther)
}

// post posts one entry; a refusal of the entry is an error like any other.
func (s *Site) post(ctx context.Context, job string, entry *sitelogv1.Entry) error {
	answer, err := s.config.Sitelog.PostEntries(ctx, &sitelogv1.PostEntriesRequest{Job: job, Entries: []*sitelogv1.Entry{entry}})
	if err != nil {
		return err
	}
	for _, outcome := range answer.GetOutcomes() {
		if outcome.GetKind() == sitelogv1.OutcomeKind_OUTCOME_KIND_REFUSED {
			return fault.New(fault.InvalidArgument, "ENTRY_REFUSED", "%s", outcome.GetMessage())
		}
	}
	return nil
}

// moveRevision gives the revision whose raising order numbers the move: the one that the form was
// made for, or else the newest.
func moveRevision(entry *sitelogv1.Entry, form url.Values, latest int32) int32 {
	if entry.GetMove() == 0 {
		return 0
	}
	if n, err := strconv.ParseInt(form.Get("revision"), 10, 32); err == nil && n > 0 {
		return int32(n)
	}
	return latest
}

// readEntry reads an entry from a form.
func readEntry(form url.Values, site *time.Location, now time.Time) (*sitelogv1.Entry, error) {
	kind := sitelogv1.EntryKind(sitelogv1.EntryKind_value[form.Get("kind")])
	entry := &sitelogv1.Entry{
		Id:    form.Get("id"),
		Kind:  kind,
		Note:  strings.TrimSpace(form.Get("note")),
		Cause: sitelogv1.DelayCause(sitelogv1.DelayCause_value[form.Get("cause")]),
	}
	at, err := readTime(form.Get("time"), site, now)
	if err != nil {
		return nil, err
	}
	entry.OccurTime = timestamppb.New(at)
	switch kind {
	case sitelogv1.EntryKind_ENTRY_KIND_UNSPECIFIED:
		return nil, unread("Nothing says what happened; choose what the entry says.")
	case sitelogv1.EntryKind_ENTRY_KIND_MOVE_DONE, sitelogv1.EntryKind_ENTRY_KIND_MOVE_STARTED:
		entry.Move, err = readNumber(form, "move", "the number of the move")
	case sitelogv1.EntryKind_ENTRY_KIND_DELAY:
		entry.DelayMinutes, err = readNumber(form, "minutes", "the minutes that were lost")
	case sitelogv1.EntryKind_ENTRY_KIND_BENT_ASSEMBLED, sitelogv1.EntryKind_ENTRY_KIND_BENT_RAISED:
		entry.Assembly = strings.TrimSpace(form.Get("assembly"))
	case sitelogv1.EntryKind_ENTRY_KIND_PIECES_ARRIVED, sitelogv1.EntryKind_ENTRY_KIND_PIECES_PLACED,
		sitelogv1.EntryKind_ENTRY_KIND_PIECES_DAMAGED, sitelogv1.EntryKind_ENTRY_KIND_PIECES_MISSING:
		entry.Marks = readMarks(form.Get("marks"))
	case sitelogv1.EntryKind_ENTRY_KIND_CORRECTION:
		entry.Corrects = form.Get("corrects")
	}
	if err != nil {
		return nil, err
	}
	return entry, nil
}

// unread refuses a form with a sentence for the person who filled it in, who sees no names of fields.
func unread(format string, args ...any) error {
	return fault.New(fault.InvalidArgument, "FORM_NOT_READ", format, args...)
}

// readMarks splits marks at commas and line ends; a mark may have spaces in it.
func readMarks(text string) []string {
	var marks []string
	for _, mark := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' || r == '\n' || r == '\r' }) {
		if mark = strings.TrimSpace(mark); mark != "" {
			marks = append(marks, mark)
		}
	}
	return marks
}

func readNumber(form url.Values, field, what string) (int32, error) {
	n, err := strconv.ParseInt(strings.TrimSpace(form.Get(field)), 10, 32)
	if err != nil || n < 1 {
		return 0, unread("Write %s as a whole number from 1.", what)
	}
	return int32(n), nil
}

// readTime reads a time of day at the site; none means now.
func readTime(text string, site *time.Location, now time.Time) (time.Time, error) {
	if text == "" {
		return now, nil
	}
	for _, form := range []string{fieldTime, fieldTimeSeconds, time.RFC3339} {
		if at, err := time.ParseInLocation(form, text, site); err == nil {
			return at, nil
		}
	}
	return time.Time{}, unread("The time could not be read; write the time as year-month-day, T, hours:minutes, such as %s.", now.In(site).Format(fieldTime))
}

// Own says whether an entry is the reader's own.
func (v *view) Own(entry entryLine) bool {
	return v.Caller.GetPerson() != "" && v.Caller.GetPerson() == entry.GetAuthor()
}
