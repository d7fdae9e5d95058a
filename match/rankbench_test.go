package match

import (
	"testing"

	"centwise/catalog"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
)

// BenchmarkRankFit asks a fit of 250 horns and 350 mouthpieces: the first 20 for
// each horn (87,500 pairings), the first 20 of all, and the whole list of a horn.
func BenchmarkRankFit(b *testing.B) {
	w := simulate.Generate(simulate.Plain, simulate.Medium, 1)
	s := &worldStore{world: w, horns: w.CatalogHorns(), mouthpieces: w.CatalogMouthpieces()}
	data, err := fit.Load(b.Context(), s, catalog.NoCounter{})
	if err != nil {
		b.Fatal(err)
	}
	m, err := fit.Run(b.Context(), data, fit.Options{})
	if err != nil {
		b.Fatal(err)
	}
	for name, ask := range map[string]func(q Question) error{
		"each horn": func(q Question) error { _, err := RankEach(b.Context(), m, EachHorn, q); return err },
		"all":       func(q Question) error { _, err := Rank(b.Context(), m, q); return err },
		"one horn": func(q Question) error {
			q.FromHorn = &s.horns[3]
			_, err := Rank(b.Context(), m, q)
			return err
		},
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := ask(Question{Horns: s.horns, Mouthpieces: s.mouthpieces, Limit: 20}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
