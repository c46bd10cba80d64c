package ldlt

import "math"

// Factor is the factor of one matrix: unit lower blocks, and the pivots. It keeps its memory from one matrix to the next, and
// is not safe for use by several goroutines at once.
type Factor struct {
	s *Symbolic
	// lower are the blocks on the diagonal, of which the part below it counts; below are the others.
	lower, below []Block
	// pivots are D; inverse is 1/D, and 0 for a pivot that counts as zero. base is the diagonal of the matrix.
	pivots, inverse, base [][Freedoms]float64
	held                  []uint8
	scaled                []Block // a column before the division by its pivots
	work                  []float64
	inertia               Inertia
	zeros                 []int
	least                 float64
	leastAt               int
	tolerance             float64
	matrix                *Matrix // while it is being factored
}

// Pivots between the tolerance and suspect times their diagonal, and all negative ones, are zero too when the motion that belongs to
// them strains the structure by no more than rounding does: softest times what the diagonal alone would take.
const (
	suspect = 1e-4
	softest = 1e-13
)

// allHeld has a bit for every freedom of a node.
const allHeld = 1<<Freedoms - 1

// NewFactor takes the memory for a factor.
func (s *Symbolic) NewFactor() *Factor {
	return &Factor{
		s: s, lower: make([]Block, s.nodes), below: make([]Block, len(s.rows)),
		pivots: make([][Freedoms]float64, s.nodes), inverse: make([][Freedoms]float64, s.nodes),
		base: make([][Freedoms]float64, s.nodes), held: make([]uint8, s.nodes),
		scaled: make([]Block, s.widest), work: make([]float64, s.N()*wide),
	}
}

// Refactor factors m, which must have the Symbolic of f. held, by freedom, are those whose rows and columns are taken for the
// identity's; nil holds none. A pivot of no more than tolerance times its diagonal counts as zero; 0 stands for
// DefaultTolerance. Small pivots above it are judged by the energy of their motion, as rounding may have been magnified by
// small pivots before.
//
// A tiny pivot whose column is not tiny, which no positive semidefinite matrix has, is no free motion: it is moved
// away from zero by a hundred-millionth of its diagonal and keeps its sign in the count.
func (f *Factor) Refactor(m *Matrix, held []bool, tolerance float64) {
	if tolerance == 0 {
		tolerance = DefaultTolerance
	}
	f.tolerance = tolerance
	f.inertia, f.zeros = Inertia{}, f.zeros[:0]
	f.least, f.leastAt = math.Inf(1), -1
	f.matrix = m
	defer func() { f.matrix = nil }()
	f.load(m, held)
	for k := range f.s.nodes {
		if f.held[k] == allHeld {
			f.identity(k)
			continue
		}
		f.column(k)
	}
}

// load copies the matrix to the pattern of the factor.
func (f *Factor) load(m *Matrix, held []bool) {
	s := f.s
	copy(f.lower, m.blocks[:s.nodes])
	clear(f.below)
	for at, block := range s.matBlock {
		f.below[block] = m.blocks[s.nodes+at]
	}
	clear(f.held)
	if held != nil {
		for k, i := range s.perm {
			for r, h := range held[int(i)*Freedoms : int(i)*Freedoms+Freedoms] {
				if h {
					f.held[k] |= 1 << r
				}
			}
		}
		f.hold()
	}
	for k := range f.lower {
		for r := range Freedoms {
			f.base[k][r] = math.Abs(f.lower[k][r*Freedoms+r])
		}
	}
}

// hold makes the rows and columns of held freedoms those of the identity.
func (f *Factor) hold() {
	s := f.s
	for k := range s.nodes {
		own := f.held[k]
		if own != 0 {
			f.lower[k].clear(own, own)
			for r := range Freedoms {
				if own>>r&1 == 1 {
					f.lower[k][r*Freedoms+r] = 1
				}
			}
		}
		for at := s.matFrom[k]; at < s.matFrom[k+1]; at++ {
			if other := f.held[s.matRows[at]]; own|other != 0 {
				f.below[s.matBlock[at]].clear(other, own)
			}
		}
	}
}

// clear makes the given rows and columns zero.
func (b *Block) clear(rows, cols uint8) {
	for r := range Freedoms {
		for c := range Freedoms {
			if rows>>r&1 == 1 || cols>>c&1 == 1 {
				b[r*Freedoms+c] = 0
			}
		}
	}
}

// identity is the column of a node that is held altogether.
func (f *Factor) identity(k int) {
	for r := range Freedoms {
		f.pivots[k][r], f.inverse[k][r] = 1, 1
	}
}

// column factors column k, whose earlier columns have changed it already, and changes the later ones by it.
func (f *Factor) column(k int) {
	s := f.s
	f.diagonal(k)
	rows := s.rows[s.from[k]:s.from[k+1]]
	below := f.below[s.from[k]:s.from[k+1]]
	scaled := f.scaled[:len(below)]
	for a := range below {
		divide(&scaled[a], &below[a], &f.lower[k], &f.inverse[k])
	}
	at := s.targetFrom[k]
	for a, row := range rows {
		lower := &below[a]
		subtractLower(&f.lower[row], &scaled[a], lower)
		for b := a + 1; b < len(rows); b++ {
			subtract(&f.below[s.targets[at]], &scaled[b], lower)
			at++
		}
	}
}

