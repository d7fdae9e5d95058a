package fit

import (
	"math"
	"testing"

	"centwise/match/fit/simulate"
)

// Two-sided quantiles of the normal distribution for 50 and 90 %.
const quantile50, quantile90 = 0.674490, 1.644854

// On a simulated catalog with known truth, whose laws are not the fit's, setups
// nobody measured are predicted far better than by the sum of average profiles,
// and the intervals hold the truth about as often as they say. (The study
// command judges this thoroughly; this is its smallest part.)
func TestBetterThanTheSumOfProfiles(t *testing.T) {
	w := simulate.Generate(simulate.Plain, simulate.Small, 1)
	m := worldShelf(w).fit(t, Options{})
	wantConverged(t, m)
	sum := sumOfProfiles(w)
	var squares, sumSquares, in50, in90, n float64
	for _, stratum := range simulate.Strata {
		for _, pair := range w.HeldOut[stratum] {
			p := predict(t, m, Setup{Horn: w.HornID(pair.Horn), Mouthpiece: w.MouthpieceID(pair.Mouthpiece)}, simulate.Slots)
			truth, bySum := simulate.Centred(w.Truth(pair.Horn, pair.Mouthpiece)), sum(pair)
			for _, j := range simulate.Usual {
				e := math.Abs(p.Mean[j] - truth[j])
				squares += e * e
				sumSquares += (bySum[j] - truth[j]) * (bySum[j] - truth[j])
				if e <= quantile50*p.SD[j] {
					in50++
				}
				if e <= quantile90*p.SD[j] {
					in90++
				}
				n++
			}
		}
	}
	rms, bySum := math.Sqrt(squares/n), math.Sqrt(sumSquares/n)
	t.Logf("rms error %.2f cents, by the sum of profiles %.2f; intervals of 50 and 90 %% hold %.1f and %.1f %%", rms, bySum, 100*in50/n, 100*in90/n)
	if rms > 0.6*bySum {
		t.Errorf("the rms error is %.2f cents, by the sum of profiles %.2f", rms, bySum)
	}
	if math.Abs(in50/n-0.5) > 0.08 || math.Abs(in90/n-0.9) > 0.08 {
		t.Errorf("intervals of 50 and 90 %% hold the truth in %.1f and %.1f %%", 100*in50/n, 100*in90/n)
	}
}

// sumOfProfiles adds a horn's and a mouthpiece's average profile and takes out
// the grand mean, every session's own mean removed: what a spreadsheet does.
func sumOfProfiles(w *simulate.World) func(simulate.Pair) []float64 {
	type profile struct{ sum, count []float64 }
	newProfiles := func(n int) []profile {
		out := make([]profile, n)
		for i := range out {
			out[i] = profile{make([]float64, len(simulate.Slots)), make([]float64, len(simulate.Slots))}
		}
		return out
	}
	horns, mouthpieces := newProfiles(len(w.Horns)), newProfiles(len(w.Mouthpieces))
	shift := make([]float64, len(w.Sessions))
	grand := make([]float64, len(simulate.Slots))
	for range 10 { // sessions read different notes: shifts and the mean by turns
		all := newProfiles(1)
		for i, s := range w.Sessions {
			for _, r := range s.Readings {
				all[0].sum[r.Slot] += r.Cents - shift[i]
				all[0].count[r.Slot]++
			}
		}
		for j := range grand {
			grand[j] = all[0].sum[j] / math.Max(1, all[0].count[j])
		}
		for i, s := range w.Sessions {
			off := 0.0
			for _, r := range s.Readings {
				off += r.Cents - grand[r.Slot]
			}
			shift[i] = off / math.Max(1, float64(len(s.Readings)))
		}
	}
	for i, s := range w.Sessions {
		for _, r := range s.Readings {
			for _, p := range []profile{horns[s.Horn], mouthpieces[s.Mouthpiece]} {
				p.sum[r.Slot] += r.Cents - shift[i] - grand[r.Slot]
				p.count[r.Slot]++
			}
		}
	}
	return func(pair simulate.Pair) []float64 {
		out := append([]float64(nil), grand...)
		for j := range out {
			h, m := horns[pair.Horn], mouthpieces[pair.Mouthpiece]
			out[j] += h.sum[j]/math.Max(1, h.count[j]) + m.sum[j]/math.Max(1, m.count[j])
		}
		return simulate.Centred(out)
	}
}
