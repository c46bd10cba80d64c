package ldlt

import "slices"

// Symbolic is the pattern of a matrix and of its factor. It does not change, and any number of matrices and factors
// share it.
type Symbolic struct {
	nodes int
	// perm is the node eliminated at each step, and step the other way round.
	perm, step []int32
	// first is the first step of the subtree of the elimination tree that ends in each step: all that it depends on.
	first []int32
	// from and rows are the pattern of the factor below its diagonal, by columns: rows[from[j]:from[j+1]], ascending.
	from, rows []int32
	// targets says for each column, for each pair of its rows a < b in order, which block below the diagonal they
	// change; targetFrom is where a column's begin.
	targets, targetFrom []int32
	// matFrom, matRows and matBlock are the pattern of the matrix below its diagonal and the block of the factor for each.
	matFrom, matRows, matBlock []int32
	// widest is the most blocks of a column below the diagonal.
	widest int
}

// Analyse orders the nodes and finds the pattern of the factor. pairs are the nodes that are coupled, in any order and as often as
// they like; they must be from 0 to nodes−1. Every node has its block on the diagonal.
func Analyse(nodes int, pairs [][2]int32) *Symbolic {
	g := newGraph(nodes, pairs)
	s := &Symbolic{nodes: nodes, perm: g.order(), step: make([]int32, nodes)}
	s.number()
	parent := s.tree(g)
	s.follow(parent)
	s.number()
	s.matrix(g)
	s.fill(len(g.list))
	s.aim()
	return s
}

// N is the number of freedoms.
func (s *Symbolic) N() int { return s.nodes * Freedoms }

// Blocks is the number of blocks in the factor, those on the diagonal with it.
func (s *Symbolic) Blocks() int { return s.nodes + len(s.rows) }

func (s *Symbolic) number() {
	for k, i := range s.perm {
		s.step[i] = int32(k)
	}
}

// tree is the elimination tree: the parent of a step is the first later step that it changes, or −1.
func (s *Symbolic) tree(g graph) []int32 {
	parent := make([]int32, s.nodes)
	shortcut := make([]int32, s.nodes)
	for k := range parent {
		parent[k], shortcut[k] = -1, -1
		i := s.perm[k]
		for _, j := range g.list[g.from[i]:g.from[i+1]] {
			r := s.step[j]
			for r >= 0 && r < int32(k) {
				next := shortcut[r]
				shortcut[r] = int32(k)
				if next < 0 {
					parent[r] = int32(k)
				}
				r = next
			}
		}
	}
	return parent
}

// follow puts the steps in an order in which each subtree comes in one run, so that what a column changes lies near.
func (s *Symbolic) follow(parent []int32) {
	n := s.nodes
	child := make([]int32, 3*n)
	child, sibling, stack := child[:n], child[n:2*n], child[2*n:2*n]
	for k := range child {
		child[k] = -1
	}
	for k := n - 1; k >= 0; k-- {
		if p := parent[k]; p >= 0 {
			sibling[k], child[p] = child[p], int32(k)
		}
	}
	perm := make([]int32, 0, n)
	for root := range n {
		if parent[root] >= 0 {
			continue
		}
		stack = append(stack, int32(root))
		for len(stack) > 0 {
			top := stack[len(stack)-1]
			if c := child[top]; c >= 0 {
				child[top] = sibling[c]
				stack = append(stack, c)
				continue
			}
			perm = append(perm, s.perm[top])
			stack = stack[:len(stack)-1]
		}
		// Roots have no siblings: the next root starts with an empty stack.
	}
	s.perm = perm
}

// matrix finds the pattern of the matrix below its diagonal, rows ascending.
func (s *Symbolic) matrix(g graph) {
	s.matFrom = make([]int32, s.nodes+1)
	s.matRows = make([]int32, 0, len(g.list)/2)
	for k, i := range s.perm {
		begin := len(s.matRows)
		for _, j := range g.list[g.from[i]:g.from[i+1]] {
			if r := s.step[j]; r > int32(k) {
				s.matRows = append(s.matRows, r)
			}
		}
		slices.Sort(s.matRows[begin:])
		s.matFrom[k+1] = int32(len(s.matRows))
	}
}

// fill finds the pattern of the factor: a column has the rows of the matrix and those of its children in the tree. guess is
// about how many blocks there will be.
func (s *Symbolic) fill(guess int) {
	n := s.nodes
	s.from = make([]int32, n+1)
	s.first = make([]int32, n)
	s.rows = make([]int32, 0, guess)
	s.matBlock = make([]int32, len(s.matRows))
	child, sibling, seen := make([]int32, n), make([]int32, n), make([]int32, n)
	for k := range n {
		child[k], seen[k] = -1, -1
	}
	for k := range int32(n) {
		begin := len(s.rows)
		take := func(rows []int32) {
			for _, r := range rows {
				if r > k && seen[r] != k {
					seen[r] = k
					s.rows = append(s.rows, r)
				}
			}
		}
		take(s.matRows[s.matFrom[k]:s.matFrom[k+1]])
		s.first[k] = k
		for c := child[k]; c >= 0; c = sibling[c] {
			s.first[k] = min(s.first[k], s.first[c])
			take(s.rows[s.from[c]:s.from[c+1]])
		}
		own := s.rows[begin:]
		slices.Sort(own)
		s.from[k+1] = int32(len(s.rows))
		s.widest = max(s.widest, len(own))
		if len(own) > 0 {
			sibling[k], child[own[0]] = child[own[0]], k
		}
		at := begin
		for m := s.matFrom[k]; m < s.matFrom[k+1]; m++ {
			for s.rows[at] != s.matRows[m] {
				at++
			}
			s.matBlock[m] = int32(at)
		}
	}
}

// aim finds which blocks each column changes. All rows of column k past row a are rows of column a too.
func (s *Symbolic) aim() {
	s.targetFrom = make([]int32, s.nodes+1)
	total := int32(0)
	for k := range s.nodes {
		s.targetFrom[k] = total
		c := s.from[k+1] - s.from[k]
		total += c * (c - 1) / 2
	}
	s.targetFrom[s.nodes] = total
	s.targets = make([]int32, 0, total)
	for k := range s.nodes {
		rows := s.rows[s.from[k]:s.from[k+1]]
		for a, col := range rows {
			at := s.from[col]
			for _, r := range rows[a+1:] {
				for s.rows[at] != r {
					at++
				}
				s.targets = append(s.targets, at)
			}
		}
	}
}