// diagonal factors the block on the diagonal of column k.
func (f *Factor) diagonal(k int) {
	lower, pivots, inverse := &f.lower[k], &f.pivots[k], &f.inverse[k]
	for r := range Freedoms {
		row := (*[Freedoms]float64)(lower[r*Freedoms:])
		d := row[r]
		var w [Freedoms]float64
		for c := range r {
			v := row[c]
			for m := range c {
				v -= w[m] * lower[c*Freedoms+m]
			}
			w[c] = v
			row[c] = v * inverse[c]
			d -= v * row[c]
		}
		pivots[r], inverse[r] = f.judge(k, r, d)
	}
}

// judge counts a pivot and gives it and its inverse.
func (f *Factor) judge(k, r int, d float64) (pivot, inverse float64) {
	if f.held[k]>>r&1 == 1 {
		return 1, 1
	}
	base := f.base[k][r]
	if math.Abs(d) <= f.tolerance*base || d == 0 || d <= suspect*base && f.unstrained(k, r) {
		if !f.coupled(k, r) {
			f.inertia.Zero++
			f.zeros = append(f.zeros, f.freedom(k, r))
			return 0, 0
		}
		d = math.Copysign(max(1e-8*base, math.Abs(d), math.SmallestNonzeroFloat64*1e40), d)
	}
	if base > 0 {
		if ratio := math.Abs(d) / base; ratio < f.least {
			f.least, f.leastAt = ratio, f.freedom(k, r)
		}
	}
	if d < 0 {
		f.inertia.Negative++
	} else {
		f.inertia.Positive++
	}
	return d, 1 / d
}

func (f *Factor) freedom(k, r int) int { return int(f.s.perm[k])*Freedoms + r }

// coupled says whether anything but rounding is left below the pivot of freedom r of column k. In a positive semidefinite
// matrix an entry is at most the root of the product of its two diagonals, so that a tiny pivot has a tiny column.
func (f *Factor) coupled(k, r int) bool {
	s, lower := f.s, &f.lower[k]
	limit := 30 * math.Sqrt(f.tolerance) * math.Sqrt(f.base[k][r])
	left := func(row *[Freedoms]float64) float64 {
		var w [Freedoms]float64
		for c := range r + 1 {
			v := row[c]
			for m := range c {
				v -= w[m] * lower[c*Freedoms+m]
			}
			w[c] = v
		}
		return math.Abs(w[r])
	}
	for q := r + 1; q < Freedoms; q++ {
		if left((*[Freedoms]float64)(lower[q*Freedoms:])) > limit*math.Sqrt(f.base[k][q]) {
			return true
		}
	}
	for at := s.from[k]; at < s.from[k+1]; at++ {
		for q := range Freedoms {
			if left((*[Freedoms]float64)(f.below[at][q*Freedoms:])) > limit*math.Sqrt(f.base[s.rows[at]][q]) {
				return true
			}
		}
	}
	return false
}

// unstrained says whether the motion that belongs to the pivot of freedom r of column k, whose energy is the pivot in exact
// arithmetic, has no energy beyond rounding. The error of the motion enters its energy only by its square.
func (f *Factor) unstrained(k, r int) bool {
	s, m := f.s, f.matrix
	first := int(s.first[k])
	clear(f.work[first*Freedoms : s.N()])
	sixOf(f.work, int32(k))[r] = 1
	f.back1(first, k)
	energy, scale := 0.0, 0.0
	for a := first; a <= k; a++ {
		x := sixOf(f.work, int32(a))
		energy += m.blocks[a].between(x, x)
		for q, v := range x {
			scale += v * v * f.base[a][q]
		}
		for at := s.matFrom[a]; at < s.matFrom[a+1]; at++ {
			if b := s.matRows[at]; b <= int32(k) {
				energy += 2 * m.blocks[s.nodes+int(at)].between(sixOf(f.work, b), x)
			}
		}
	}
	return math.Abs(energy) <= softest*scale
}

// between is yᵀ·b·x.
func (b *Block) between(y, x *[Freedoms]float64) float64 {
	sum := 0.0
	for r := range Freedoms {
		row := (*[Freedoms]float64)(b[r*Freedoms:])
		sum += y[r] * (row[0]*x[0] + row[1]*x[1] + row[2]*x[2] + row[3]*x[3] + row[4]*x[4] + row[5]*x[5])
	}
	return sum
}

// Inertia counts the pivots of freedoms that are not held.
func (f *Factor) Inertia() Inertia { return f.inertia }

// Zeros are the freedoms whose pivots count as zero, in the order of elimination. The slice is good until the next
// Refactor.
func (f *Factor) Zeros() []int { return f.zeros }

// LeastRatio is the smallest ratio of a pivot that counts to the diagonal that it began from, and its freedom: how
// far the structure is from a free motion, by rough measure. It is +Inf and −1 when no pivot counts.
func (f *Factor) LeastRatio() (ratio float64, freedom int) { return f.least, f.leastAt }
