package tuning_test

import (
	"fmt"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/tuning"
)

// Alder's low D is 24 cents sharp, its E5 12 flat. The third slide takes care
// of the D, so that the tuning slide can go in a little for the E.
func ExampleProblem_Solve() {
	alder := catalog.Horn{Label: "Alder", Key: pitch.KeyBb, Valves: 3, Throw3MM: 15}
	throws, length := tuning.ForHorn(alder)
	slots := []pitch.Slot{{Valves: 0, Partial: 2}, {Valves: 5, Partial: 3}, {Valves: 0, Partial: 5}}
	p, err := tuning.NewProblem(slots, tuning.Options{Throws: throws, OpenLengthMM: length})
	if err != nil {
		fmt.Println(err)
		return
	}
	r := p.Solve([]float64{2, 24, -12})
	fmt.Printf("slide %.1f mm, error %.1f cents\n", tuning.SlideMM(r.SlideCents, length), r.ErrorCents)
	for _, n := range r.Notes {
		fmt.Printf("%-3s %+6.1f  slide %+5.1f  throw %4.1f  left %+5.1f\n", n.Slot.Note(), n.Deviation, n.Slide, n.Throw, n.Left)
	}
	// Output:
	// slide -1.9 mm, error 5.8 cents
	// C4    +2.0  slide  -4.5  throw  0.0  left  +6.5
	// D4   +24.0  slide  -3.4  throw 26.1  left  +1.3
	// E5   -12.0  slide  -4.5  throw  0.0  left  -7.5
}
