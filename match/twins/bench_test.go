package twins_test

import (
	"testing"

	"centwise/match/twins"
)

// A pool of 20,000 records, one thing in seven entered twice.
func BenchmarkFind(b *testing.B) {
	in := invent(1, 7600, 15)
	b.Logf("%d horns, %d mouthpieces", len(in.horns), len(in.mouthpieces))
	for b.Loop() {
		if _, err := twins.Find(b.Context(), twins.Question{Horns: in.horns, Mouthpieces: in.mouthpieces}); err != nil {
			b.Fatal(err)
		}
	}
}
