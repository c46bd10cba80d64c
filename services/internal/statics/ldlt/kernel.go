package ldlt

// The loops of this file are written out because they are nearly all of the time: of each block product
// nothing is left but 216 multiplications whose bounds are known.

// divide makes of a block b of a column, given the factor of the column's diagonal block, the block of L in place, and
// leaves L·D in scaled.
func divide(scaled, b, lower *Block, inverse *[Freedoms]float64) {
	l10 := lower[6]
	l20, l21 := lower[12], lower[13]
	l30, l31, l32 := lower[18], lower[19], lower[20]
	l40, l41, l42, l43 := lower[24], lower[25], lower[26], lower[27]
	l50, l51, l52, l53, l54 := lower[30], lower[31], lower[32], lower[33], lower[34]
	for r := range Freedoms {
		row := (*[Freedoms]float64)(b[r*Freedoms:])
		out := (*[Freedoms]float64)(scaled[r*Freedoms:])
		w0 := row[0]
		w1 := row[1] - w0*l10
		w2 := row[2] - w0*l20 - w1*l21
		w3 := row[3] - w0*l30 - w1*l31 - w2*l32
		w4 := row[4] - w0*l40 - w1*l41 - w2*l42 - w3*l43
		w5 := row[5] - w0*l50 - w1*l51 - w2*l52 - w3*l53 - w4*l54
		out[0], out[1], out[2], out[3], out[4], out[5] = w0, w1, w2, w3, w4, w5
		row[0] = w0 * inverse[0]
		row[1] = w1 * inverse[1]
		row[2] = w2 * inverse[2]
		row[3] = w3 * inverse[3]
		row[4] = w4 * inverse[4]
		row[5] = w5 * inverse[5]
	}
}

// subtract takes a·bᵀ from c.
func subtract(c, a, b *Block) {
	for r := range Freedoms {
		x := (*[Freedoms]float64)(a[r*Freedoms:])
		to := (*[Freedoms]float64)(c[r*Freedoms:])
		x0, x1, x2, x3, x4, x5 := x[0], x[1], x[2], x[3], x[4], x[5]
		to[0] -= (x0*b[0] + x1*b[1]) + (x2*b[2] + x3*b[3]) + (x4*b[4] + x5*b[5])
		to[1] -= (x0*b[6] + x1*b[7]) + (x2*b[8] + x3*b[9]) + (x4*b[10] + x5*b[11])
		to[2] -= (x0*b[12] + x1*b[13]) + (x2*b[14] + x3*b[15]) + (x4*b[16] + x5*b[17])
		to[3] -= (x0*b[18] + x1*b[19]) + (x2*b[20] + x3*b[21]) + (x4*b[22] + x5*b[23])
		to[4] -= (x0*b[24] + x1*b[25]) + (x2*b[26] + x3*b[27]) + (x4*b[28] + x5*b[29])
		to[5] -= (x0*b[30] + x1*b[31]) + (x2*b[32] + x3*b[33]) + (x4*b[34] + x5*b[35])
	}
}

// subtractLower takes a·bᵀ from c, on and below its diagonal.
func subtractLower(c, a, b *Block) {
	for r := range Freedoms {
		x := (*[Freedoms]float64)(a[r*Freedoms:])
		to := (*[Freedoms]float64)(c[r*Freedoms:])
		x0, x1, x2, x3, x4, x5 := x[0], x[1], x[2], x[3], x[4], x[5]
		for q := range r + 1 {
			y := (*[Freedoms]float64)(b[q*Freedoms:])
			to[q] -= (x0*y[0] + x1*y[1]) + (x2*y[2] + x3*y[3]) + (x4*y[4] + x5*y[5])
		}
	}
}

// wide is how many right-hand sides are solved at once: entry v of freedom r of a node lies at wide·r + v.
const wide = 4

// strip is a node's entries of as many right-hand sides.
type strip [Freedoms * wide]float64

// forward4 takes l·x from y.
func forward4(y, x *strip, l *Block) {
	for r := range Freedoms {
		row := (*[Freedoms]float64)(l[r*Freedoms:])
		to := (*[wide]float64)(y[r*wide:])
		a0, a1, a2, a3, a4, a5 := row[0], row[1], row[2], row[3], row[4], row[5]
		to[0] -= (a0*x[0] + a1*x[4]) + (a2*x[8] + a3*x[12]) + (a4*x[16] + a5*x[20])
		to[1] -= (a0*x[1] + a1*x[5]) + (a2*x[9] + a3*x[13]) + (a4*x[17] + a5*x[21])
		to[2] -= (a0*x[2] + a1*x[6]) + (a2*x[10] + a3*x[14]) + (a4*x[18] + a5*x[22])
		to[3] -= (a0*x[3] + a1*x[7]) + (a2*x[11] + a3*x[15]) + (a4*x[19] + a5*x[23])
	}
}

// backward4 takes lᵀ·x from y.
func backward4(y, x *strip, l *Block) {
	for c := range Freedoms {
		to := (*[wide]float64)(y[c*wide:])
		col := (*[5*Freedoms + 1]float64)(l[c:])
		a0, a1, a2, a3, a4, a5 := col[0], col[6], col[12], col[18], col[24], col[30]
		to[0] -= (a0*x[0] + a1*x[4]) + (a2*x[8] + a3*x[12]) + (a4*x[16] + a5*x[20])
		to[1] -= (a0*x[1] + a1*x[5]) + (a2*x[9] + a3*x[13]) + (a4*x[17] + a5*x[21])
		to[2] -= (a0*x[2] + a1*x[6]) + (a2*x[10] + a3*x[14]) + (a4*x[18] + a5*x[22])
		to[3] -= (a0*x[3] + a1*x[7]) + (a2*x[11] + a3*x[15]) + (a4*x[19] + a5*x[23])
	}
}

// forward1 and backward1 are the same for one right-hand side.
func forward1(y, x *[Freedoms]float64, l *Block) {
	for r := range Freedoms {
		row := (*[Freedoms]float64)(l[r*Freedoms:])
		y[r] -= (row[0]*x[0] + row[1]*x[1]) + (row[2]*x[2] + row[3]*x[3]) + (row[4]*x[4] + row[5]*x[5])
	}
}

func backward1(y, x *[Freedoms]float64, l *Block) {
	for r := range Freedoms {
		row := (*[Freedoms]float64)(l[r*Freedoms:])
		t := x[r]
		y[0] -= row[0] * t
		y[1] -= row[1] * t
		y[2] -= row[2] * t
		y[3] -= row[3] * t
		y[4] -= row[4] * t
		y[5] -= row[5] * t
	}
}
