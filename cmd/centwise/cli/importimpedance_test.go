package cli

import (
	"context"
	"errors"
	"math"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Ctrl-C stops between the curves of a long list.
func TestImpedanceStops(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	b := &benchSession{importImpedanceOptions: &importImpedanceOptions{}}
	b.horn.Valves = 3
	if err := b.readAll(ctx, []curveFile{{path: "nowhere.csv"}}, nil); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// How well repeats agree is the same number each time, whatever the order of a map.
func TestRepeatSDIsTheSameEachTime(t *testing.T) {
	b := &benchSession{}
	for partial := 2; partial <= 9; partial++ {
		for k := range 3 {
			b.session.Readings = append(b.session.Readings, catalog.Reading{Slot: pitch.Slot{Partial: partial}, Repeat: k + 1, Cents: math.Sin(float64(7*partial + k))})
		}
	}
	first, n := b.repeatSD()
	for range 100 {
		if sd, _ := b.repeatSD(); sd != first || n != 8 {
			t.Fatalf("%v of %d, then %v", first, n, sd)
		}
	}
}
