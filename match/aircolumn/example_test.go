package aircolumn_test

import (
	"fmt"
	"log"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/aircolumn"
)

// The prior for mouthpieces of which only dimensions are known: cents per slot
// when a dimension grows by a factor of e; times ln 1.05 for 5 % more.
func ExampleSetup_Sensitivities() {
	generic, err := aircolumn.Generic(catalog.Trumpet, pitch.KeyBb)
	if err != nil {
		log.Fatal(err)
	}
	air, err := aircolumn.MoistAir(aircolumn.DefaultTemperatureC, aircolumn.DefaultHumidity)
	if err != nil {
		log.Fatal(err)
	}
	slots := []pitch.Slot{{Valves: 0, Partial: 2}, {Valves: 0, Partial: 5}, {Valves: 0, Partial: 8}}
	cents, err := generic.Sensitivities(air, aircolumn.CupDimensions, slots)
	if err != nil {
		log.Fatal(err)
	}
	for k, d := range aircolumn.CupDimensions {
		fmt.Printf("%-13s %4.0f %4.0f %4.0f\n", d.Name, cents[k][0], cents[k][1], cents[k][2])
	}
	// Output:
	// rim            -10  -16  -20
	// cup volume     -18  -45  -86
	// throat         -19    5  116
	// throat length    3   -0  -15
	// backbore exit  -68   -8  124
	// length         -64 -105 -159
}

// What if the third valve's slide were pulled out by 5 mm, for good?
func ExampleShift() {
	generic, err := aircolumn.Generic(catalog.Trumpet, pitch.KeyBb)
	if err != nil {
		log.Fatal(err)
	}
	air, err := aircolumn.MoistAir(aircolumn.DefaultTemperatureC, aircolumn.DefaultHumidity)
	if err != nil {
		log.Fatal(err)
	}
	before, err := generic.Model(air)
	if err != nil {
		log.Fatal(err)
	}
	pulled := generic
	pulled.Horn.Loops[2] += 2 * 5
	after, err := pulled.Model(air)
	if err != nil {
		log.Fatal(err)
	}
	slots := []pitch.Slot{{Valves: 4, Partial: 4}, {Valves: 5, Partial: 3}, {Valves: 7, Partial: 2}}
	cents, err := aircolumn.Shift(before, after, slots)
	if err != nil {
		log.Fatal(err)
	}
	for j, s := range slots {
		fmt.Printf("%s %+.1f\n", s, cents[j])
	}
	// Output:
	// 3/4 -9.8
	// 13/3 -9.1
	// 123/2 -10.4
}
