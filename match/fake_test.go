package match

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// vector is a profile by slot, in cents.
type vector func(pitch.Slot) float64

// byNote is a profile given for some written notes, nought on all others.
func byNote(values map[string]float64) vector {
	at := map[pitch.Note]float64{}
	for text, v := range values {
		n, err := pitch.ParseNote(text)
		if err != nil {
			panic(err)
		}
		at[n] = v
	}
	return func(s pitch.Slot) float64 { return at[s.Note()] }
}

// wave is a made-up smooth profile, different for every seed.
func wave(seed string, size float64) vector {
	h := fnv.New64a()
	h.Write([]byte(seed))
	r := rand.New(rand.NewPCG(h.Sum64(), 1))
	a, b, c := r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
	phase := 6 * r.Float64()
	return func(s pitch.Slot) float64 {
		x := float64(s.Note()-69) / 15
		return size * (a*math.Sin(2*x+phase) + b*math.Cos(4*x+phase) + c*float64(s.Valves.Semitones()-2)/4)
	}
}

// fakeEngine adds up profiles that are given, without removing means.
type fakeEngine struct {
	common vector
	items  map[catalog.ID]vector // horns, mouthpieces, players
	pair   map[fit.Setup]vector  // by horn and mouthpiece
	// worlds are, by item, what is added to its profile in each draw.
	worlds   map[catalog.ID][]vector
	draws    int
	sd       float64
	evidence func(fit.Setup) fit.Evidence // nil = 3 sessions of everything, measured
	unlinked map[catalog.ID]bool
	fail     error
}

// ReadingNoiseOf, SessionLaw and Spreads take what one note has to say for
// independent of the others; the uncertainty of predictions is a day's.
func (e *fakeEngine) ReadingNoiseOf(string, catalog.Method) float64 { return 3.5 }

func (e *fakeEngine) SessionLaw(slots []pitch.Slot, _ fit.Source) (fit.SessionLaw, error) {
	return fit.SessionLaw{Day: diagonal(len(slots), math.Hypot(e.sd, 1.5)), ReadingSD: 3.5, GrossShare: 0.02, GrossFactor: 6}, nil
}

func (e *fakeEngine) Spreads(slots []pitch.Slot, _ int) (fit.Spreads, error) {
	n := len(slots)
	return fit.Spreads{Horn: diagonal(n, 5.2), Mouthpiece: diagonal(n, 2.7), Player: diagonal(n, 4.5), Pair: diagonal(n, 1.8)}, nil
}

// diagonal is the covariance of n numbers that are independent.
func diagonal(n int, sd float64) []float64 {
	out := make([]float64, n*n)
	for i := range n {
		out[i*n+i] = sd * sd
	}
	return out
}

func nought(pitch.Slot) float64 { return 0 }

func (e *fakeEngine) item(id catalog.ID) vector {
	if v := e.items[id]; v != nil {
		return v
	}
	return nought
}

func (e *fakeEngine) Predict(s fit.Setup, slots []pitch.Slot) (fit.Prediction, error) {
	if e.fail != nil {
		return fit.Prediction{}, e.fail
	}
	p := fit.Prediction{Setup: s, Slots: slots, Linked: !e.unlinked[s.Horn] && !e.unlinked[s.Mouthpiece]}
	p.Evidence = fit.Evidence{Horn: 3, Mouthpiece: 3, HornPlayers: 2, Basis: fit.BasisMeasured}
	if e.evidence != nil {
		p.Evidence = e.evidence(s)
	}
	common, pair := e.common, e.pair[fit.Setup{Horn: s.Horn, Mouthpiece: s.Mouthpiece}]
	if common == nil {
		common = nought
	}
	if pair == nil {
		pair = nought
	}
	fill := func(v vector) []float64 {
		out := make([]float64, len(slots))
		for j, slot := range slots {
			out[j] = v(slot)
		}
		return out
	}
	p.Common, p.Horn, p.Mouthpiece = fill(common), fill(e.item(s.Horn)), fill(e.item(s.Mouthpiece))
	p.Player, p.Pair = fill(e.item(s.Player)), fill(pair)
	for j := range slots {
		p.Mean = append(p.Mean, p.Common[j]+p.Horn[j]+p.Mouthpiece[j]+p.Player[j]+p.Pair[j])
		p.SD = append(p.SD, e.sd)
	}
	for k := range e.draws {
		draw := append([]float64(nil), p.Mean...)
		for _, id := range []catalog.ID{s.Horn, s.Mouthpiece, s.Player} {
			if worlds := e.worlds[id]; worlds != nil {
				for j, slot := range slots {
					draw[j] += worlds[k](slot)
				}
			}
		}
		p.Draws = append(p.Draws, draw)
	}
	return p, nil
}

func (e *fakeEngine) PredictMany(setups []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error) {
	var out []fit.Prediction
	for _, s := range setups {
		p, err := e.Predict(s, slots)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// someEngine answers for some slots only.
type someEngine struct {
	*fakeEngine
	slots []pitch.Slot
}

func (e someEngine) Slots() []pitch.Slot { return e.slots }

func (e someEngine) Predict(s fit.Setup, slots []pitch.Slot) (fit.Prediction, error) {
	for _, slot := range slots {
		if !answers(e)(slot) {
			return fit.Prediction{}, fmt.Errorf("asked for %s", slot)
		}
	}
	return e.fakeEngine.Predict(s, slots)
}

func (e someEngine) PredictMany(setups []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error) {
	if len(setups) > 0 {
		if _, err := e.Predict(setups[0], slots); err != nil {
			return nil, err
		}
	}
	return e.fakeEngine.PredictMany(setups, slots)
}

// Gear of the Lantern Bay Youth Winds, an invented orchestra.
func alder() catalog.Horn {
	return catalog.Horn{ID: "alder", Label: "Alder", Instrument: catalog.Trumpet, Key: pitch.KeyBb, Valves: 3, Receiver: catalog.ShankTrumpet}
}

func horn(label string) catalog.Horn {
	h := alder()
	h.ID, h.Label = catalog.ID(label), label
	return h
}

func mouthpiece(label string) catalog.Mouthpiece {
	return catalog.Mouthpiece{ID: catalog.ID(label), Label: label, Shank: catalog.ShankTrumpet, RimMM: 16.2, CupCM3: 1.2}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}

// threeOpen judges three open notes, so that the slide takes out their mean and
// all can be reckoned by hand.
func threeOpen() Criteria {
	return Criteria{Low: 67, High: 79, Weights: map[pitch.Note]float64{67: 1, 72: 1, 79: 1}}
}
