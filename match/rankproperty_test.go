package match

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// manyPairs is a made-up catalog with joint draws.
func manyPairs(horns, mouthpieces, draws int) (*fakeEngine, []catalog.Horn, []catalog.Mouthpiece) {
	e := &fakeEngine{draws: draws, items: map[catalog.ID]vector{}, worlds: map[catalog.ID][]vector{}}
	add := func(id catalog.ID, size float64) {
		e.items[id] = wave(string(id), size)
		for k := range draws {
			e.worlds[id] = append(e.worlds[id], wave(fmt.Sprint(id, k), size/2))
		}
	}
	var hs []catalog.Horn
	var ms []catalog.Mouthpiece
	for i := range horns {
		h := horn(fmt.Sprintf("Horn %03d", i))
		h.Throw1MM, h.Throw3MM = float64(i%3)*8, float64(i%4)*7
		add(h.ID, 6)
		hs = append(hs, h)
	}
	for i := range mouthpieces {
		m := mouthpiece(fmt.Sprintf("Mouthpiece %03d", i))
		add(m.ID, 3)
		ms = append(ms, m)
	}
	return e, hs, ms
}

func TestRankDoesNotDependOnOrder(t *testing.T) {
	e, hs, ms := manyPairs(4, 6, 9)
	want := rank(t, e, Question{Horns: hs, Mouthpieces: ms})
	near(t, "sum of the chances", sumChances(want), 1, 1e-9)
	rapid.Check(t, func(rt *rapid.T) {
		hs, ms := slices.Clone(hs), slices.Clone(ms)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 7))
		r.Shuffle(len(hs), func(i, j int) { hs[i], hs[j] = hs[j], hs[i] })
		r.Shuffle(len(ms), func(i, j int) { ms[i], ms[j] = ms[j], ms[i] })
		if got := rank(t, e, Question{Horns: hs, Mouthpieces: ms}); !reflect.DeepEqual(got, want) {
			rt.Fatal("another order of the candidates gives another ranking")
		}
	})
}

func sumChances(r *Ranking) float64 {
	sum := 0.0
	for _, p := range r.Pairings {
		sum += p.ChanceBest
	}
	return sum
}

func TestRankingHoldsItsOwnPromises(t *testing.T) {
	e, hs, ms := manyPairs(3, 5, 40)
	for _, key := range SortKeys {
		r := rank(t, e, Question{Horns: hs, Mouthpieces: ms, Sort: key})
		for i, p := range r.Pairings {
			if i > 0 && key.value(&r.Pairings[i-1]) > key.value(&p) {
				t.Errorf("by %s place %d is better than the one before", key, i+1)
			}
			if p.Low > p.High || p.ErrorCents < p.Low || p.ErrorCents <= 0 || *p.Support <= 0 || *p.Support > 1 {
				t.Errorf("%+v", p.Verdict)
			}
			if math.Abs(p.Worst.Cents) != max(p.Sharpest.Cents, -p.Flattest.Cents) {
				t.Errorf("worst %v, sharpest %v, flattest %v", p.Worst, p.Sharpest, p.Flattest)
			}
		}
	}
}

// cannedEngine gives predictions made beforehand, so that a benchmark of the
// ranking times the ranking.
type cannedEngine struct {
	*fakeEngine
	made map[fit.Setup]fit.Prediction
}

func (e cannedEngine) PredictMany(setups []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error) {
	out := make([]fit.Prediction, len(setups))
	for i, s := range setups {
		out[i] = e.made[s]
	}
	return out, nil
}

// BenchmarkRank ranks 3,000 mouthpieces for a horn with 64 draws, and all pairs
// of 30 horns with 40 mouthpieces.
func BenchmarkRank(b *testing.B) {
	for _, size := range []struct{ horns, mouthpieces int }{{1, 3000}, {30, 40}} {
		fake, hs, ms := manyPairs(size.horns, size.mouthpieces, 64)
		e := cannedEngine{fake, map[fit.Setup]fit.Prediction{}}
		all := func(pitch.Slot) bool { return true }
		p, err := Criteria{}.For(nil).plan(hs[0], all, true)
		if err != nil {
			b.Fatal(err)
		}
		for _, h := range hs {
			for _, m := range ms {
				s := fit.Setup{Horn: h.ID, Mouthpiece: m.ID}
				if e.made[s], err = fake.Predict(s, p.slots); err != nil {
					b.Fatal(err)
				}
			}
		}
		b.Run(fmt.Sprintf("%dx%d", size.horns, size.mouthpieces), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Rank(context.Background(), e, Question{Horns: hs, Mouthpieces: ms}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
