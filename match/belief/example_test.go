package belief

import (
	"fmt"

	"centwise/match/fit"
)

// What is read of one setup makes the others of the same horn surer too.
func ExampleBelief_Learn() {
	b := New(madeUp(3, 60))
	before := b.Variance(1)
	law := NewLaw(fit.SessionLaw{Day: make([]float64, b.Slots()*b.Slots()), ReadingSD: 3, GrossShare: 0.01, GrossFactor: 6}, someSlots)
	read := Readings{}
	for j := range b.Slots() {
		read[j] = []float64{b.Mean(0)[j], b.Mean(0)[j] + 1}
	}
	b.Learn(0, law, read, nil)
	fmt.Println(b.Variance(1) < before)
	// Output: true
}
