package standing

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// The ways in which a joint is used up, told apart for words.
const (
	byPegs = iota
	byOpening
	byPush
	byShear
	byBending
	byTwist
	byHoldDown
	byLift
	byUp
	byDown
	byTop
	byBoard
)

// leastN is a force that is left out of account, in N: what rounding leaves, and what nobody feels.
const leastN = 1

// leastNM is a moment that is left out of account, in N·m: what a hand gives.
const leastNM = 5

// Limits of feet that nothing holds, in metres: common practice. A foot that has lifted or slid so far is off its mark and no
// longer stands where it was laid out, though the rest may still carry it.
const (
	liftM  = 0.005
	slideM = 0.010
)

// judge notes the shares of everything in one result of an end. k is its case, nil when it is not known.
func (c *Checker) judge(t *tally, s *state, e *end, k *statics.Case, r *statics.Result, at place) {
	t.residual = math.Max(t.residual, r.Residual)
	c.judgeJoints(t, s, e, r, at)
	c.judgeMembers(t, s, e, k, r, at)
	c.judgeBraces(t, s, e, k, r, at)
	c.judgeFeet(t, e, r, at)
	c.judgeSway(t, e, r, at)
}

func (c *Checker) judgeBuckling(t *tally, r *statics.Result, at place) {
	t.note(&t.buckling, c.rules.LeastBuckling/r.Buckling, c.rules.LeastBuckling, r.Buckling, at, 0)
}

// The load duration factors of the standard for seven days and for wind; the latter is the most of any.
const sevenDays, windDays = 1.25, 1.6

// duration is the load duration factor of a trial: that of the rules, which is for construction loads of some days; with wind it is
// raised as 1.6 is over 1.25, to at most 1.6 (NDS 2.3.2: the shortest load of a combination counts).
func (c *Checker) duration(s *state, at place) float64 { return c.durationOf(s.windyAt(at)) }

func (c *Checker) durationOf(windy bool) float64 {
	cd := c.rules.DurationFactor
	if windy {
		cd = max(cd, min(windDays, cd*windDays/sevenDays))
	}
	return cd
}

// windyAt says whether a trial has wind.
func (s *state) windyAt(at place) bool { return at.trial < len(s.trials) && s.trials[at.trial].windy() }

// judgeJoints checks all joints but those with the deck: pull against pegs, or opening where nothing pulls; push
// against shoulders; shear against the tenon; and, at the soft end, bending across the tenon's thickness. At the stiff end
// that moment is only what a stiffer tenon would draw to itself before it gives.
func (c *Checker) judgeJoints(t *tally, s *state, e *end, r *statics.Result, at place) {
	cd := c.duration(s, at)
	for i := range e.st.Joints {
		j := &e.st.Joints[i]
		var pull, shear, turn, twist, opening float64
		switch {
		case j.Member >= 0:
			side, sign := 0, -1.0
			if j.AtJ {
				side, sign = 1, 1
			}
			f := &r.Ends[j.Member][side]
			pull, shear, turn, opening = sign*f[0], math.Hypot(f[1], f[2]), math.Hypot(f[4], f[5]), r.Slip[j.Member][side]
			twist = math.Abs(f[3])
		case j.Link >= 0:
			f := &r.Links[j.Link]
			pull, shear, turn, opening = -f[0], math.Hypot(f[1], f[2]), math.Hypot(f[4], f[5]), r.Opening[j.Link]
		default:
			continue
		}
		hold := &c.strength.bonds[j.Joint].hold
		if pulls := s.Pegged[j.Joint] && hold.PullN > 0; pulls {
			if pull > leastN {
				t.note(&t.apart[i], pull/(hold.PullN*cd), pull, hold.PullN*cd, at, byPegs)
			}
		} else if opening > 0 {
			t.note(&t.apart[i], opening/c.strength.bonds[j.Joint].open, opening, c.strength.bonds[j.Joint].open, at, byOpening)
		}
		if -pull > leastN {
			t.note(&t.crushed[i], over(-pull, hold.PushN), -pull, hold.PushN, at, byPush)
		}
		if shear > leastN {
			t.note(&t.crushed[i], over(shear, hold.ShearN), shear, hold.ShearN, at, byShear)
		}
		if b := &c.strength.bonds[j.Joint]; b.twist > 0 && twist > leastNM && at.end == int(model.Soft) {
			t.note(&t.crushed[i], twist/(b.twist*cd), twist, b.twist*cd, at, byTwist)
		}
		if b := &c.strength.bonds[j.Joint]; b.turn > 0 && turn > leastNM && at.end == int(model.Soft) {
			// The tongue bears it in bending, or pegs and weight keep the shoulder from opening about its edge.
			shut := max(-pull, 0)
			if s.Pegged[j.Joint] {
				shut += hold.PullN * cd
			}
			m := max(b.turn*cd, shut*b.lever)
			t.note(&t.crushed[i], over(turn, m), turn, m, at, byBending)
		}
	}
}

