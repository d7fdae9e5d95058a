package main

import (
	"context"
	"fmt"
	"math"

	"centwise/match/fit/simulate"
)

// Two-sided normal quantiles of the 50 and 90 % intervals.
const (
	half   = 0.674490
	ninety = 1.644854
)

// tally sums squared errors and hits of intervals over notes and pairs.
type tally struct {
	squares        float64
	notes          int
	in50, in90     int
	intervalsGiven bool
}

// add scores one profile against the truth.
func (t *tally) add(p Profile, truth []float64) {
	mean, want := simulate.Centred(p.Mean), simulate.Centred(truth)
	for _, j := range simulate.Usual {
		e := math.Abs(mean[j] - want[j])
		t.squares += e * e
		t.notes++
		if p.SD == nil {
			continue
		}
		t.intervalsGiven = true
		if e <= half*p.SD[j] {
			t.in50++
		}
		if e <= ninety*p.SD[j] {
			t.in90++
		}
	}
}

func (t *tally) merge(o tally) {
	t.squares += o.squares
	t.notes += o.notes
	t.in50 += o.in50
	t.in90 += o.in90
	t.intervalsGiven = t.intervalsGiven || o.intervalsGiven
}

// rms is the root mean square error in cents.
func (t tally) rms() float64 { return math.Sqrt(t.squares / float64(t.notes)) }

// coverage is how often the 50 and 90 % intervals hold the truth, in per cent;
// NaN if the method gives none.
func (t tally) coverage() (fifty, ninety float64) {
	if !t.intervalsGiven {
		return math.NaN(), math.NaN()
	}
	n := float64(t.notes)
	return 100 * float64(t.in50) / n, 100 * float64(t.in90) / n
}

// result is what one method did on one world.
type result struct {
	strata  map[simulate.Stratum]tally
	all     tally
	regret  float64 // cents the top picks lose to the best candidates, mean
	chance  float64 // the same for a random pick
	seconds float64
	bytes   uint64
}

// score predicts and scores all held-out pairs and rankings of w.
func score(ctx context.Context, m Method, w *simulate.World) (result, error) {
	r := result{strata: map[simulate.Stratum]tally{}}
	for _, s := range simulate.Strata {
		pairs := w.HeldOut[s]
		if len(pairs) == 0 {
			continue
		}
		profiles, err := m.Predict(ctx, pairs)
		if err != nil {
			return r, fmt.Errorf("predicting stratum %s: %w", s, err)
		}
		var t tally
		for i, p := range pairs {
			t.add(profiles[i], w.Truth(p.Horn, p.Mouthpiece))
		}
		r.strata[s] = t
		r.all.merge(t)
	}
	return r, scoreRankings(ctx, m, w, &r)
}

// scoreRankings lets the method pick a mouthpiece for each horn by the least
// expected rms over the notes without 13 and 123.
func scoreRankings(ctx context.Context, m Method, w *simulate.World, r *result) error {
	for _, ranking := range w.Rankings {
		var pairs []simulate.Pair
		for _, c := range ranking.Candidates {
			pairs = append(pairs, simulate.Pair{Horn: ranking.Horn, Mouthpiece: c})
		}
		profiles, err := m.Predict(ctx, pairs)
		if err != nil {
			return fmt.Errorf("predicting the candidates of horn %s: %w", w.Horns[ranking.Horn].Label, err)
		}
		pick, least := 0, math.Inf(1)
		best, sum := math.Inf(1), 0.0
		truths := make([]float64, len(pairs))
		for i, p := range pairs {
			if e := expected(profiles[i]); e < least {
				pick, least = i, e
			}
			truths[i] = simulate.Spread(w.Truth(p.Horn, p.Mouthpiece), simulate.Throwless)
			best = min(best, truths[i])
			sum += truths[i]
		}
		n := float64(len(w.Rankings))
		r.regret += (truths[pick] - best) / n
		r.chance += (sum/float64(len(pairs)) - best) / n
	}
	return nil
}

// expected is the expected rms deviation of a setup: what its mean leaves and
// what is not known of it.
func expected(p Profile) float64 {
	e := simulate.Spread(p.Mean, simulate.Throwless)
	e *= e
	for _, j := range simulate.Throwless {
		if p.SD != nil {
			e += p.SD[j] * p.SD[j] / float64(len(simulate.Throwless))
		}
	}
	return e
}
