package makesafe

import (
	"context"
	"errors"
	"slices"
)

// proof is how far it is known how many braces are needed.
type proof struct {
	// least is the fewest that could do.
	least int
	// better is a set that does with fewer than the one that was known; nil for none.
	better []choice
	// whole says that nothing is left open.
	whole bool
}

// prove counts up from the fewest braces. A set of k braces must stand the low gust with any one of them knocked out, so each
// of its subsets of k−1 must stand that gust by itself. For each k it first finds the sets of k−1 that do; when there are none,
// more than k are needed. Otherwise it tries each set of k all of whose subsets are among them; when none stands,
// more than k are needed again. This says nothing of places and lumber other than the first of each slot.
func (s *search) prove(ctx context.Context, known int) (proof, error) {
	p := proof{least: 1}
	reps := s.firsts()
	pass := map[string]bool{}
	for k := 1; k < known; k++ {
		if choose(len(reps), k-1) > float64(s.most-s.steps) {
			return p, nil
		}
		some := false
		err := s.each(ctx, reps, k-1, func(set []choice) (bool, error) {
			for d := range s.demands {
				if !s.demands[d].knocked {
					continue
				}
				if ok, err := s.low(ctx, set, d); err != nil || !ok {
					return false, err
				}
			}
			pass[s.key(set, trial{0, -1})] = true
			some = true
			return false, nil
		})
		if err != nil {
			return p, spent(err)
		}
		if some {
			err = s.each(ctx, reps, k, func(set []choice) (bool, error) {
				for i := range set {
					if less := slices.Delete(slices.Clone(set), i, i+1); !pass[s.key(less, trial{0, -1})] {
						return false, nil
					}
				}
				if !s.bothSides(set) {
					return false, nil
				}
				f, err := s.falls(ctx, set)
				if err != nil || f != nil {
					return false, err
				}
				p.better = slices.Clone(set)
				return true, nil
			})
			if err != nil {
				return p, spent(err)
			}
			if p.better != nil {
				p.whole = true
				return p, nil
			}
		}
		p.least = k + 1
	}
	p.whole = true
	return p, nil
}

// choose is how many sets of k there are of n.
func choose(n, k int) float64 {
	c := 1.0
	for i := range k {
		c *= float64(n-i) / float64(i+1)
	}
	return c
}

// spent takes a spent budget as no error.
func spent(err error) error {
	if errors.Is(err, errSteps) {
		return nil
	}
	return err
}

// firsts are the first place of each slot, or one that goes with those before where there is such.
func (s *search) firsts() []int {
	var reps []int
	at := map[int]int{}
	for _, k := range s.usable {
		p := &s.c.places[k]
		if _, ok := at[p.slot]; !ok {
			at[p.slot] = len(reps)
			reps = append(reps, k)
		}
	}
	for i, k := range reps {
		if s.clash(reps[:i], k) == 0 {
			continue
		}
		best, least := k, s.clash(reps[:i], k)
		for _, o := range s.usable {
			if s.c.places[o].slot == s.c.places[k].slot {
				if n := s.clash(reps[:i], o); n < least {
					best, least = o, n
				}
			}
		}
		reps[i] = best
	}
	return reps
}

// clash counts the places with which one cannot be used.
func (s *search) clash(places []int, k int) int {
	n := 0
	for _, o := range places {
		if !s.together(choice{place: o}, choice{place: k}) {
			n++
		}
	}
	return n
}

// each calls f with every set of k places that can be used together, until f is done.
func (s *search) each(ctx context.Context, places []int, k int, f func([]choice) (done bool, err error)) error {
	set := make([]choice, 0, k)
	var walk func(from int) (bool, error)
	walk = func(from int) (bool, error) {
		if len(set) == k {
			return f(set)
		}
		for i := from; i <= len(places)-(k-len(set)); i++ {
			if err := ctx.Err(); err != nil {
				return false, err
			}
			if !s.fits(places[i], set) {
				continue
			}
			set = append(set, choice{place: places[i]})
			done, err := walk(i + 1)
			set = set[:len(set)-1]
			if done || err != nil {
				return done, err
			}
		}
		return false, nil
	}
	_, err := walk(0)
	return err
}
