package fit

import (
	"math"
	"slices"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/match/fit/simulate"
)

func TestZZZ(t *testing.T) {
	for _, size := range []simulate.Size{simulate.Small, simulate.Medium} {
		for _, kind := range []simulate.Kind{simulate.Plain, simulate.Harder} {
			w := simulate.Generate(kind, size, 1)
			s := worldShelf(w)
			m := s.fit(t, Options{})
			for n, pair := range w.HeldOut[simulate.Measured][:3] {
				su := Setup{Horn: w.HornID(pair.Horn), Mouthpiece: w.MouthpieceID(pair.Mouthpiece)}
				if n == 2 {
					x := s.sessions[17]
					su = Setup{x.Horn, x.Mouthpiece, x.Player}
				}
				before := predict(t, m, su, usualSlots())
				t0 := time.Now()
				in, err := m.Influences(t.Context(), s, su, usualSlots(), catalog.NoCounter{})
				if err != nil {
					t.Fatal(err)
				}
				t.Log(size, kind, in.Whole, in.Sessions, in.Left, len(in.List), time.Since(t0))
				norm := func(x []float64) float64 { return math.Sqrt(dot(x, x) / float64(len(x))) }
				slices.SortFunc(in.List, func(a, b Influence) int {
					return int(math.Copysign(1, norm(b.Shift)-norm(a.Shift)))
				})
				for _, k := range []int{0, 1, 2, 5, 10} {
					x := in.List[k]
					cut := &shelf{horns: s.horns, mouthpieces: s.mouthpieces, players: s.players}
					for _, y := range s.sessions {
						if y.Name != x.Session {
							cut.sessions = append(cut.sessions, y)
						}
					}
					after := predict(t, cut.fit(t, Options{}), su, usualSlots())
					diff := slices.Clone(after.Mean)
					axpy(-1, before.Mean, diff)
					miss := slices.Clone(diff)
					axpy(-1, x.Shift, miss)
					wid := 0.0
					for _, v := range x.Widening {
						wid += dot(v, v)
					}
					v1, v0 := norm(after.SD), norm(before.SD)
					t.Logf("  %v refit moves %.3f, said %.3f, off %.3f, slope %.2f; sd %.2f -> %.2f, said %.2f", x.Shared, norm(diff), norm(x.Shift), norm(miss), dot(diff, x.Shift)/dot(x.Shift, x.Shift), v0, v1, math.Sqrt(v0*v0+wid/31))
				}
			}
		}
	}
}
