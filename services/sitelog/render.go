package sitelog

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/sitelog/entry"
	"github.com/pikepole/pikepole/services/sitelog/progress"
)

// parseEntry reads what a client says; what the service gives (author, time, position) is passed over. A time that is
// missing or out of bounds comes out as none, which the checks refuse.
func parseEntry(in *sitelogv1.Entry) entry.Entry {
	e := entry.Entry{
		ID: in.GetId(), Kind: entry.Kind(in.GetKind()), Marks: in.GetMarks(), Assembly: in.GetAssembly(),
		Move: in.GetMove(), Revision: in.GetRevision(), Cause: entry.Cause(in.GetCause()), DelayMinutes: in.GetDelayMinutes(),
		Note: in.GetNote(), Corrects: in.GetCorrects(),
	}
	if t := in.GetOccurTime(); t != nil && t.CheckValid() == nil {
		e.OccurTime = time.UnixMicro(t.AsTime().UnixMicro()).UTC()
	}
	return e
}

func renderEntry(e entry.Accepted) *sitelogv1.Entry {
	return &sitelogv1.Entry{
		Id: e.ID, Kind: sitelogv1.EntryKind(e.Kind), OccurTime: timestamppb.New(e.OccurTime), Marks: e.Marks, Assembly: e.Assembly,
		Move: e.Move, Revision: e.Revision, Cause: sitelogv1.DelayCause(e.Cause), DelayMinutes: e.DelayMinutes,
		Note: e.Note, Corrects: e.Corrects, Author: e.Author, AcceptTime: timestamppb.New(e.AcceptTime), Position: e.Position,
	}
}

func renderOutcome(o entry.Outcome) *sitelogv1.Outcome {
	out := &sitelogv1.Outcome{Id: o.ID, Kind: sitelogv1.OutcomeKind(o.Fate), Position: o.Position}
	if o.Fault != nil {
		out.Field, out.Message = o.Fault.Field, o.Fault.Message
	}
	return out
}

// planOf takes out of a frame what progress is measured by.
func planOf(revision int32, f *framev1.Frame) progress.Plan {
	plan := progress.Plan{Revision: revision}
	members := map[string][]string{}
	for _, t := range f.GetTimbers() {
		plan.Pieces = append(plan.Pieces, t.GetMark())
		if a := t.GetAssembly(); a != "" {
			members[a] = append(members[a], t.GetMark())
		}
	}
	for _, a := range f.GetAssemblies() {
		plan.Assemblies = append(plan.Assemblies, progress.Assembly{
			ID: a.GetId(), Bent: a.GetKind() == framev1.AssemblyKind_ASSEMBLY_KIND_BENT, Marks: members[a.GetId()],
		})
	}
	return plan
}

func movesOf(r *sequencingv1.Raising) []progress.Move {
	moves := make([]progress.Move, 0, len(r.GetMoves()))
	for _, m := range r.GetMoves() {
		moves = append(moves, progress.Move{Number: m.GetNumber(), Assembly: m.GetAssembly(), Marks: m.GetMarks()})
	}
	return moves
}

func renderProgress(p progress.Progress) *sitelogv1.Progress {
	out := &sitelogv1.Progress{
		PieceCount: int32(p.Pieces), ArrivedCount: int32(p.Arrived), PlacedCount: int32(p.Placed),
		Damaged: p.Damaged, Missing: p.Missing,
		BentCount: int32(p.Bents), AssembledCount: int32(p.Assembled), RaisedCount: int32(p.Raised),
		MoveCount: int32(p.Moves), MovesDoneCount: int32(p.MovesDone), NextMove: p.NextMove,
		EntryCount: int32(p.Entries), Remarks: p.Remarks,
	}
	for _, d := range p.Delays {
		out.Delays = append(out.Delays, &sitelogv1.Delay{Cause: sitelogv1.DelayCause(d.Cause), Hours: d.Hours()})
	}
	if p.Entries > 0 {
		out.NewestOccurTime = timestamppb.New(p.Newest)
	}
	return out
}
