package makesafe

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// report checks every state once more as planned, in full, and says what comes off when.
func (r *raiser) report(ctx context.Context, plan *RaisingPlan) error {
	plan.Cuts = brace.Cuts(r.all, r.p.Stock)
	plan.Stages, plan.First = make([]Stage, 0, len(r.p.Moves)), 0
	for k := 1; k <= len(r.p.Moves); k++ {
		if err := r.tell(ctx, plan, k, true); err != nil {
			return err
		}
	}
	plan.Checked = true
	plan.Notes = append(plan.Notes, r.notes()...)
	return nil
}

// tell adds a stage to a plan and tells the plan; last is for the check in the end.
func (r *raiser) tell(ctx context.Context, plan *RaisingPlan, k int, last bool) error {
	st := Stage{Move: k, On: r.braces(r.on[k]), Refusal: r.refused[k-1]}
	for i, f := range r.from {
		if f == k {
			st.Set = append(st.Set, r.all[i])
		}
	}
	for _, i := range r.on[k] {
		if !slices.Contains(r.keep[k], i) {
			st.Strike = append(st.Strike, Strike{ID: r.all[i].ID, Once: r.once(k)})
		}
	}
	if err := r.verdicts(ctx, k, &st, last); err != nil {
		return err
	}
	if last && !st.stands() && st.Refusal == "" {
		if err := r.pegged(ctx, k, &st); err != nil {
			return err
		}
	}
	if v := st.Knocked; st.Refusal == "" && v != nil && !v.Verdict.Stands {
		st.Refusal = fmt.Sprintf("It does not stand with brace %s knocked out. %s", v.Brace, v.Verdict.Governing.Words)
	}
	if plan.First == 0 && !st.stands() {
		plan.First = k
	}
	plan.Stages = append(plan.Stages, st)
	if r.improve != nil {
		told := *plan
		told.Stages = slices.Clone(plan.Stages)
		r.improve(told)
	}
	return nil
}

// pegged tries whether all that a planned stage lacks is that its joints are pegged before the hook lets go.
func (r *raiser) pegged(ctx context.Context, k int, st *Stage) error {
	if r.p.Given != nil || r.pegFirst[k] || r.p.footed(k) {
		return nil
	}
	r.pegFirst[k] = true
	first := *st
	if err := r.verdicts(ctx, k, &first, true); err != nil {
		return err
	}
	if first.stands() {
		*st = first
	} else {
		r.pegFirst[k] = false
	}
	return nil
}

// verdicts are those of a stage with what is on; last asks for the loss of every brace.
func (r *raiser) verdicts(ctx context.Context, k int, st *Stage, last bool) (err error) {
	on, m := r.on[k], r.letGo(k)
	st.PegFirst = r.pegFirst[k]
	if st.Released, err = r.verdict(ctx, k, m, on, -1); err != nil {
		return err
	}
	if st.Knocked, err = r.knocked(ctx, k, m, on, last); err != nil {
		return err
	}
	if r.hooked(k) {
		if st.Beside, err = r.verdict(ctx, k, Beside, r.keep[k], -1); err != nil {
			return err
		}
	}
	if r.p.Moves[k-1].DayEnds {
		st.Overnight, err = r.verdict(ctx, k, Overnight, r.keep[k], -1)
	}
	return err
}

// knocked is the worst state with one brace knocked out; nil without braces. With last every brace is looked at, else not
// those whose loss was slight before.
func (r *raiser) knocked(ctx context.Context, k int, m Moment, on []int, last bool) (*Knocked, error) {
	var worst *Knocked
	for i, b := range on {
		v := r.seen[r.key(k, m, on, i)]
		if v == nil && r.slight[b] && !last {
			continue
		}
		if v == nil {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			var err error
			if v, _, err = r.j.look(ctx, r.state(k, m, on, i), true); err != nil {
				return nil, err
			}
		}
		if !v.Stands {
			var err error
			if v, err = r.verdict(ctx, k, m, on, i); err != nil {
				return nil, err
			}
		}
		if worst == nil || worse(v, worst.Verdict) {
			worst = &Knocked{Brace: r.all[b].ID, Verdict: v}
		}
	}
	return worst, nil
}

// verdict is a whole verdict: one that stands is whole already.
func (r *raiser) verdict(ctx context.Context, k int, m Moment, on []int, without int) (*standing.Verdict, error) {
	if v := r.seen[r.key(k, m, on, without)]; v != nil && v.Stands {
		return v, nil
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return r.j.verdict(ctx, r.state(k, m, on, without), without >= 0)
}

// stands says whether a stage stands in all that was asked of it.
func (s *Stage) stands() bool {
	return s.Released.Stands && (s.Overnight == nil || s.Overnight.Stands) && (s.Beside == nil || s.Beside.Stands) &&
		(s.Knocked == nil || s.Knocked.Verdict.Stands)
}

// once says what must be on before braces come off after a stage.
func (r *raiser) once(k int) string {
	words := fmt.Sprintf("Once all joints of move %d are pegged", k)
	keep := r.braces(r.keep[k])
	if len(keep) == 0 {
		return words + "; it stands without any from then on."
	}
	ids := make([]string, len(keep))
	for i := range keep {
		ids[i] = keep[i].ID
	}
	return fmt.Sprintf("%s, with %s on.", words, strings.Join(ids, ", "))
}

// notes say what holds for the whole raising.
func (r *raiser) notes() []string {
	notes := []string{}
	notes = append(notes, "A brace that comes off is not counted on again: its board is not used for another.")
	if last := r.keep[len(r.keep)-1]; r.p.Given == nil && len(last) > 0 {
		notes = append(notes, fmt.Sprintf("The finished frame does not stand the night's gust without braces: %d stay on until roof and walls stiffen it.", len(last)))
	}
	return notes
}
