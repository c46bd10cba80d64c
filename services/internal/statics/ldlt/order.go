package ldlt

import "slices"

// graph is an undirected graph without loops or doubled edges: the neighbours of node i are list[from[i]:from[i+1]].
type graph struct {
	from, list []int32
}

func newGraph(nodes int, pairs [][2]int32) graph {
	from := make([]int32, nodes+1)
	for _, p := range pairs {
		if p[0] != p[1] {
			from[p[0]+1]++
			from[p[1]+1]++
		}
	}
	for i := range nodes {
		from[i+1] += from[i]
	}
	list := make([]int32, from[nodes])
	next := slices.Clone(from[:nodes])
	for _, p := range pairs {
		if p[0] != p[1] {
			list[next[p[0]]] = p[1]
			next[p[0]]++
			list[next[p[1]]] = p[0]
			next[p[1]]++
		}
	}
	return graph{from, list}.withoutDoubles(next)
}

// withoutDoubles drops edges given twice. seen has a place for each node.
func (g graph) withoutDoubles(seen []int32) graph {
	for i := range seen {
		seen[i] = -1
	}
	var end int32
	for i := range seen {
		begin := end
		for _, j := range g.list[g.from[i]:g.from[i+1]] {
			if seen[j] != int32(i) {
				seen[j] = int32(i)
				g.list[end] = j
				end++
			}
		}
		g.from[i] = begin
	}
	g.from[len(seen)] = end
	g.list = g.list[:end]
	return g
}

// quotient is the quotient graph of the elimination so far: nodes not yet eliminated are variables; each eliminated pivot is
// an element, which stands for the clique of the variables that it touches. Variables with the same neighbours are merged
// into one of greater weight. See Amestoy, Davis and Duff, "An approximate minimum degree ordering algorithm" (1996).
type quotient struct {
	from []int32
	// vars and elems hold for variable i its adjacent variables and elements, from from[i] on. Together the two lists never
	// grow beyond the edges that i began with, so either fits in that space.
	vars, elems      []int32
	varLen, elemLen  []int32
	bound            [][]int32 // the variables of each element
	arena            []int32
	weight           []int32 // of each variable; 0 when merged or eliminated, negative while in the element being made
	degree           []int32 // approximate degree of a variable, or weight of an element's variables
	alive            []bool  // elements that are not yet absorbed
	head, next, prev []int32 // variables by degree
	least            int32
	mark             []int64 // for elements, stamp plus the weight outside the new element
	stamp            int64
	lastOf, chain    []int32 // merged nodes follow their representative
	hash             []uint32
	order            []int32
}

// order gives the nodes in an order of elimination that leaves few new edges.
func (g graph) order() []int32 {
	n := len(g.from) - 1
	q := newQuotient(g)
	for len(q.order) < n {
		p := q.pop()
		members := q.eliminate(p)
		q.measure(members)
		q.revise(p, members)
		q.merge(members)
		q.finish(p, members)
		for v := p; v >= 0; v = q.chain[v] {
			q.order = append(q.order, v)
		}
	}
	return q.order
}

func newQuotient(g graph) *quotient {
	n := len(g.from) - 1
	ints := make([]int32, 8*n)
	part := func() []int32 { p := ints[:n:n]; ints = ints[n:]; return p }
	q := &quotient{
		from: g.from, vars: slices.Clone(g.list), elems: make([]int32, len(g.list)),
		varLen: part(), elemLen: part(), bound: make([][]int32, n), arena: make([]int32, 0, 2*len(g.list)+n),
		weight: part(), degree: part(), alive: make([]bool, n), head: make([]int32, n+1), next: part(), prev: part(),
		mark: make([]int64, n), stamp: 1, lastOf: part(), chain: part(), hash: make([]uint32, n), order: make([]int32, 0, n),
	}
	for d := range q.head {
		q.head[d] = -1
	}
	for i := n - 1; i >= 0; i-- {
		q.varLen[i] = g.from[i+1] - g.from[i]
		q.weight[i] = 1
		q.degree[i] = q.varLen[i]
		q.lastOf[i] = int32(i)
		q.chain[i] = -1
		q.push(int32(i))
	}
	return q
}

func (q *quotient) push(i int32) {
	d := q.degree[i]
	h := q.head[d]
	q.next[i], q.prev[i] = h, -1
	if h >= 0 {
		q.prev[h] = i
	}
	q.head[d] = i
	q.least = min(q.least, d)
}

func (q *quotient) drop(i int32) {
	if q.next[i] >= 0 {
		q.prev[q.next[i]] = q.prev[i]
	}
	if q.prev[i] >= 0 {
		q.next[q.prev[i]] = q.next[i]
	} else {
		q.head[q.degree[i]] = q.next[i]
	}
}

