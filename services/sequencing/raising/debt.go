package raising

import "slices"

// debt says that the set which a unit takes with it along a direction is too large, and stays so until a
// number of units have left. Every set that comes to hold the unit is then too large as well, so the debt of a
// beam that carries thousands of pieces is found once and not by each of them.
//
// When it is paid the unit alone is tried again. Another that takes it along needs no new try before it has
// left: either the unit's set does not hold the other, and leaves first; or it does, and they leave together.
type debt struct {
	unit int32
	owed int
	// neighbours says that it is paid by units that are joined to the one that has it.
	neighbours bool
}

// debtOf is the unpaid debt of a unit along a direction.
func (s *search) debtOf(u, dir int32) *debt {
	if s.large == nil {
		return nil
	}
	if d := s.large[u][dir]; d != nil && d.owed > 0 {
		return d
	}
	return nil
}

// park has unit u tried again when what kept it from leaving along a direction has changed.
func (t *takedown) park(u, dir int32) {
	t.wait(u, t.watch)
	switch {
	case t.known != nil:
	case t.hub != none:
		t.owe(dir, &debt{unit: t.hub, owed: t.owed, neighbours: true}, nil)
	case len(t.owing) > 0:
		t.blame(u, dir)
	}
}

// mostBlamed is how many units are looked at for one whose own set is too large.
const mostBlamed = 4

// blame finds whose set is too large: that of a unit which u takes with it, or else that of u.
func (t *takedown) blame(u, dir int32) {
	owing, owed := slices.Clone(t.owing), t.owed
	taken := slices.Clone(t.set[:t.blocked])
	parent := make([]int32, len(taken))
	for i, v := range taken {
		parent[i] = t.parent[v]
	}
	for _, v := range taken[1:min(len(taken), 1+mostBlamed)] {
		if t.leave(v, dir, MaxGroup) || len(t.owing) == 0 {
			continue
		}
		t.owe(dir, &debt{unit: v, owed: t.owed}, t.owing)
		for x := v; x != none; x = parent[slices.Index(taken, x)] {
			t.wait(u, []int32{x})
		}
		return
	}
	t.owe(dir, &debt{unit: u, owed: owed}, owing)
}

// owe keeps a debt, which is paid when one of the payers leaves, and sees that its unit is tried along the
// direction.
func (t *takedown) owe(dir int32, d *debt, payers []int32) {
	if t.large[d.unit] == nil {
		t.large[d.unit] = map[int32]*debt{}
	}
	t.large[d.unit][dir] = d
	for _, v := range payers {
		t.payers[v] = append(t.payers[v], d)
	}
	if !slices.Contains(t.tries[d.unit], dir) {
		// A new list, since the old one may be the one that is being tried.
		tries := append(slices.Clone(t.tries[d.unit]), dir)
		slices.SortStableFunc(tries, t.compass.preferred)
		t.tries[d.unit] = tries
	}
}

// pay counts one unit that has left, and has the debtor tried again when it was the last that was owed.
func (t *takedown) pay(d *debt) {
	if d.owed--; d.owed == 0 {
		t.wake([]int32{d.unit})
	}
}
