package sequencing

import (
	"errors"
	"math"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/makesafe"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// How many uses a verdict lists: that of one state, that of a state of a whole raising, and what is only looked at when
// it falls. A raising has hundreds of verdicts.
const (
	mostUses   = 50
	stateUses  = 10
	besideUses = 3
)

// verdictPB is a verdict as a message, with so many uses; nil stays nil.
func verdictPB(v *standing.Verdict, most int, gust float64, braces []brace.Brace) *sequencingv1.Verdict {
	if v == nil {
		return nil
	}
	out := &sequencingv1.Verdict{
		Stands: v.Stands, Governing: usePB(v.Governing), GustMPerS: gust, SwayMm: finite(v.SwayMM), TopMark: v.TopMark,
		TopMm: v.TopMM, WeightN: v.WeightN, Residual: v.Residual,
	}
	for _, u := range v.Worst[:min(len(v.Worst), most)] {
		out.Uses = append(out.Uses, usePB(u))
	}
	if v.HighestGustMPS >= 0 {
		out.HighestGustMPerS = &v.HighestGustMPS
	}
	for i, f := range v.BraceForces {
		if i < len(braces) {
			out.BraceForces = append(out.BraceForces, &sequencingv1.BraceForce{
				Brace: braces[i].ID, PullN: finite(f.Pull), PushN: finite(f.Push),
			})
		}
	}
	return out
}

func usePB(u standing.Usage) *sequencingv1.Use {
	out := &sequencingv1.Use{
		Failure: failurePB(u.Kind), Piece: u.Piece, Demand: finite(u.Demand), Capacity: finite(u.Capacity), Unit: u.Unit,
		Combination: u.Combination, Formula: u.Formula, Source: u.Source, Status: sheet.Status(u.Status), Words: u.Words,
	}
	if share := u.Share; !math.IsInf(share, 0) && !math.IsNaN(share) {
		out.Share = &share
	}
	return out
}

// failurePB is a kind of failure as a message: the numbers are the same.
func failurePB(k standing.FailureKind) sequencingv1.Failure { return sequencingv1.Failure(k) }

// finite is a number that JSON can write; what has no number is 0 there.
func finite(v float64) float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return 0
	}
	return v
}

// knockedPB is the worst state with a brace knocked out; without braces there is none.
func knockedPB(k *makesafe.Knocked, gust float64, braces []brace.Brace) *sequencingv1.KnockedOut {
	if k == nil || k.Brace == "" {
		return nil
	}
	return &sequencingv1.KnockedOut{Brace: k.Brace, Verdict: verdictPB(k.Verdict, besideUses, gust, without(braces, k.Brace))}
}

// without are the braces but for one.
func without(braces []brace.Brace, id string) []brace.Brace {
	var out []brace.Brace
	for _, b := range braces {
		if b.ID != id {
			out = append(out, b)
		}
	}
	return out
}

// refused turns what the engine says of its input into a fault of the request.
func refused(err error) error {
	var input *statics.InputError
	if errors.As(err, &input) {
		return fault.Invalid(input.Piece, "%s", input.Problem)
	}
	return err
}
