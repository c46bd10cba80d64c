// Package demo has the data of the demonstration, all of it invented: a company with three
// jobs, another company with one, and what is needed to load them. Everything goes in through
// the same calls that any client makes.
package demo

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/identity"
)

// Operator makes what no client may make: companies, and the first people and keys in them.
// The access service is one.
type Operator interface {
	CreateCompany(ctx context.Context, id, name string) error
	CreatePersonIn(ctx context.Context, company, name string, roles []identity.Role) (string, error)
	CreateKeyIn(ctx context.Context, company, person, label string) (string, error)
	CreateSignInLinkIn(ctx context.Context, company, person string) (string, error)
	RevokeKey(ctx context.Context, company, key string) error
}

// Target is where the data goes.
type Target struct {
	Operator Operator
	// Connect connects to a service. Load closes what it gets.
	Connect func(service string, o dial.Options) (*grpc.ClientConn, error)
	// State is the file that remembers what was loaded, so that a second start in the same
	// data folder loads nothing twice.
	State string
	Now   func() time.Time
}

// Loaded says how to get in.
type Loaded struct {
	// Keys are the first company's, by role.
	Keys map[string]string
	// OtherKey belongs to the admin of the second company.
	OtherKey string
	// SignInCode is a one-time code for the first company's lead.
	SignInCode string
	// Jobs are the ids of all jobs by the name of their file, such as "cabin".
	Jobs map[string]string
}

// Load puts the demonstration's data into the target unless it is there already, and makes
// new keys either way, since a key is shown once; the keys of the start before are revoked.
func Load(ctx context.Context, t Target) (*Loaded, error) {
	all, err := readCompanies()
	if err != nil {
		return nil, err
	}
	st, err := readState(t.State, t.Now())
	if err != nil {
		return nil, err
	}
	lines := &lines{connect: t.Connect, open: map[line]*grpc.ClientConn{}}
	defer lines.close()
	loaded := &Loaded{Keys: map[string]string{}}
	for i, c := range all {
		keys, err := st.letIn(ctx, t.Operator, c)
		if err != nil {
			return nil, fmt.Errorf("demo: people of %s: %w", c.Name, err)
		}
		l := loader{lines: lines, state: st, keys: keys}
		if err := l.load(ctx, c); err != nil {
			return nil, fmt.Errorf("demo: %s: %w", c.Name, err)
		}
		if i == 0 {
			loaded.Keys = keys
		} else {
			loaded.OtherKey = keys["admin"]
		}
	}
	first := all[0].ID
	if loaded.SignInCode, err = t.Operator.CreateSignInLinkIn(ctx, first, st.Companies[first].People["lead"]); err != nil {
		return nil, fmt.Errorf("demo: sign-in link: %w", err)
	}
	loaded.Jobs = st.Jobs
	return loaded, nil
}

// loader loads one company.
type loader struct {
	lines *lines
	state *state
	keys  map[string]string
}

// as connects to a service in the name of a role, or of the admin where the company has
// nobody with that role.
func (l loader) as(role, service string) (grpc.ClientConnInterface, error) {
	key, ok := l.keys[role]
	if !ok {
		key = l.keys["admin"]
	}
	return l.lines.get(service, key)
}

func (l loader) load(ctx context.Context, c company) error {
	if l.state.Companies[c.ID].Loaded {
		return nil
	}
	if err := l.book(ctx, c.ID); err != nil {
		return err
	}
	for _, name := range c.Jobs {
		if err := l.job(ctx, c.ID, name); err != nil {
			return fmt.Errorf("job %s: %w", name, err)
		}
	}
	l.state.Companies[c.ID].Loaded = true
	return l.state.save()
}

