package match

import (
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// openSlots are open slots that sessions of these tests read.
func openSlots() (out []pitch.Slot) {
	for _, n := range []int{2, 3, 4, 5, 6, 8} {
		out = append(out, pitch.Slot{Partial: n})
	}
	return out
}

// readSession reads each slot as often as said, off from what is given by a
// constant and, on the slots that are named, by more.
func readSession(player catalog.ID, level float64, repeats int, of vector, off map[string]float64) catalog.Session {
	s := catalog.Session{Player: player}
	more := byNote(off)
	for _, slot := range openSlots() {
		for k := range repeats {
			s.Readings = append(s.Readings, catalog.Reading{Slot: slot, Repeat: k + 1, Cents: level + of(slot) + more(slot)})
		}
	}
	return s
}

// Two sessions of six open notes. Levels are free, and a note read 6 above the
// expectation among six raises the session's own level by 1, so that 5 are left
// of it and the others lie 1 below. The mean of 5 and of 0 in the other session
// is 2.5; 80 % of the mean of two readings with noise 3 are 1.2816 x 3 / sqrt 2.
func TestReadNotes(t *testing.T) {
	profile := byNote(map[string]float64{"C4": -4, "G4": 3, "E5": -9})
	habit := byNote(map[string]float64{"C4": 5, "C6": -5})
	e := &fakeEngine{sd: 2, items: map[catalog.ID]vector{"alder": profile, "p": habit}}
	played := func(s pitch.Slot) float64 { return profile(s) + habit(s) }
	odd := readSession("", 0, 1, profile, map[string]float64{"E5": 90})
	for i := range odd.Readings {
		odd.Readings[i].Odd = true
	}
	retracted := readSession("", 0, 1, profile, map[string]float64{"G4": 50})
	retracted.Retraction = &catalog.Retraction{}
	impedance := readSession("", 0, 1, profile, map[string]float64{"G4": 50})
	impedance.Method = catalog.MethodImpedance
	few := catalog.Session{Readings: []catalog.Reading{{Slot: pitch.Slot{Partial: 3}, Cents: 70}}}
	of := Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2"), Sessions: []catalog.Session{
		readSession("", 30, 1, profile, nil), readSession("p", -12, 1, played, map[string]float64{"G4": 6}), odd, retracted, impedance, few,
	}}
	x := explain(t, noisy{e, 3}, of, Criteria{})
	g4, c4, e5 := noteLine(t, x, "G4"), noteLine(t, x, "C4"), noteLine(t, x, "E5")
	near(t, "G4", g4.Read.Cents, 3+2.5, 1e-6)
	near(t, "C4", c4.Read.Cents, -4-0.5, 1e-6)
	near(t, "E5", e5.Read.Cents, -9-0.5, 1e-6)
	near(t, "high", g4.Read.High-g4.Read.Cents, 1.2815516*3/1.4142136, 1e-5)
	if g4.Read.Readings != 2 || noteLine(t, x, "D4").Read != nil {
		t.Errorf("G4 %+v, D4 %+v", g4.Read, noteLine(t, x, "D4").Read)
	}
	// An engine that does not know its noise takes that of the readings: here at
	// least a cent.
	y := explain(t, e, of, Criteria{})
	if half := noteLine(t, y, "G4").Read.High - noteLine(t, y, "G4").Read.Cents; half < 1.28/1.42 {
		t.Errorf("half an interval of %.2f", half)
	}
	of.Sessions = nil
	if z := explain(t, e, of, Criteria{}); noteLine(t, z, "G4").Read != nil {
		t.Error("something was read without a session")
	}
}

// What is left has the interval of the draws, each with its own slide. In one
// world G4 is 4 higher, in the other 4 lower: with the slide taking a third of
// it, 8/3 to either side, of which 80 % between two draws is 0.8.
func TestLeftIntervals(t *testing.T) {
	up, down := byNote(map[string]float64{"G4": 4}), byNote(map[string]float64{"G4": -4})
	e := &fakeEngine{draws: 2, worlds: map[catalog.ID][]vector{"Plover 16.2": {up, down}}}
	x := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, threeOpen())
	g4, c5 := noteLine(t, x, "G4"), noteLine(t, x, "C5")
	near(t, "G4 low", g4.LeftLow, -0.8*8/3, 1e-6)
	near(t, "G4 high", g4.LeftHigh, 0.8*8/3, 1e-6)
	near(t, "C5 low", c5.LeftLow, -0.8*4/3, 1e-6)
	e.draws = 0
	x = explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, threeOpen())
	if n := noteLine(t, x, "G4"); n.LeftLow != n.Left || n.LeftHigh != n.Left {
		t.Errorf("without draws: %+v", n)
	}
}
