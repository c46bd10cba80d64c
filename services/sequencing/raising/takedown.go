package raising

import (
	"cmp"
	"container/heap"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// step is a set of units that left together.
type step struct {
	set []int32
	dir int32
}

// queue holds units by their place in the order of preference, the last one on top.
type queue []int32

func (q queue) Len() int           { return len(q) }
func (q queue) Less(i, j int) bool { return q[i] > q[j] }
func (q queue) Swap(i, j int)      { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)        { *q = append(*q, x.(int32)) }
func (q *queue) Pop() any {
	last := len(*q) - 1
	x := (*q)[last]
	*q = (*q)[:last]
	return x
}

// takedown is the taking apart of the whole frame.
type takedown struct {
	*search
	place []int32 // of each unit in the order of preference
	unit  []int32 // at each place
	// level holds what may leave level or upwards, below what was tried for that in vain.
	level, below queue
	queued       []bool    // in level
	waiting      [][]int32 // units to try again when this one has left
	payers       [][]*debt // debts that are paid by a unit's leaving
	left         int
	steps        []step
}

// takeDown takes the frame apart, preferring those with the greatest number in first, and then what would be
// raised last. It gives the steps in the order of leaving, and the units that nothing opens. It may be called
// again.
func (s *search) takeDown(first []int) (steps []step, stuck []int32) {
	n := len(s.Units)
	for u := range s.in {
		s.in[u] = true
		s.live[u], s.gone[u] = append(s.live[u][:0], s.at[u]...), 0
	}
	t := &takedown{
		search: s, unit: s.all(), place: make([]int32, n),
		queued: make([]bool, n), waiting: make([][]int32, n), left: n,
		payers: make([][]*debt, n),
	}
	s.large = make([]map[int32]*debt, n)
	defer func() { s.large = nil }()
	slices.SortFunc(t.unit, func(a, b int32) int {
		return cmp.Or(cmp.Compare(first[a], first[b]), s.Units[a].Rank.compare(s.Units[b].Rank))
	})
	for i, u := range t.unit {
		t.place[u] = int32(i)
	}
	for t.left > 0 {
		t.requeue()
		before := t.left
		t.run()
		if t.left == before || t.ctx.Err() != nil {
			for u := range t.in {
				if t.in[u] {
					stuck = append(stuck, int32(u))
				}
			}
			return t.steps, stuck
		}
	}
	return t.steps, nil
}

// requeue makes every unit that is left a candidate.
func (t *takedown) requeue() {
	t.level, t.below = t.level[:0], t.below[:0]
	for u, in := range t.in {
		if in {
			t.queued[u] = true
			t.level = append(t.level, t.place[u])
		}
	}
	heap.Init(&t.level)
}

// run lets sets leave until no candidate is left, or the context ends.
func (t *takedown) run() {
	for tried := 0; ; tried++ {
		if tried%64 == 0 && t.ctx.Err() != nil {
			return
		}
		from, down := &t.level, false
		if len(t.level) == 0 {
			from, down = &t.below, true
		}
		if len(*from) == 0 {
			return
		}
		u := t.unit[heap.Pop(from).(int32)]
		if !t.in[u] || down && t.queued[u] {
			continue
		}
		t.queued[u] = false
		if st, ok := t.try(u, down); ok {
			t.remove(st)
		} else if !down {
			heap.Push(&t.below, t.place[u])
		}
	}
}

// try looks for a set with unit u that may leave and holds no smaller one that may.
func (t *takedown) try(u int32, down bool) (step, bool) {
	var found []step
	for _, d := range t.tries[u] {
		if t.compass.down(d) != down {
			continue
		}
		if !t.leave(u, d, MaxGroup) {
			t.park(u, d)
			continue
		}
		found = append(found, step{set: slices.Clone(t.set), dir: d})
		if len(t.set) == 1 {
			break
		}
	}
	slices.SortStableFunc(found, func(a, b step) int { return cmp.Compare(len(a.set), len(b.set)) })
	for _, st := range found {
		if len(st.set) == 1 {
			return st, true
		}
		if smaller := t.smaller(st.set, down); smaller != nil {
			t.wait(u, smaller)
			continue
		}
		if t.flat(st.set) && len(t.apart(st.set)) == 0 {
			return st, true
		}
		t.wait(u, st.set)
	}
	return step{}, false
}

// wait has unit u tried again when one of the others has left.
func (t *takedown) wait(u int32, others []int32) {
	for _, v := range others {
		if w := t.waiting[v]; v != u && (len(w) == 0 || w[len(w)-1] != u) {
			t.waiting[v] = append(w, u)
		}
	}
}

// remove lets a set leave and wakes what waited for it.
func (t *takedown) remove(st step) {
	t.steps = append(t.steps, st)
	t.left -= len(st.set)
	for _, v := range st.set {
		t.in[v] = false
	}
	for _, v := range st.set {
		for _, l := range t.live[v] {
			if o := t.other(l, v); o != Deck && t.in[o] {
				t.forget(o)
				for _, d := range t.large[o] {
					if d.neighbours {
						t.pay(d)
					}
				}
			}
		}
		for _, d := range t.payers[v] {
			t.pay(d)
		}
		t.wake(t.waiting[v])
		t.waiting[v], t.payers[v] = nil, nil
	}
}

// wake makes units candidates again.
func (t *takedown) wake(units []int32) {
	for _, u := range units {
		if t.in[u] && !t.queued[u] {
			t.queued[u] = true
			heap.Push(&t.level, t.place[u])
		}
	}
}

// smaller gives a set inside the given one that may leave without the rest of it; nil when there is none.
func (t *takedown) smaller(set []int32, down bool) []int32 {
	for i := len(set) - 1; i >= 0; i-- { // what was found last is the likeliest to go by itself
		v := set[i]
		for _, d := range t.tries[v] {
			if !down && t.compass.down(d) || !t.leave(v, d, len(set)-1) {
				continue
			}
			within := true
			for _, x := range t.set {
				within = within && slices.Contains(set, x)
			}
			if within {
				return slices.Clone(t.set)
			}
		}
	}
	return nil
}

// flat says whether a set may be put together on the deck: one with feet of more than one unit must lie
// in one upright plane.
func (s *search) flat(set []int32) bool {
	if !s.group {
		return true
	}
	var feet []geom.Vec
	standing := 0
	for _, u := range set {
		if s.feet[u] {
			standing++
			for _, f := range s.Units[u].Feet {
				feet = append(feet, f.At)
			}
		}
	}
	if standing < 2 || len(feet) < 2 {
		return standing < 2
	}
	far := feet[0]
	for _, f := range feet {
		if geom.Dist(f, feet[0]) > geom.Dist(far, feet[0]) {
			far = f
		}
	}
	normal := geom.Unit(geom.Cross(geom.Sub(far, feet[0]), geom.Up()))
	for _, u := range set {
		for _, p := range s.Units[u].Extent {
			if abs(geom.Dot(geom.Sub(p, feet[0]), normal)) > FlatMM {
				return false
			}
		}
	}
	return true
}
