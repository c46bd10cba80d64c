package wood

import (
	"fmt"
	"math"
)

// Conversions, exact.
const (
	psi = 6894.757293168361 // pascals in a pound-force per square inch
	lbf = 4.4482216152605   // newtons in a pound-force
)

// Sizes that tell classes of timber apart, in millimetres. A nominal 5 inches planed is 4½.
const (
	timberMM     = 4.5*InchMM - 0.5
	stringerMM   = 2*InchMM + 2
	wetPercent   = 19
	deepTimberMM = 12 * InchMM
)

// Design is what sawn wood of a species, grade and size may be stressed to, in pascals: allowable stresses for
// normal duration of load, adjusted for wet service and size, not yet for duration, stability of columns and beams.
type Design struct {
	// Group is the commercial species group that the values are listed for.
	Group string
	// Class is "beams and stringers", "posts and timbers" or "dimension lumber".
	Class string
	// Grade is the one that was understood.
	Grade string
	// Fb is bending edgewise, FbFlat bending about the weaker axis (its share of Fb from memory), Ft tension and Fc compression along the grain, Fv shear,
	// FcPerp compression across the grain.
	Fb, FbFlat, Ft, Fv, FcPerp, Fc float64
	// E is the mean modulus, EMin its lower exclusion value over the factor of safety, for stability alone.
	E, EMin float64
	// Gravity is the specific gravity that joints in the group are reckoned with, on oven-dry weight and volume.
	Gravity float64
	Status  Status
	Source  string
	// Notes are what was assumed beyond the table, each a sentence.
	Notes []string
}

// DesignOf gives the design values of a stick. The species is a key of this package. The grade is free text, as written on
// an order: "Select structural", "No. 1", "#2"; what is not understood counts as No. 2, with a note. The section is the
// finished one; the moisture content in percent tells wet service, above 19, from dry.
//
// Sources: the design value tables of the national standard for wood construction (tables 4A and 4D) for Douglas
// fir-larch in a public transcription; those of all other groups are remembered and must be confirmed. Species
// without a listed group borrow one, scaled down, and say so.
func DesignOf(species, grade string, widthMM, depthMM, moisturePercent float64) (Design, error) {
	if !(widthMM > 0) || !(depthMM > 0) || !finite(widthMM) || !finite(depthMM) {
		return Design{}, fmt.Errorf("design values: section %g × %g mm is not a size; give the finished section", widthMM, depthMM)
	}
	if !(moisturePercent > 0 && moisturePercent <= MaxMoisturePercent) {
		return Design{}, fmt.Errorf("design values: moisture content %g percent is not above 0 and at most %d", moisturePercent, MaxMoisturePercent)
	}
	g, ok := groupOf(species)
	if !ok {
		return Design{}, fmt.Errorf("design values: species %q is not known; use one of %s", species, KeyList())
	}
	d := Design{Group: g.name, Gravity: g.gravity, Status: g.status, Source: g.source}
	rank := d.readGrade(grade)
	d.Class = classOf(widthMM, depthMM)
	r, listed := d.table(g, rank)
	if g.stand != "" {
		d.Notes = append(d.Notes, g.stand)
	}
	d.fill(r, g.scale*rank.share(), g.scale*rank.shareOfE())
	if listed {
		d.size(widthMM, depthMM)
	}
	d.service(moisturePercent)
	return d, nil
}

// fill takes a row over, scaled.
func (d *Design) fill(r strengths, share, shareOfE float64) {
	d.Fb, d.Ft, d.Fv, d.FcPerp, d.Fc = r.fb*psi*share, r.ft*psi*share, r.fv*psi*share, r.fcPerp*psi*share, r.fc*psi*share
	d.FbFlat = d.Fb * r.flat
	d.E, d.EMin = r.e*1e6*psi*shareOfE, r.eMin*1e3*psi*shareOfE
}

// classOf tells the class from the finished section: beams and stringers are more than 2 inches deeper than wide (table of
// size classes of the national standard).
func classOf(widthMM, depthMM float64) string {
	thin, deep := math.Min(widthMM, depthMM), math.Max(widthMM, depthMM)
	switch {
	case thin < timberMM:
		return dimension
	case deep-thin > stringerMM:
		return beams
	}
	return posts
}

