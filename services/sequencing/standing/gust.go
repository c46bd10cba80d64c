package standing

import (
	"context"
	"math"
)

// stepsPerMPS is how finely the highest gust is found: to a tenth of a metre per second.
const stepsPerMPS = 10

// likelyShare is the share, of the largest of any run, from which a run has a part in the search for the highest gust; the
// others are run at its end.
const likelyShare = 0.6

// highest is the highest gust in m/s at which every trial with wind passes, 0 when those without wind do not. The search goes
// by the runs that used up most so far; when another fails at what they find, it goes on below with all.
func (c *Checker) highest(ctx context.Context, s *state, v *Verdict) (float64, error) {
	var still, windy []place
	for _, p := range c.everything(s) {
		if s.trials[p.trial].windy() {
			windy = append(windy, p)
		} else {
			still = append(still, p)
		}
	}
	low, high := 0, MostGustMPS*stepsPerMPS+1
	if v.Stands {
		low = int(math.Floor(s.GustMPS * stepsPerMPS))
	} else {
		ok, err := c.passes(ctx, s, 0, append(still, windy...))
		if err != nil || !ok {
			return 0, err
		}
		high = int(math.Ceil(s.GustMPS * stepsPerMPS))
	}
	likely := c.likely(s, windy)
	found, err := c.search(ctx, s, likely, low, high, c.guess(s, v))
	if err != nil || found == low || len(likely) == len(windy) {
		return float64(found) / stepsPerMPS, err
	}
	ok, err := c.passes(ctx, s, found, windy)
	if err != nil || ok {
		return float64(found) / stepsPerMPS, err
	}
	found, err = c.search(ctx, s, windy, low, found, found-1)
	return float64(found) / stepsPerMPS, err
}

// passes says whether places pass in a gust of some steps.
func (c *Checker) passes(ctx context.Context, s *state, steps int, list []place) (bool, error) {
	t := c.tallyOf(s)
	err := c.run(ctx, s, t, list, float64(steps)/stepsPerMPS, true, &keeper{})
	return !t.fails(), err
}

// likely are the runs that used up most so far; the order of the rest is kept.
func (c *Checker) likely(s *state, windy []place) []place {
	most := 0.0
	for _, p := range windy {
		most = math.Max(most, s.shares[p])
	}
	var list []place
	for _, p := range windy {
		if s.shares[p] >= likelyShare*most {
			list = append(list, p)
		}
	}
	return list
}

// search finds the highest steps from low, which pass, to below high, which do not. It tries a guess first, since shares grow
// about with the pressure, looks a little to the other side of it, and then halves.
func (c *Checker) search(ctx context.Context, s *state, list []place, low, high, guess int) (int, error) {
	for width := 4; high-low > 1; width *= 4 {
		try := (low + high) / 2
		if guess > 0 {
			try = min(max(guess, low+1), high-1)
		}
		ok, err := c.passes(ctx, s, try, list)
		if err != nil {
			return 0, err
		}
		if ok {
			low = try
		} else {
			high = try
		}
		guess = 0
		if width <= 16 && high-low > 2*width {
			guess = high - width
			if ok {
				guess = low + width
			}
		}
	}
	return low, nil
}

// guess is where the highest gust would be if the share that governs grew with the pressure alone; 0 for no idea.
func (c *Checker) guess(s *state, v *Verdict) int {
	share := v.Governing.Share
	if !(share > 0) || math.IsInf(share, 1) || s.GustMPS < 1 {
		return 0
	}
	return int(s.GustMPS * stepsPerMPS / math.Sqrt(share))
}