// over is a demand over a capacity; what has no capacity bears nothing.
func over(demand, capacity float64) float64 {
	if capacity > 0 {
		return demand / capacity
	}
	return math.Inf(1)
}

// trustShare is the share up to which a stick is judged by the forces on its members' ends and the loads between; above it the
// displaced shape between the ends counts too.
const trustShare = 0.3

// judgeMembers checks every timber at both ends and the middle of each of its members. Its whole length counts as the
// length that may buckle, about both axes, which is on the safe side where something holds it between.
func (c *Checker) judgeMembers(t *tally, s *state, e *end, k *statics.Case, r *statics.Result, at place) {
	u := wood.Demand{Duration: c.duration(s, at)}
	timbers := c.frame.Timbers()
	if k != nil {
		e.spread(k)
	}
	for timber, members := range e.st.Members {
		if len(members) == 0 {
			continue
		}
		x := &timbers[timber]
		u.WidthM, u.DepthM = x.WidthMM/1000, x.DepthMM/1000
		u.LengthYM, u.LengthZM, u.TurnM = c.strength.long[timber], c.strength.long[timber], c.strength.long[timber]
		d := &c.strength.designs[timber]
		pointed := k != nil && e.pointed(k, timber)
		for _, m := range members {
			for i := range 3 {
				used, formula := math.Inf(1), ""
				if k != nil && !pointed {
					used, formula = use(d, &u, e.section(r, m, float64(i)/2))
				}
				if used > trustShare {
					used, formula = use(d, &u, e.sv.Forces(r, m, float64(i)/2*e.long[m]))
				}
				if !(used <= t.over[timber].share) {
					t.note(&t.over[timber], used, used, 1, at, 0)
					t.over[timber].formula = formula
				}
			}
		}
		if pointed {
			c.judgeUnderLoads(t, e, k, r, timber, u, at)
		}
	}
}

// judgeUnderLoads checks a timber where loads at points lie on it: there it is bent most, wherever along a member that is.
func (c *Checker) judgeUnderLoads(t *tally, e *end, k *statics.Case, r *statics.Result, timber int, u wood.Demand, at place) {
	for i := range k.Point {
		p := &k.Point[i]
		if e.st.Parts[p.Member].Timber != timber {
			continue
		}
		used, formula := use(&c.strength.designs[timber], &u, e.sv.Forces(r, p.Member, p.At))
		if !(used <= t.over[timber].share) {
			t.note(&t.over[timber], used, used, 1, at, 0)
			t.over[timber].formula = formula
		}
	}
}

func use(d *wood.Design, u *wood.Demand, f statics.Vec6) (share float64, formula string) {
	u.N, u.Vy, u.Vz, u.T, u.My, u.Mz = f[0], f[1], f[2], f[3], f[4], f[5]
	if math.Abs(u.N) < leastN {
		u.N = -leastN // so that rounding does not choose between the formulas of a tie and of a column
	}
	return d.MemberShare(*u)
}

// spread adds up the even load on each member: its weight and the wind.
func (e *end) spread(k *statics.Case) {
	for m := range e.even {
		e.even[m] = geom.Scale(e.mass[m], k.Gravity)
	}
	for _, l := range k.Line {
		e.even[l.Member] = geom.Add(e.even[l.Member], l.W)
	}
}

// pointed says whether a case has a load at a point of a timber.
func (e *end) pointed(k *statics.Case, timber int) bool {
	for i := range k.Point {
		if e.st.Parts[k.Point[i].Member].Timber == timber {
			return true
		}
	}
	return false
}

// section are the forces of a member at a share of its length, by equilibrium of the part from end I, without the displaced
// shape between its ends.
func (e *end) section(r *statics.Result, m int, share float64) statics.Vec6 {
	f, x := &r.Ends[m][0], share*e.long[m]
	w, a := e.even[m], &e.axes[m]
	wx, wy, wz := geom.Dot(w, a[0]), geom.Dot(w, a[1]), geom.Dot(w, a[2])
	return statics.Vec6{
		-f[0] - x*wx, -f[1] - x*wy, -f[2] - x*wz, -f[3],
		-f[4] - x*f[2] - x*x/2*wz, -f[5] + x*f[1] + x*x/2*wy,
	}
}

