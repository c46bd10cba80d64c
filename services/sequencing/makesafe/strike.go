package makesafe

import (
	"context"
	"encoding/binary"
	"slices"

	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// settled says whether braces may come off after a stage: once a bent stands, when a day ends, or at the end.
func (r *raiser) settled(k int) bool {
	return k == len(r.p.Moves) || r.p.Moves[k-1].DayEnds || r.p.footed(k)
}

// strike lets braces come off after a stage: those of one move after the other, the oldest first, when the stage stands a
// night's gust without them once its joints are pegged, with any one of the others knocked out, and beside the next move. Those
// of the last two moves that stand something on the deck stay on until the end.
func (r *raiser) strike(ctx context.Context, k int) error {
	last := k == len(r.p.Moves)
	before := k + 1
	if !last {
		for posts := 0; before > 1 && posts < 2; {
			if before--; r.p.footed(before) {
				posts++
			}
		}
	}
	for f := 1; f < before; f++ {
		var group []int
		for _, i := range r.after(k) {
			if r.from[i] == f {
				group = append(group, i)
			}
		}
		if err := r.takeOff(ctx, k, Overnight, group); err != nil {
			return err
		}
	}
	return nil
}

// takeOff takes some braces off after a stage when it stands without them: at a moment, with any one of the others knocked
// out, and beside the next move.
func (r *raiser) takeOff(ctx context.Context, k int, m Moment, out []int) error {
	if len(out) == 0 {
		return nil
	}
	on := slices.DeleteFunc(r.after(k), func(i int) bool { return slices.Contains(out, i) })
	if r.hooked(k) {
		if v, err := r.ask(ctx, k, Beside, on, -1); err != nil || !v.Stands {
			return err
		}
	}
	if ok, err := r.survives(ctx, k, m, on); err != nil || !ok {
		return err
	}
	for _, i := range out {
		r.off[i] = k
	}
	return nil
}

// until are all braces that can be on while a stage is checked.
func (r *raiser) until(k int) []int { return r.those(k, k) }

// after are all braces that can be on after a stage.
func (r *raiser) after(k int) []int { return r.those(k, k+1) }

// those are the braces that are set up to a stage and not taken off before another.
func (r *raiser) those(set, off int) []int {
	var all []int
	for i, f := range r.from {
		if f <= set && (r.off[i] == 0 || r.off[i] >= off) {
			all = append(all, i)
		}
	}
	return all
}

// survives says whether a state stands with some braces, and with any one of them knocked out in the low gust.
func (r *raiser) survives(ctx context.Context, k int, m Moment, on []int) (bool, error) {
	for i := -1; i < len(on); i++ {
		v, err := r.ask(ctx, k, m, on, i)
		if err != nil || !v.Stands {
			return false, err
		}
	}
	return true, nil
}

// ask asks the judge once for the state after a stage with some braces, one of them knocked out in the low gust unless without
// is −1.
func (r *raiser) ask(ctx context.Context, k int, m Moment, on []int, without int) (*standing.Verdict, error) {
	key := r.key(k, m, on, without)
	if v := r.seen[key]; v != nil {
		return v, nil
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if r.steps >= r.most {
		return nil, errSteps
	}
	r.steps++
	v, _, err := r.j.look(ctx, r.state(k, m, on, without), without >= 0)
	if err == nil {
		r.seen[key] = v
		if without >= 0 {
			r.note(on[without], v, r.seen[r.key(k, m, on, -1)])
		}
	}
	return v, err
}

// state is that after a stage with some braces, one of them knocked out in the low gust unless without is −1.
func (r *raiser) state(k int, m Moment, on []int, without int) standing.Situation {
	braces := r.braces(on)
	if without < 0 {
		return r.p.State(k, braces, m)
	}
	s := r.p.State(k, slices.Delete(braces, without, without+1), m)
	s.GustMPS = min(s.GustMPS, r.p.Rules.LowGustMPS)
	return s
}

// key names what ask asks for.
func (r *raiser) key(k int, m Moment, on []int, without int) string {
	key := binary.AppendVarint(nil, int64(k))
	key = binary.AppendVarint(key, int64(m))
	low := int64(0)
	if without >= 0 {
		low = 1
	}
	key = binary.AppendVarint(key, low)
	for i, b := range on {
		if i != without {
			key = binary.AppendVarint(key, int64(b))
		}
	}
	return string(key)
}
