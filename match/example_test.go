package match

import (
	"fmt"

	"centwise/catalog"
)

// A horn and a mouthpiece whose errors cancel: each alone is far off on some
// notes, together they are in tune.
func ExampleExplain() {
	horn := catalog.Horn{ID: "h", Label: "Alder", Key: "Bb", Instrument: catalog.Trumpet, Receiver: catalog.ShankTrumpet}
	mouthpiece := catalog.Mouthpiece{ID: "m", Label: "Plover 16.2", Shank: catalog.ShankTrumpet}
	e := &fakeEngine{items: map[catalog.ID]vector{
		"h": byNote(map[string]float64{"G4": 12, "C5": -9}),
		"m": byNote(map[string]float64{"G4": -12, "C5": 9}),
	}, draws: 20}
	x, err := Explain(e, Of{Horn: horn, Mouthpiece: mouthpiece}, Criteria{NoThrows: true}, false)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, n := range x.Notes {
		if n.Note == "G4" || n.Note == "C5" {
			fmt.Printf("%s: %+.0f cents\n", n.Note, n.Cents)
		}
	}
	// Output:
	// G4: +0 cents
	// C5: +0 cents
}
