package fit

import (
	"math"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit/simulate"
)

// The fit learns of a small catalog about how much gear varies in truth.
func TestSpreadsAgainstTheTruth(t *testing.T) {
	w := simulate.Generate(simulate.Harder, simulate.Small, 2)
	m := worldShelf(w).fit(t, Options{})
	slots := pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)
	usual, err := m.Spreads(slots, bbTransposition)
	if err != nil {
		t.Fatal(err)
	}
	for name, x := range map[string]struct {
		covariance []float64
		truth      []simulate.Item
	}{"horn": {usual.Horn, w.Horns}, "mouthpiece": {usual.Mouthpiece, w.Mouthpieces}} {
		square := 0.0
		for _, item := range x.truth {
			square += math.Pow(simulate.Spread(item.Truth, simulate.Usual), 2) / float64(len(x.truth))
		}
		if got, want := spreadAbout(x.covariance, len(slots)), math.Sqrt(square); math.Abs(got/want-1) > 0.35 {
			t.Errorf("%ss spread by %.2f cents, in truth by %.2f", name, got, want)
		}
	}
	if _, err := m.Spreads([]pitch.Slot{{Partial: 99}}, bbTransposition); catalog.KindOf(err) != catalog.NotFound {
		t.Errorf("a slot that can't be: %v", err)
	}
}

// spreadAbout is the rms about their mean of profiles with a covariance.
func spreadAbout(covariance []float64, n int) float64 {
	diagonal, all := 0.0, 0.0
	for i := range n {
		diagonal += covariance[i*n+i]
		for j := range n {
			all += covariance[i*n+j]
		}
	}
	return math.Sqrt((diagonal - all/float64(n)) / float64(n))
}
