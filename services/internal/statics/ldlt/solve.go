package ldlt

import "math"

// Solve solves for k right-hand sides in place: the entries of vector v are x[v·n : (v+1)·n]. Entries of held
// freedoms come back as they were; what a held freedom that moves does to the others must be in their entries already.
// Freedoms with a pivot of zero are left where the others put them, so that of a singular matrix a right-hand side in
// balance is solved up to a free motion.
func (f *Factor) Solve(x []float64, k int) {
	n := f.s.N()
	for ; k >= wide; k -= wide {
		f.solve4(x[:wide*n])
		x = x[wide*n:]
	}
	for range k {
		f.solve1(x[:n])
		x = x[n:]
	}
}

func (f *Factor) solve1(x []float64) {
	s, work := f.s, f.work
	for k, i := range s.perm {
		*sixOf(work, int32(k)) = *sixOf(x, i)
	}
	for k := range s.nodes {
		y := sixOf(work, int32(k))
		lower := &f.lower[k]
		if f.held[k] != allHeld {
			for r := 1; r < Freedoms; r++ {
				for c := range r {
					y[r] -= lower[r*Freedoms+c] * y[c]
				}
			}
		}
		for at := s.from[k]; at < s.from[k+1]; at++ {
			forward1(sixOf(work, s.rows[at]), y, &f.below[at])
		}
	}
	for k := range s.nodes {
		y := sixOf(work, int32(k))
		for r := range Freedoms {
			y[r] *= f.inverse[k][r]
		}
	}
	f.back1(0, s.nodes-1)
	for k, i := range s.perm {
		*sixOf(x, i) = *sixOf(work, int32(k))
	}
}

// back1 solves with Lᵀ in the first vector of work, which is zero after the step last, down to the step first.
func (f *Factor) back1(first, last int) {
	s, work := f.s, f.work
	for k := last; k >= first; k-- {
		y := sixOf(work, int32(k))
		if f.held[k] == allHeld {
			continue
		}
		for at := s.from[k]; at < s.from[k+1]; at++ {
			backward1(y, sixOf(work, s.rows[at]), &f.below[at])
		}
		lower := &f.lower[k]
		for c := Freedoms - 2; c >= 0; c-- {
			for r := c + 1; r < Freedoms; r++ {
				y[c] -= lower[r*Freedoms+c] * y[r]
			}
		}
	}
}

func (f *Factor) strip(k int32) *strip { return (*strip)(f.work[int(k)*len(strip{}):]) }

func (f *Factor) solve4(x []float64) {
	s, n := f.s, f.s.N()
	for k, i := range s.perm {
		y := f.strip(int32(k))
		for v := range wide {
			from := sixOf(x[v*n:], i)
			for r := range Freedoms {
				y[r*wide+v] = from[r]
			}
		}
	}
	for k := range s.nodes {
		y := f.strip(int32(k))
		if f.held[k] == allHeld || *y == (strip{}) { // a load on few nodes leaves most of the others without
			continue
		}
		f.within4(k, y)
		for at := s.from[k]; at < s.from[k+1]; at++ {
			forward4(f.strip(s.rows[at]), y, &f.below[at])
		}
	}
	for k := s.nodes - 1; k >= 0; k-- {
		f.back4(k)
	}
	for k, i := range s.perm {
		y := f.strip(int32(k))
		for v := range wide {
			to := sixOf(x[v*n:], i)
			for r := range Freedoms {
				to[r] = y[r*wide+v]
			}
		}
	}
}

// within4 solves with the diagonal block of L.
func (f *Factor) within4(k int, y *strip) {
	lower := &f.lower[k]
	for r := 1; r < Freedoms; r++ {
		to := (*[wide]float64)(y[r*wide:])
		for c := range r {
			l, from := lower[r*Freedoms+c], (*[wide]float64)(y[c*wide:])
			to[0] -= l * from[0]
			to[1] -= l * from[1]
			to[2] -= l * from[2]
			to[3] -= l * from[3]
		}
	}
}

// back4 divides by the pivots of column k and solves with its part of Lᵀ.
func (f *Factor) back4(k int) {
	s, y := f.s, f.strip(int32(k))
	if f.held[k] == allHeld {
		return
	}
	for r := range Freedoms {
		to, d := (*[wide]float64)(y[r*wide:]), f.inverse[k][r]
		to[0], to[1], to[2], to[3] = to[0]*d, to[1]*d, to[2]*d, to[3]*d
	}
	for at := s.from[k]; at < s.from[k+1]; at++ {
		backward4(y, f.strip(s.rows[at]), &f.below[at])
	}
	lower := &f.lower[k]
	for c := Freedoms - 2; c >= 0; c-- {
		to := (*[wide]float64)(y[c*wide:])
		for r := c + 1; r < Freedoms; r++ {
			l, from := lower[r*Freedoms+c], (*[wide]float64)(y[r*wide:])
			to[0] -= l * from[0]
			to[1] -= l * from[1]
			to[2] -= l * from[2]
			to[3] -= l * from[3]
		}
	}
}

// Null puts into x, which has a place for every freedom, the free motion of the pivot Zeros()[i]: the matrix times it is zero. The
// entry of its own freedom is not zero, those of the other zero pivots are; the largest entry is 1 or −1.
func (f *Factor) Null(i int, x []float64) {
	s := f.s
	work := f.work[:s.N()]
	clear(work)
	freedom := f.zeros[i]
	work[int(s.step[freedom/Freedoms])*Freedoms+freedom%Freedoms] = 1
	f.back1(0, s.nodes-1)
	most := 0.0
	for _, v := range work {
		most = max(most, math.Abs(v))
	}
	for k, node := range s.perm {
		to, from := sixOf(x, node), sixOf(work, int32(k))
		for r := range Freedoms {
			to[r] = from[r] / most
		}
	}
}