// table finds the row of a group for the class and the grade; false where a row of timbers stands for one of dimension
// lumber, whose size factors do not apply then.
func (d *Design) table(g group, k gradeRank) (strengths, bool) {
	i := min(int(k), 2)
	switch d.Class {
	case dimension:
		if g.dimension.fb > 0 {
			if k < gradeTwo {
				d.Notes = append(d.Notes, "Only No. 2 is listed for dimension lumber here; its values are taken.")
			}
			if k < gradeThree {
				d.Status, d.Source = Published, sourceRead
			}
			return g.dimension, true
		}
		d.Status = FromMemory
		d.Notes = append(d.Notes, "No values are listed for dimension lumber of this group; those of its timbers, which are lower, are taken.")
		return least(g.posts[i], g.beams[i]), false
	case beams:
		if g.beams[i].fb > 0 {
			return g.beams[i], true
		}
		d.Notes = append(d.Notes, "No values are listed for beams and stringers of this group; those of its posts and timbers are taken, tension and compression lowered as in Douglas fir-larch.")
		return like(g.posts[i], i, true), true
	}
	if g.posts[i].fb > 0 {
		return g.posts[i], true
	}
	d.Notes = append(d.Notes, "No values are listed for posts and timbers of this group; those of its beams and stringers are taken, bending lowered as in Douglas fir-larch.")
	return like(g.beams[i], i, false), true
}

// size applies the size factors: for timbers (12/d)^(1/9) on bending above 12 inches, for dimension lumber those of its table
// by width; other than No. 2 and narrower ones of them from memory.
func (d *Design) size(widthMM, depthMM float64) {
	deep := math.Max(widthMM, depthMM)
	if d.Class != dimension {
		f := SizeFactor(deep)
		d.Fb, d.FbFlat = d.Fb*f, d.FbFlat*f
		return
	}
	bend, push := 1.0, 1.0
	switch in := deep / InchMM; {
	case in < 4.25:
		bend, push = 1.5, 1.15
	case in < 6.25:
		bend, push = 1.3, 1.10
	case in < 8.25:
		push = 1.05
	case in > 12.25:
		bend, push = 0.9, 0.9
	}
	d.Fb, d.FbFlat, d.Ft, d.Fc = d.Fb*bend, d.FbFlat*bend, d.Ft*bend, d.Fc*push
}

// service applies the wet service factors.
func (d *Design) service(moisturePercent float64) {
	if moisturePercent <= wetPercent {
		return
	}
	d.FcPerp *= 0.67
	if d.Class != dimension {
		d.Fc *= 0.91
		return
	}
	if d.Fb > 1150*psi {
		d.Fb, d.FbFlat = 0.85*d.Fb, 0.85*d.FbFlat
	}
	if d.Fc > 750*psi {
		d.Fc *= 0.8
	}
	d.Fv *= 0.97
	d.E, d.EMin = 0.9*d.E, 0.9*d.EMin
}

// SizeFactor is CF of timbers on bending, by the depth of the section: (12 in/d)^(1/9) above 12 inches, else 1 (table 4D of
// the national standard for wood construction).
func SizeFactor(depthMM float64) float64 {
	if depthMM <= deepTimberMM {
		return 1
	}
	return math.Pow(deepTimberMM/depthMM, 1.0/9)
}

// ColumnFactor is CP, what is left of compression along the grain in a column (clause 3.7.1 of the national standard):
//
//	CP = a − √(a² − r/c),  a = (1 + r)/2c,  r = FcE/Fc*,  FcE = 0.822·Emin/(le/d)²
//
// fcStar is Fc with all factors but CP and eMin the modulus for stability, in the same unit; c is 0.8 for sawn wood. It
// holds up to le/d 50, and up to 75 while building; that it says nothing beyond is for the caller to heed.
func ColumnFactor(fcStar, eMin, leOverD, c float64) float64 {
	if !(leOverD > 0) || !(fcStar > 0) {
		return 1
	}
	r := 0.822 * eMin / (leOverD * leOverD) / fcStar
	return stability(r, c)
}

// stability is the smaller root of c·x² − (1 + r)·x + r = 0.
func stability(r, c float64) float64 {
	a := (1 + r) / (2 * c)
	return a - math.Sqrt(math.Max(0, a*a-r/c))
}

// BeamFactor is CL, what is left of bending in a beam that can tip over sideways (clause 3.3.3 of the national standard):
// as CP with r = FbE/Fb*, FbE = 1.20·Emin/RB², RB = √(le·d/b²) and c = 0.95. fbStar is Fb with all factors but CL; le is the
// effective length between points that keep the section from turning, in the unit of depth and width. The 1.20 is from
// memory. It is 1 where the section is no deeper than wide.
func BeamFactor(fbStar, eMin, le, depth, width float64) float64 {
	if depth <= width || !(le > 0) || !(fbStar > 0) {
		return 1
	}
	rb2 := le * depth / (width * width)
	return stability(1.20*eMin/rb2/fbStar, 0.95)
}

// Hankinson is the bearing strength at an angle in degrees from the grain: P·Q/(P·sin² + Q·cos²), with P along and Q across
// the grain.
func Hankinson(p, q, deg float64) float64 {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	down := p*sin*sin + q*cos*cos
	if !(down > 0) {
		return 0
	}
	return p * q / down
}