// judgeBraces checks each brace as a column and as a tie, its fastenings, and what it is anchored to. As a column its own weight
// and the wind on it bend it besides; as a tie that hardly tells.
func (c *Checker) judgeBraces(t *tally, s *state, e *end, k *statics.Case, r *statics.Result, at place) {
	cd, wind := c.duration(s, at), 0
	if s.windyAt(at) {
		wind = 1
	}
	for i, m := range e.st.BraceMembers {
		b := &s.props[i]
		n := (r.Ends[m][1][0] - r.Ends[m][0][0]) / 2 // its own weight bends it and is not a force on it
		t.forces[i].Pull, t.forces[i].Push = math.Max(t.forces[i].Pull, n), math.Max(t.forces[i].Push, -n)
		size := math.Abs(n)
		if size < leastN {
			continue
		}
		var w geom.Vec
		if k != nil {
			w = e.even[m]
		}
		anchor, how := b.anchorPull[wind], byUp
		if n < 0 {
			// How long a load lasts hardly matters to a slender column, so its factor is left out.
			share, by := over(size, b.pushN), byPush
			x := e.axes[m][0]
			if bent := b.bent(size, geom.Norm(geom.Along(w, -geom.Dot(w, x), x)), cd); bent > share {
				share, by = bent, byBending
			}
			t.note(&t.buckled[i], share, size, size/share, at, by)
			anchor, how = b.anchorPush[wind], byDown
		} else if share := over(size, b.pullN*cd); share > t.fastened[i].share {
			t.note(&t.fastened[i], share, size, b.pullN*cd, at, byBoard)
		}
		t.note(&t.fastened[i], over(size, b.headN*cd), size, b.headN*cd, at, byTop)
		if anchor > 0 {
			// Half of what blows on it goes to its foot besides.
			share := size*anchor + over(math.Hypot(w.X, w.Y)*b.longM/2, b.anchorAcross[wind])
			t.note(&t.anchored[i], share, size, size/share, at, how)
		}
	}
}

// bent is the share of a brace that is pushed with n and bent by an even load across it in N/m: (fc/F'c)² + fb/(F'b·(1 − fc/FcE))
// of clause 3.9.2 of the standard, the load taken over its thinner side, since nobody says how it is turned.
func (b *prop) bent(n, perM, duration float64) float64 {
	left := 1 - over(n, b.eulerN)
	if !(left > 0) {
		return math.Inf(1)
	}
	push := over(n, b.pushN)
	return push*push + over(perM*b.longM*b.longM/8, b.bendNM*duration*left)
}

// judgeFeet checks the bearing of every foot on the deck, what holds it down or from sliding, and, where nothing does, how far
// it has lifted or slid.
func (c *Checker) judgeFeet(t *tally, e *end, r *statics.Result, at place) {
	for i := range e.feet {
		f := &e.feet[i]
		hold := &c.strength.bonds[f.joint].hold
		bears, across, gap, closed, sliding := bearings(r, f.contacts)
		if f.support >= 0 {
			// The plate holds most of what goes across, and its bolts take a share of the weight.
			p := &r.Reactions[f.support]
			across += math.Hypot(p[0], p[1])
			bears += math.Max(p[2], 0)
		}
		if bears > leastN {
			t.note(&t.crushed[f.at], over(bears, hold.PushN), bears, hold.PushN, at, byPush)
		}
		if f.held && across > leastN {
			t.note(&t.crushed[f.at], over(across, hold.ShearN), across, hold.ShearN, at, byShear)
		}
		switch {
		case f.support >= 0:
			if down := -r.Reactions[f.support][2]; down > leastN {
				t.note(&t.lifted[i], over(down, hold.PullN), down, hold.PullN, at, byHoldDown)
			}
		case !closed && gap > 0:
			t.note(&t.lifted[i], gap/liftM, gap, liftM, at, byLift)
		case sliding:
			d := &r.Displacements[f.node]
			t.note(&t.slid[i], math.Hypot(d[0], d[1])/slideM, math.Hypot(d[0], d[1]), slideM, at, 0)
		}
	}
}

// bearings add up the contacts of a foot: the force on the deck and across it, the least gap, whether any is closed, and
// whether all that are slide.
func bearings(r *statics.Result, contacts []int) (bears, across, gap float64, closed, sliding bool) {
	gap, sliding = math.Inf(1), true
	var x, y float64
	for _, k := range contacts {
		b := &r.Bearings[k]
		bears += b.Normal
		x, y = x+b.Across.X, y+b.Across.Y
		gap = math.Min(gap, b.Gap)
		if b.State != statics.Open {
			closed = true
			sliding = sliding && b.State == statics.Sliding
		}
	}
	return bears, math.Hypot(x, y), gap, closed, sliding && closed
}

// judgeSway notes the largest displacement across of every stick's ends, and that of the highest point.
func (c *Checker) judgeSway(t *tally, e *end, r *statics.Result, at place) {
	for _, p := range e.tops {
		d := &r.Displacements[p.node]
		across := math.Hypot(d[0], d[1])
		most := c.rules.SwayShare * p.heightM
		t.note(&t.sway[p.timber], across/most, across, most, at, 0)
		if p.highest {
			t.topM = math.Max(t.topM, across)
		}
	}
}
