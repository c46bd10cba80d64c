package wood

import "math"

// The classes of sawn wood.
const (
	beams     = "beams and stringers"
	posts     = "posts and timbers"
	dimension = "dimension lumber"
)

// strengths is a row of a design value table, in psi, the mean modulus in millions and that for stability in
// thousands of them. flat is the share of bending that is left about the weaker axis.
type strengths struct{ fb, ft, fv, fcPerp, fc, e, eMin, flat float64 }

// group is a commercial species group with its rows: Select structural, No. 1, No. 2; a row of zeros is not listed.
type group struct {
	name         string
	gravity      float64
	beams, posts [3]strengths
	// dimension is No. 2, 2 to 4 inches thick.
	dimension strengths
	// scale is on all values where the group stands for a species that it does not hold, and stand says so.
	scale  float64
	stand  string
	status Status
	source string
}

// Sources of the tables.
const (
	sourceRead       = "design value tables of the national standard for wood construction, 2018, in a public transcription"
	sourceRemembered = "design value tables of the national standard for wood construction, remembered; confirm them"
)

// groupOf finds the group that a species is graded in.
func groupOf(species string) (group, bool) {
	g := group{scale: 1, status: FromMemory, source: sourceRemembered}
	switch species {
	case "douglas-fir", "western-larch":
		g.douglasFir()
	case "eastern-white-pine":
		g.whitePine()
	case "eastern-hemlock", "tamarack":
		g.name, g.gravity = "Eastern Hemlock-Tamarack", 0.41
		g.posts = threePosts([3]float64{1300, 1050, 600}, [3]float64{875, 700, 400}, [3]float64{1000, 875, 400}, 155, 555, [3]float64{1.2, 1.2, 0.9}, [3]float64{440, 440, 330})
	case "northern-red-oak":
		g.name, g.gravity = "Northern Red Oak", 0.68
		g.posts = threePosts([3]float64{1500, 1200, 700}, [3]float64{1000, 800, 475}, [3]float64{1000, 875, 400}, 205, 885, [3]float64{1.3, 1.3, 1.0}, [3]float64{470, 470, 370})
	case "white-oak":
		g.whiteOak()
	case "white-ash":
		g.whiteOak()
		g.scale, g.gravity = 0.55/0.60, 0.60
		g.stand = "White ash has no listed timber grades; values of white oak are taken, scaled down by gravity."
	case "black-cherry":
		g.whiteOak()
		g.scale, g.gravity = 0.47/0.60, 0.50
		g.stand = "Black cherry has no listed timber grades; values of white oak are taken, scaled down by gravity."
	case "loblolly-pine", "longleaf-pine":
		g.name, g.gravity = "Southern Pine", 0.55
		g.posts = threePosts([3]float64{1500, 1350, 850}, [3]float64{1000, 900, 550}, [3]float64{950, 825, 525}, 165, 375, [3]float64{1.5, 1.5, 1.2}, [3]float64{550, 550, 440})
	case "white-spruce":
		g.sprucePineFir()
	case "red-pine":
		g.sprucePineFir()
		g.dimension, g.gravity = strengths{}, 0.44
		g.stand = "The values of red pine's own group are not known here; those of Spruce-Pine-Fir timbers are taken."
	case "western-redcedar":
		g.whitePine()
		g.scale, g.gravity = 0.31/0.34, 0.36
		g.stand = "The values of western cedars are not known here; those of eastern white pine are taken, scaled down by gravity."
	case "northern-white-cedar":
		g.whitePine()
		g.scale, g.gravity = 4.4/6.8, 0.31
		g.stand = "The values of northern white cedar are not known here; those of eastern white pine are taken, scaled down by the modulus of clear wood."
	default:
		return group{}, false
	}
	return g, true
}

func (g *group) douglasFir() {
	g.name, g.gravity, g.status, g.source = "Douglas Fir-Larch", 0.50, Published, sourceRead
	g.beams = [3]strengths{
		{1600, 950, 170, 625, 1100, 1.6, 580, 0.86},
		{1350, 675, 170, 625, 925, 1.6, 580, 0.74},
		{875, 425, 170, 625, 600, 1.3, 470, 1},
	}
	g.posts = [3]strengths{
		{1500, 1000, 170, 625, 1150, 1.6, 580, 1},
		{1200, 825, 170, 625, 1000, 1.6, 580, 1},
		{750, 475, 170, 625, 700, 1.3, 470, 1},
	}
	g.dimension = strengths{900, 575, 180, 625, 1350, 1.6, 580, 1}
}

func (g *group) whitePine() {
	g.name, g.gravity = "Eastern White Pine", 0.36
	g.beams = [3]strengths{
		{1050, 700, 125, 350, 675, 1.1, 400, 0.86},
		{875, 600, 125, 350, 575, 1.1, 400, 0.74},
		{575, 375, 125, 350, 400, 0.9, 330, 1},
	}
}

func (g *group) whiteOak() {
	g.name, g.gravity = "White Oak", 0.73
	g.posts = threePosts([3]float64{1300, 1050, 600}, [3]float64{875, 700, 400}, [3]float64{950, 825, 400}, 205, 800, [3]float64{1.0, 1.0, 0.8}, [3]float64{370, 370, 290})
}

func (g *group) sprucePineFir() {
	g.name, g.gravity = "Spruce-Pine-Fir", 0.42
	g.posts = threePosts([3]float64{1050, 850, 500}, [3]float64{700, 550, 325}, [3]float64{800, 700, 500}, 125, 425, [3]float64{1.3, 1.3, 1.0}, [3]float64{470, 470, 370})
	g.dimension = strengths{875, 450, 135, 425, 1150, 1.4, 510, 1}
}

func threePosts(fb, ft, fc [3]float64, fv, fcPerp float64, e, eMin [3]float64) (rows [3]strengths) {
	for i := range rows {
		rows[i] = strengths{fb[i], ft[i], fv, fcPerp, fc[i], e[i], eMin[i], 1}
	}
	return rows
}

// like makes a row of one class from one of the other class: every value that is lower in that class of Douglas
// fir-larch is lowered by the same share, none is raised.
func like(r strengths, grade int, beam bool) strengths {
	var fir group
	fir.douglasFir()
	have, want := fir.beams[grade], fir.posts[grade]
	if beam {
		have, want = want, have
	}
	lower := func(v, have, want float64) float64 { return v * math.Min(1, want/have) }
	r.fb, r.ft, r.fc = lower(r.fb, have.fb, want.fb), lower(r.ft, have.ft, want.ft), lower(r.fc, have.fc, want.fc)
	r.flat = want.flat
	return r
}

// least is the lower of two rows, value by value; a row that is not listed does not count.
func least(a, b strengths) strengths {
	switch {
	case !(a.fb > 0):
		return b
	case !(b.fb > 0):
		return a
	}
	return strengths{
		math.Min(a.fb, b.fb), math.Min(a.ft, b.ft), math.Min(a.fv, b.fv), math.Min(a.fcPerp, b.fcPerp), math.Min(a.fc, b.fc),
		math.Min(a.e, b.e), math.Min(a.eMin, b.eMin), math.Min(a.flat, b.flat),
	}
}