// book puts cranes, gear and rates of work.
func (l loader) book(ctx context.Context, company string) error {
	riggingConn, err := l.as("lead", "rigging")
	if err != nil {
		return err
	}
	rigging := riggingv1.NewRiggingServiceClient(riggingConn)
	cranes, err := readCranes(company)
	if err != nil {
		return err
	}
	for _, c := range cranes {
		if _, err := rigging.PutCrane(ctx, &riggingv1.PutCraneRequest{Crane: c}); err != nil {
			return fmt.Errorf("crane %s: %w", c.GetId(), err)
		}
	}
	gear, err := readGear(company)
	if err != nil {
		return err
	}
	for _, g := range gear {
		if _, err := rigging.PutGear(ctx, &riggingv1.PutGearRequest{Gear: g}); err != nil {
			return fmt.Errorf("gear %s: %w", g.GetId(), err)
		}
	}
	work := &sequencingv1.Work{}
	if err := readProto(company+"/work.json", work); err != nil {
		return err
	}
	sequencingConn, err := l.as("lead", "sequencing")
	if err != nil {
		return err
	}
	if _, err := sequencingv1.NewSequencingServiceClient(sequencingConn).PutWork(ctx, &sequencingv1.PutWorkRequest{Work: work}); err != nil {
		return fmt.Errorf("rates of work: %w", err)
	}
	return nil
}

// job makes a job, roughs its frame out, issues it and posts its entries. Each step is safe
// to repeat: a start that was cut off goes on where it was.
func (l loader) job(ctx context.Context, company, name string) error {
	data, err := readJob(company, name)
	if err != nil {
		return err
	}
	office, err := l.as("estimator", "frames")
	if err != nil {
		return err
	}
	jobs := framesv1.NewFramesServiceClient(office)
	made, err := jobs.CreateJob(ctx, &framesv1.CreateJobRequest{Job: data.job, RequestId: "demo-job-" + name})
	if err != nil {
		return err
	}
	id := made.GetId()
	frame, err := jobs.RoughOutFrame(ctx, &framesv1.RoughOutFrameRequest{Rough: data.rough})
	if err != nil {
		return fmt.Errorf("rough out: %w", err)
	}
	shop, err := l.as("shop", "frames")
	if err != nil {
		return err
	}
	issue := &framesv1.IssueFrameRequest{Job: id, Frame: frame, Note: data.Note, RequestId: "demo-frame-" + name}
	revision, err := framesv1.NewFramesServiceClient(shop).IssueFrame(ctx, issue)
	if err != nil {
		return fmt.Errorf("issue the frame: %w", err)
	}
	l.state.Jobs[name] = id
	if len(data.Entries) == 0 {
		return nil
	}
	return l.post(ctx, id, data, frame, revision.GetRevision())
}

// post posts the entries of a job.
func (l loader) post(ctx context.Context, job string, data *jobData, frame *framev1.Frame, revision int32) error {
	plans, err := l.as("lead", "sequencing")
	if err != nil {
		return err
	}
	order, err := sequencingv1.NewSequencingServiceClient(plans).GetRaising(ctx, &sequencingv1.GetRaisingRequest{Job: job, Revision: fmt.Sprint(revision)})
	if err != nil {
		return fmt.Errorf("raising order: %w", err)
	}
	zone, err := time.LoadLocation(data.job.GetSite().GetTimeZone())
	if err != nil {
		return err
	}
	w := writer{frame: frame, order: order, revision: revision, start: l.state.Start.In(zone)}
	entries, err := w.write(data.Entries)
	if err != nil {
		return err
	}
	field, err := l.as("field", "sitelog")
	if err != nil {
		return err
	}
	answer, err := sitelogv1.NewSitelogServiceClient(field).PostEntries(ctx, &sitelogv1.PostEntriesRequest{Job: job, Entries: entries})
	if err != nil {
		return fmt.Errorf("post entries: %w", err)
	}
	for _, o := range answer.GetOutcomes() {
		if o.GetKind() == sitelogv1.OutcomeKind_OUTCOME_KIND_REFUSED {
			return fmt.Errorf("entry %s: %s: %s", o.GetId(), o.GetField(), o.GetMessage())
		}
	}
	return nil
}
