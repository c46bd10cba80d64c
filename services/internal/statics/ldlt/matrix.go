package ldlt

import "slices"

// Matrix is a symmetric matrix of a pattern: its blocks on the diagonal, and of every coupled pair one block.
type Matrix struct {
	s *Symbolic
	// blocks has the diagonal in the order of elimination, then those below it by columns.
	blocks []Block
}

// NewMatrix is the zero matrix of the pattern.
func (s *Symbolic) NewMatrix() *Matrix {
	return &Matrix{s: s, blocks: make([]Block, s.nodes+len(s.matRows))}
}

// Place finds the block that couples nodes i and j, or the diagonal's when they are the same; false when the pattern has none.
func (s *Symbolic) Place(i, j int) (Place, bool) {
	row, col := s.step[i], s.step[j]
	if row == col {
		return Place{slot: row}, true
	}
	flip := row < col
	if flip {
		row, col = col, row
	}
	begin := s.matFrom[col]
	at := slices.Index(s.matRows[begin:s.matFrom[col+1]], row)
	if at < 0 {
		return Place{}, false
	}
	return Place{slot: int32(s.nodes) + begin + int32(at), flip: flip}, true
}

// Zero makes every entry zero.
func (m *Matrix) Zero() { clear(m.blocks) }

// CopyFrom makes m equal to o, which must have the same Symbolic.
func (m *Matrix) CopyFrom(o *Matrix) { copy(m.blocks, o.blocks) }

// AddScaled adds factor times o, which must have the same Symbolic.
func (m *Matrix) AddScaled(o *Matrix, factor float64) {
	for k := range m.blocks {
		to, from := &m.blocks[k], &o.blocks[k]
		for e := range to {
			to[e] += factor * from[e]
		}
	}
}

// AddAt adds the block of nodes i and j at the place that Place(i, j) gave. The block of j and i is its transpose and
// must not be added as well; a block on the diagonal is added whole.
func (m *Matrix) AddAt(p Place, b *Block) {
	to := &m.blocks[p.slot]
	if !p.flip {
		for e := range to {
			to[e] += b[e]
		}
		return
	}
	for r := range Freedoms {
		for c := range Freedoms {
			to[c*Freedoms+r] += b[r*Freedoms+c]
		}
	}
}

// Add is AddAt with the place looked up; it says whether the pattern has it.
func (m *Matrix) Add(i, j int, b *Block) bool {
	p, ok := m.s.Place(i, j)
	if ok {
		m.AddAt(p, b)
	}
	return ok
}

// AddEntry adds v to the entry of freedoms i and j and to its mirror; it says whether the pattern has it.
func (m *Matrix) AddEntry(i, j int, v float64) bool {
	p, ok := m.s.Place(i/Freedoms, j/Freedoms)
	if !ok {
		return false
	}
	r, c := i%Freedoms, j%Freedoms
	to := &m.blocks[p.slot]
	if p.flip {
		r, c = c, r
	}
	to[r*Freedoms+c] += v
	if i/Freedoms == j/Freedoms && r != c {
		to[c*Freedoms+r] += v
	}
	return true
}

// AddDiagonal adds v to the diagonal entry of a freedom.
func (m *Matrix) AddDiagonal(freedom int, v float64) {
	r := freedom % Freedoms
	m.blocks[m.s.step[freedom/Freedoms]][r*Freedoms+r] += v
}

// Diagonal is the diagonal entry of a freedom.
func (m *Matrix) Diagonal(freedom int) float64 {
	r := freedom % Freedoms
	return m.blocks[m.s.step[freedom/Freedoms]][r*Freedoms+r]
}

// Diag is the block of a node on the diagonal, which may be changed in place, as long as it stays symmetric.
func (m *Matrix) Diag(node int) *Block { return &m.blocks[m.s.step[node]] }

// Mul sets y to the matrix times x, for k vectors one after another. Nothing is held.
func (m *Matrix) Mul(y, x []float64, k int) {
	n := m.s.N()
	clear(y[:k*n])
	for v := range k {
		m.mulOne(y[v*n:(v+1)*n], x[v*n:(v+1)*n])
	}
}

func (m *Matrix) mulOne(y, x []float64) {
	s := m.s
	for k, i := range s.perm {
		xi, yi := sixOf(x, i), sixOf(y, i)
		b := &m.blocks[k]
		for r := range Freedoms {
			row := (*[Freedoms]float64)(b[r*Freedoms:])
			yi[r] += row[0]*xi[0] + row[1]*xi[1] + row[2]*xi[2] + row[3]*xi[3] + row[4]*xi[4] + row[5]*xi[5]
		}
		for at := s.matFrom[k]; at < s.matFrom[k+1]; at++ {
			j := s.perm[s.matRows[at]]
			xj, yj := sixOf(x, j), sixOf(y, j)
			b := &m.blocks[s.nodes+int(at)]
			for r := range Freedoms {
				row := (*[Freedoms]float64)(b[r*Freedoms:])
				yj[r] += row[0]*xi[0] + row[1]*xi[1] + row[2]*xi[2] + row[3]*xi[3] + row[4]*xi[4] + row[5]*xi[5]
				t := xj[r]
				yi[0] += row[0] * t
				yi[1] += row[1] * t
				yi[2] += row[2] * t
				yi[3] += row[3] * t
				yi[4] += row[4] * t
				yi[5] += row[5] * t
			}
		}
	}
}

func sixOf(x []float64, node int32) *[Freedoms]float64 {
	return (*[Freedoms]float64)(x[int(node)*Freedoms:])
}
