package match

import (
	"context"
	"iter"
	"math"
	"testing"

	"centwise/catalog"
	"centwise/match/fit/simulate"
)

// In simulated catalogs contributors have tuners, rounding and carelessness of
// their own, which are known: what is found of them lies about the truth as its
// intervals say.
func TestContributorsAgainstTheTruth(t *testing.T) {
	held, all := 0, 0
	square, promised := 0.0, 0.0
	for _, seed := range []uint64{2, 3} {
		w := simulate.Generate(simulate.Harder, simulate.Small, seed)
		m := fitted(t, w)
		views, err := Contributors(context.Background(), m, Measurements{Sessions: measured(w), Horns: w.CatalogHorns()})
		if err != nil {
			t.Fatal(err)
		}
		truth := map[string]simulate.Contributor{}
		tuner := 0.0
		for _, c := range w.Contributors {
			truth[c.Label] = c
			tuner += c.Tuner / float64(len(w.Contributors))
		}
		sessions := 0
		// What no effect of the model explains adds to everybody's scatter.
		unexplained, readings := 0.0, 0.0
		for _, v := range views {
			sd := readingSD(truth[v.Contributor])
			unexplained += float64(v.Readings) * (v.Spread.Value*v.Spread.Value - sd*sd)
			readings += float64(v.Readings)
		}
		if unexplained /= readings; unexplained < -0.3 || unexplained > 5 {
			t.Errorf("%.1f square cents of scatter are nobody's", unexplained)
		}
		for _, v := range views {
			sessions += v.Sessions
			c := truth[v.Contributor]
			sd := math.Sqrt(max(0, math.Pow(readingSD(c), 2)+unexplained))
			all++
			if v.Spread.Low <= sd && sd <= v.Spread.High {
				held++
			}
			if v.Spread.Low >= v.Spread.Value || v.Spread.High <= v.Spread.Value || (v.Weight > 1) != (v.Spread.Value < m.ReadingNoise()) {
				t.Errorf("%+v contradicts itself", v)
			}
			if v.Offset != nil {
				square += math.Pow(v.Offset.Value-(c.Tuner-tuner), 2)
				promised += math.Pow((v.Offset.High-v.Offset.Low)/2/z80, 2)
			}
		}
		if sessions != len(w.Sessions) {
			t.Errorf("%d sessions of %d", sessions, len(w.Sessions))
		}
	}
	t.Logf("%d of %d spreads lie in their 80 %% intervals; offsets err by %.2f of what is promised", held, all, math.Sqrt(square/promised))
	if share := float64(held) / float64(all); share < 0.6 || share > 0.97 {
		t.Errorf("%d of %d spreads lie in their 80 %% intervals", held, all)
	}
	if ratio := math.Sqrt(square / promised); ratio < 0.5 || ratio > 1.6 {
		t.Errorf("offsets err by %.2f of what is promised", ratio)
	}
}

// readingSD is the standard deviation of somebody's good readings: rounding to
// steps adds step^2/12 to the variance.
func readingSD(c simulate.Contributor) float64 { return math.Hypot(c.NoiseSD, c.Step/math.Sqrt(12)) }

// measured is every session of a world, as a store gives it.
func measured(w *simulate.World) iter.Seq2[catalog.Measured, error] {
	return func(yield func(catalog.Measured, error) bool) {
		for m := range w.Measurements() {
			if !yield(m, nil) {
				return
			}
		}
	}
}

// Two contributors are too few to say whose tuner is off.
func TestContributorsTooFewToCompare(t *testing.T) {
	if _, ok := scaleOf(map[string][]float64{"lamp-keeper": {1, 2, 3, 4, 5}, "tide-table": {1, 2, 3, 4, 5}}); ok {
		t.Error("two contributors make a reference")
	}
}
