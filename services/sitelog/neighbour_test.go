package sitelog_test

import (
	"context"
	"strconv"
	"sync"

	"google.golang.org/grpc"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// neighbours are the frames and sequencing services as small as the site log needs them, behind the real server chain:
// they answer for the company of the token that comes with the call.
type neighbours struct {
	framesv1.UnimplementedFramesServiceServer
	sequencing sequencing

	mu       sync.Mutex
	jobs     map[string]map[string]*framesv1.FrameRevision // by company and job; nil without a frame
	jobAsked int
	away     error
}

type sequencing struct {
	sequencingv1.UnimplementedSequencingServiceServer
	house *neighbours
}

func newNeighbours() *neighbours {
	n := &neighbours{jobs: map[string]map[string]*framesv1.FrameRevision{
		ours: {
			shed:   {Job: shed, Revision: 2, Digest: "d2", LatestRevision: 2, Frame: shedFrame()},
			locked: {Job: locked, Revision: 1, Digest: "d1", LatestRevision: 1, Frame: shedFrame()},
			bare:   nil,
		},
		theirs: {barn: {Job: barn, Revision: 1, Digest: "d9", LatestRevision: 1, Frame: &framev1.Frame{}}},
	}}
	n.sequencing.house = n
	return n
}

// shedFrame is two bents of two posts and a tie beam, a truss, and two loose girts.
func shedFrame() *framev1.Frame {
	f := &framev1.Frame{Assemblies: []*framev1.Assembly{
		{Id: "bent-1", Kind: framev1.AssemblyKind_ASSEMBLY_KIND_BENT},
		{Id: "bent-2", Kind: framev1.AssemblyKind_ASSEMBLY_KIND_BENT},
		{Id: "truss-1", Kind: framev1.AssemblyKind_ASSEMBLY_KIND_ROOF_TRUSS},
	}}
	for _, t := range [][2]string{
		{"P1", "bent-1"}, {"P2", "bent-1"}, {"T1", "bent-1"}, {"P3", "bent-2"}, {"P4", "bent-2"}, {"T2", "bent-2"}, {"R1", "truss-1"}, {"G1", ""}, {"G2", ""},
	} {
		f.Timbers = append(f.Timbers, &framev1.Timber{Mark: t[0], Assembly: t[1]})
	}
	return f
}

func (n *neighbours) find(ctx context.Context, job string) (*framesv1.FrameRevision, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.away != nil {
		return nil, n.away
	}
	revision, there := n.jobs[caller.Company][job]
	if !there {
		return nil, fault.New(fault.NotFound, "JOB_NOT_FOUND", "There is no job %q.", job)
	}
	return revision, nil
}

func (n *neighbours) setAway(err error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.away = err
}

func (n *neighbours) asked() int {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.jobAsked
}

func (n *neighbours) GetJob(ctx context.Context, req *framesv1.GetJobRequest) (*framesv1.Job, error) {
	revision, err := n.find(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	n.jobAsked++
	return &framesv1.Job{Id: req.GetJob(), LatestRevision: revision.GetLatestRevision()}, nil
}

func (n *neighbours) GetFrame(ctx context.Context, req *framesv1.GetFrameRequest) (*framesv1.FrameRevision, error) {
	revision, err := n.find(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	if revision == nil || req.GetRevision() != strconv.Itoa(int(revision.GetRevision())) {
		return nil, fault.New(fault.NotFound, "REVISION_NOT_FOUND", "There is no revision %q.", req.GetRevision())
	}
	return revision, nil
}

func (s *sequencing) GetRaising(ctx context.Context, req *sequencingv1.GetRaisingRequest) (*sequencingv1.Raising, error) {
	if _, err := s.house.find(ctx, req.GetJob()); err != nil {
		return nil, err
	}
	if req.GetJob() == locked {
		return nil, fault.New(fault.Precondition, "FRAME_LOCKED", "Joints J1 and J2 lock one another.")
	}
	return &sequencingv1.Raising{Moves: []*sequencingv1.Move{
		{Number: 1, Assembly: "bent-1", Marks: []string{"P1", "P2", "T1"}},
		{Number: 2, Marks: []string{"G1"}},
		{Number: 3, Assembly: "bent-2", Marks: []string{"P3", "P4", "T2"}},
		{Number: 4, Marks: []string{"G2"}},
		{Number: 5, Assembly: "truss-1", Marks: []string{"R1"}},
	}}, nil
}

func (n *neighbours) Name() string { return "neighbours" }

func (n *neighbours) Register(r grpc.ServiceRegistrar) {
	framesv1.RegisterFramesServiceServer(r, n)
	sequencingv1.RegisterSequencingServiceServer(r, &n.sequencing)
}

func (n *neighbours) Policy() policy.Table {
	table := policy.Table{}
	for _, desc := range []grpc.ServiceDesc{framesv1.FramesService_ServiceDesc, sequencingv1.SequencingService_ServiceDesc} {
		for _, m := range desc.Methods {
			table["/"+desc.ServiceName+"/"+m.MethodName] = policy.Rule{Roles: identity.Roles()}
		}
		for _, m := range desc.Streams {
			table["/"+desc.ServiceName+"/"+m.StreamName] = policy.Rule{Roles: identity.Roles()}
		}
	}
	return table
}

func (n *neighbours) Migrate(context.Context) error { return nil }
func (n *neighbours) Close() error                  { return nil }
