package fit

import (
	"math"
	"testing"

	"centwise/catalog"
)

// Shares add up to what the model predicts: in the mean, and draw by draw where
// the pair was measured; else the draws lack the pair's interaction, whose
// covariance is given apart and has the learned size.
func TestJointAddsUpToPredictions(t *testing.T) {
	s, setups := drawCase()
	m := solved(t, newEngine(s.load(t), testComponents(1), 7, false), plan{draws: 400, tolerance: 1e-9, drawTolerance: 1e-8, limit: 1000}, true)
	slots := usualSlots()
	predictions, err := m.PredictMany(setups, slots)
	if err != nil {
		t.Fatal(err)
	}
	j, err := m.Joint(setups, slots)
	if err != nil {
		t.Fatal(err)
	}
	n := len(slots)
	for i, p := range predictions {
		x := j.Setups[i]
		if x.Linked != p.Linked || x.Evidence != p.Evidence {
			t.Errorf("setup %d rests on %+v, linked %v; want %+v, %v", i, x.Evidence, x.Linked, p.Evidence, p.Linked)
		}
		sum := make([]float64, j.Draws*n)
		unknown := 0.0
		for _, at := range x.Shares {
			if d := j.Shares[at].Deviations; d != nil {
				add(d, sum)
				continue
			}
			for q := range n {
				unknown += j.Shares[at].Covariance[q*n+q] / float64(n)
			}
		}
		off := 0.0
		for q, mean := range p.Mean {
			if math.Abs(mean-x.Mean[q]) > 1e-9 {
				t.Errorf("setup %d, slot %v: mean %g, want %g", i, slots[q], x.Mean[q], mean)
			}
			for k := range j.Draws {
				d := p.Draws[k][q] - mean
				off += (d - sum[k*n+q]) * (d - sum[k*n+q]) / float64(n*j.Draws)
			}
		}
		// So many draws have exactly the learned covariance (evenDraws).
		if measured := p.Evidence.Pair > 0; measured && off > 1e-9 || !measured && math.Abs(off-unknown) > 0.01*unknown {
			t.Errorf("setup %d: draws differ from the shares by a variance of %g, want %g", i, off, unknown)
		}
	}
}

// One item's shares have one number, on instruments of any key; a session's law
// has the noise of who measures.
func TestJointKnowsWhatSetupsShare(t *testing.T) {
	s := newShelf([]string{"Alder", "Hazel"}, []string{"Plover 16.2"}, []string{"reed-otter"})
	s.horns[1].Key = "C"
	s.measure("Alder", "Plover 16.2", "reed-otter", StandardSlots(), func(j int) float64 { return float64(j % 5) })
	s.measure("Hazel", "Plover 16.2", "reed-otter", StandardSlots(), func(j int) float64 { return float64(j % 7) })
	m := solved(t, newEngine(s.load(t), testComponents(1), 7, false), plan{draws: 10, tolerance: 1e-9, drawTolerance: 1e-8, limit: 1000}, true)
	j, err := m.Joint([]Setup{setup("Alder", "Plover 16.2", "reed-otter"), setup("Hazel", "Plover 16.2", "reed-otter")}, usualSlots())
	if err != nil {
		t.Fatal(err)
	}
	item := func(setup, share int) int { return j.Shares[j.Setups[setup].Shares[share]].Item }
	if item(0, 1) != item(1, 1) || item(0, 0) == item(1, 0) {
		t.Errorf("shares %+v", j.Setups)
	}
	law, err := m.SessionLaw(usualSlots(), m.Sources()[0])
	if err != nil || law.ReadingSD != m.Components.SourceNoise[0] {
		t.Errorf("the law says %g, %v", law.ReadingSD, err)
	}
	other, err := m.SessionLaw(usualSlots(), Source{"somebody else", catalog.MethodTuner})
	if err != nil || other.ReadingSD != m.Components.Noise || other.Day[0] <= 0 {
		t.Errorf("the law of a newcomer says %+v, %v", other, err)
	}
	if _, err := m.Joint([]Setup{{Horn: "nobody's"}}, usualSlots()); catalog.KindOf(err) != catalog.NotFound {
		t.Errorf("an unknown horn: %v", err)
	}
}