func (q *quotient) pop() int32 {
	for q.head[q.least] < 0 {
		q.least++
	}
	p := q.head[q.least]
	q.drop(p)
	return p
}

// eliminate makes p an element and gives its variables; elements that it covers are absorbed.
func (q *quotient) eliminate(p int32) []int32 {
	begin := len(q.arena)
	weight := int32(0)
	q.weight[p] = 0
	take := func(list []int32) {
		for _, i := range list {
			w := q.weight[i]
			if w <= 0 {
				continue
			}
			weight += w
			q.weight[i] = -w
			q.arena = append(q.arena, i)
			q.drop(i)
		}
	}
	take(q.vars[q.from[p] : q.from[p]+q.varLen[p]])
	for _, e := range q.elems[q.from[p] : q.from[p]+q.elemLen[p]] {
		if q.alive[e] {
			take(q.bound[e])
			q.alive[e] = false
		}
	}
	q.alive[p] = true
	q.degree[p] = weight
	return q.arena[begin:len(q.arena):len(q.arena)]
}

// measure leaves in mark, beyond stamp, how much of each element lies outside the new one.
func (q *quotient) measure(members []int32) {
	for _, i := range members {
		w := int64(-q.weight[i])
		for _, e := range q.elems[q.from[i] : q.from[i]+q.elemLen[i]] {
			switch {
			case !q.alive[e]:
			case q.mark[e] >= q.stamp:
				q.mark[e] -= w
			default:
				q.mark[e] = int64(q.degree[e]) - w + q.stamp
			}
		}
	}
}

// revise puts element p in the lists of its variables, shortens the lists, and bounds the degrees. Variables that p covers
// altogether are eliminated with it.
func (q *quotient) revise(p int32, members []int32) {
	for _, i := range members {
		var degree int32
		hash := uint32(p)
		elems := q.elems[q.from[i] : q.from[i]+q.elemLen[i]]
		kept := int32(0)
		for _, e := range elems {
			if !q.alive[e] {
				continue
			}
			outside := q.mark[e] - q.stamp
			if outside == 0 {
				q.alive[e] = false // the new element covers it
				continue
			}
			degree += int32(outside)
			elems[kept] = e
			kept++
			hash += uint32(e)
		}
		vars := q.vars[q.from[i] : q.from[i]+q.varLen[i]]
		left := int32(0)
		for _, v := range vars {
			if w := q.weight[v]; w > 0 {
				degree += w
				vars[left] = v
				left++
				hash += uint32(v)
			}
		}
		q.varLen[i] = left
		if degree == 0 {
			q.follow(p, i)
			q.degree[p] += q.weight[i]
			q.weight[i] = 0
			continue
		}
		q.elems[q.from[i]+kept] = p
		q.elemLen[i] = kept + 1
		q.degree[i] = min(q.degree[i], degree)
		q.hash[i] = hash
	}
}

// follow has node i, and those merged with it, eliminated right after p.
func (q *quotient) follow(p, i int32) {
	q.chain[q.lastOf[p]] = i
	q.lastOf[p] = q.lastOf[i]
}

// merge joins variables of the new element that have the same neighbours.
func (q *quotient) merge(members []int32) {
	for at, i := range members {
		if q.weight[i] == 0 {
			continue
		}
		for _, j := range members[at+1:] {
			if q.weight[j] != 0 && q.hash[i] == q.hash[j] && q.same(i, j) {
				q.follow(i, j)
				q.weight[i] += q.weight[j]
				q.weight[j] = 0
			}
		}
	}
}

// same says whether i and j, both in the new element, have the same neighbours. Both lists are short.
func (q *quotient) same(i, j int32) bool {
	if q.varLen[i] != q.varLen[j] || q.elemLen[i] != q.elemLen[j] {
		return false
	}
	within := func(list []int32, from, count int32) bool {
		other := list[q.from[i] : q.from[i]+count]
		for _, v := range list[from : from+count] {
			if !slices.Contains(other, v) {
				return false
			}
		}
		return true
	}
	return within(q.vars, q.from[j], q.varLen[j]) && within(q.elems, q.from[j], q.elemLen[j])
}

// finish puts the variables of element p back by their new degrees.
func (q *quotient) finish(p int32, members []int32) {
	left := int32(len(q.weight) - len(q.order))
	for v := p; v >= 0; v = q.chain[v] {
		left--
	}
	kept := members[:0]
	for _, i := range members {
		if q.weight[i] == 0 {
			continue
		}
		q.weight[i] = -q.weight[i]
		w := q.weight[i]
		q.degree[i] = max(0, min(q.degree[i]+q.degree[p]-w, left-w))
		kept = append(kept, i)
		q.push(i)
	}
	q.bound[p] = kept
	if len(kept) == 0 {
		q.alive[p] = false
	}
	q.stamp += int64(len(q.weight)) + 1
}
