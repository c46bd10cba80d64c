package raising

import "slices"

// apart takes a set of units apart as they lie, free of the deck and of all others, and gives the units
// that no direction splits, or nothing when all come apart.
//
// For one direction the units that block each other in a ring, the strongly connected parts of the blocking
// graph, can leave one part after another, those first that nothing blocks. So one direction splits a set
// into these parts at once, and each part goes on by itself: taking away never blocks anything.
func (s *search) apart(units []int32) []int32 {
	if s.splitter == nil {
		n := len(s.Units)
		s.splitter = &splitter{
			search: s, inside: make([]int32, n), low: make([]int32, n), number: make([]int32, n), part: make([]int32, n),
		}
	}
	t := s.splitter
	todo := [][]int32{units}
	for len(todo) > 0 {
		set := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if len(set) < 2 {
			continue
		}
		parts := t.split(set)
		if len(parts) < 2 {
			slices.Sort(set)
			return set
		}
		todo = append(todo, parts...)
	}
	return nil
}

// splitter finds strongly connected parts, by Tarjan's method with a stack of its own.
type splitter struct {
	*search
	inside            []int32 // the round in which a unit belonged to the set
	round             int32
	low, number, part []int32
	count             int32
	stack             []int32
	calls             []call
}

// call is a unit whose links are being followed.
type call struct {
	u    int32
	next int // of its links
}

// split gives the parts into which some direction splits the set, or the set itself.
func (t *splitter) split(set []int32) [][]int32 {
	t.round++
	for _, u := range set {
		t.inside[u] = t.round
	}
	tried := map[int32]bool{}
	for _, u := range set {
		for _, d := range t.tries[u] {
			if tried[d] {
				continue
			}
			tried[d] = true
			if parts := t.along(set, d); len(parts) > 1 {
				return parts
			}
		}
	}
	return [][]int32{set}
}

// along gives the parts of the set for one direction.
func (t *splitter) along(set []int32, dir int32) [][]int32 {
	for _, u := range set {
		t.number[u], t.part[u] = 0, -1
	}
	t.count = 0
	var parts [][]int32
	for _, u := range set {
		if t.number[u] == 0 {
			parts = t.follow(u, dir, parts)
		}
	}
	return parts
}

// follow follows blocking from a unit and adds the parts that it completes.
func (t *splitter) follow(root, dir int32, parts [][]int32) [][]int32 {
	t.enter(root)
	for len(t.calls) > 0 {
		c := &t.calls[len(t.calls)-1]
		u := c.u
		if c.next < len(t.at[u]) {
			l := t.at[u][c.next]
			c.next++
			o := t.other(l, u)
			if o == Deck || t.inside[o] != t.round || t.opens(l, u, dir) {
				continue
			}
			if t.number[o] == 0 {
				t.enter(o)
			} else if t.part[o] < 0 {
				t.low[u] = min(t.low[u], t.number[o])
			}
			continue
		}
		t.calls = t.calls[:len(t.calls)-1]
		if n := len(t.calls); n > 0 {
			by := t.calls[n-1].u
			t.low[by] = min(t.low[by], t.low[u])
		}
		if t.low[u] == t.number[u] {
			parts = append(parts, t.take(u, int32(len(parts))))
		}
	}
	return parts
}

func (t *splitter) enter(u int32) {
	t.count++
	t.number[u], t.low[u] = t.count, t.count
	t.stack = append(t.stack, u)
	t.calls = append(t.calls, call{u: u})
}

// take takes a completed part, down to unit u, off the stack.
func (t *splitter) take(u, number int32) []int32 {
	from := len(t.stack) - 1
	for t.stack[from] != u {
		from--
	}
	part := slices.Clone(t.stack[from:])
	t.stack = t.stack[:from]
	for _, v := range part {
		t.part[v] = number
	}
	return part
}
