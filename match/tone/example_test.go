package tone_test

import (
	"context"
	"fmt"

	"centwise/match/tone"
)

// Two takes of one note, 30 cents apart, come out equally loud.
func ExampleProgramme_Levels() {
	note := func(hz float64) tone.Take {
		return tone.Take{{Start: 0, End: 1, Hz: hz, Dynamic: tone.Medium}}
	}
	p := tone.Programme{Rate: 16000, Takes: []tone.Take{note(440), note(447.7)}, LeadSeconds: 0.2, GapSeconds: 0.5, LUFS: -23, PeakDB: -3}
	levels, err := p.Levels(context.Background())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d takes, %.1f s\n", len(levels), p.Seconds())
	// Output: 2 takes, 2.9 s
}
