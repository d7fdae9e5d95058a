package protocol_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit/simulate"
	"centwise/match/protocol"
)

// played is a simulated session with known truth: a horn, a mouthpiece and a
// player of a simulated catalog, on a day with an offset, with a horn that warms
// up by a few cents from round to round. Readings are whole cents.
type played struct {
	truth  map[pitch.Slot]float64
	warm   float64 // cents a round
	sd     float64 // of a reading
	random *rand.Rand
}

func play(w *simulate.World, seed uint64, sd float64) played {
	random := rand.New(rand.NewPCG(seed, 7))
	p := played{truth: map[pitch.Slot]float64{}, warm: 4 * random.Float64(), sd: sd, random: random}
	truth := w.Truth(random.IntN(len(w.Horns)), random.IntN(len(w.Mouthpieces)))
	player := w.Players[random.IntN(len(w.Players))]
	offset := simulate.SessionOffsetSD * random.NormFloat64()
	for j, slot := range simulate.Slots {
		p.truth[slot] = truth[j] + player.Truth[j] + offset
	}
	return p
}

func (p played) read(place protocol.Place) float64 {
	x := p.truth[place.Slot] + p.warm*float64(place.Round-1) + p.sd*p.random.NormFloat64()
	return max(catalog.MinCents, min(catalog.MaxCents, math.Round(x)))
}

// The rule on simulated sessions: how often a sound reading is asked for again,
// and how often a slip is let pass.
func TestFarReadings(t *testing.T) {
	w := simulate.Generate(simulate.Plain, simulate.Small, 3)
	for _, tc := range []struct {
		name   string
		sd     float64
		slip   func(x float64, random *rand.Rand) (float64, bool) // what is typed instead, if it makes a difference
		rounds [2]int                                             // in which the slip is made
		least  float64                                            // share that must be caught
	}{
		// Simulated readers scatter by 3.75 cents; the harder kind by up to 6.
		{"sign forgotten, second round on", simulate.PlainNoiseSD, signLost, [2]int{2, 3}, 0.9},
		{"sign forgotten, first round", simulate.PlainNoiseSD, signLost, [2]int{1, 1}, 0.1},
		{"key pressed twice, second round on", simulate.PlainNoiseSD, keyTwice, [2]int{2, 3}, 0.95},
		{"key pressed twice, first round", simulate.PlainNoiseSD, keyTwice, [2]int{1, 1}, 0.6},
		{"key pressed twice, coarse reader", 6, keyTwice, [2]int{2, 3}, 0.9},
	} {
		asked, sound, slips, caught := 0, 0, 0, 0
		for seed := range uint64(40) {
			p := play(w, seed, tc.sd)
			_, s := sitting(54, 84, 3)
			for place, more := s.Next(); more; place, more = s.Next() {
				x := p.read(place)
				wrong, differs := tc.slip(x, p.random)
				if place.Round >= tc.rounds[0] && place.Round <= tc.rounds[1] && differs && p.random.IntN(3) == 0 {
					slips++
					if a := answer(t, s, wrong); a.Far != protocol.Near {
						caught++
					}
				}
				sound++
				a := answer(t, s, x)
				if a.Far != protocol.Near {
					asked++
					a, _ = s.Answer(protocol.Entry{Command: protocol.Read, Cents: []float64{x}}, true)
				}
				if err := s.Accept(a.Line); err != nil {
					t.Fatal(err)
				}
			}
		}
		alarm, share := float64(asked)/float64(sound), float64(caught)/float64(slips)
		t.Logf("%s: %.2f %% of %d sound readings asked again; %.0f %% of %d slips caught", tc.name, 100*alarm, sound, 100*share, slips)
		if alarm > 0.015 || share < tc.least || slips < 30 {
			t.Errorf("%s: %.2f %% of sound readings asked again, %.0f %% of %d slips caught; want at most 1.5 %% and at least %.0f %%",
				tc.name, 100*alarm, 100*share, slips, 100*tc.least)
		}
	}
}

// A horn that warms up raises no alarm, and what would have been near when it
// was cold is far when it is warm.
func TestFarAllowsForDrift(t *testing.T) {
	d, s := sitting(60, 69, 3)
	for k, round := range d.Rounds {
		for range round {
			if k == 2 && len(s.Readings()) == 28 {
				if a := answer(t, s, -6); a.Far != protocol.FromNote {
					t.Errorf("18 cents below the level of the round is judged %d", a.Far)
				}
			}
			if a := enter(t, &d, s, []string{"0", "6", "12"}[k]); a.Far != protocol.Near {
				t.Errorf("round %d, reading %d: judged %d", k+1, len(s.Readings()), a.Far)
			}
		}
	}
}

func answer(t *testing.T, s *protocol.Sitting, x float64) protocol.Answer {
	t.Helper()
	a, err := s.Answer(protocol.Entry{Command: protocol.Read, Cents: []float64{x}}, false)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// signLost types a flat reading as a sharp one; below 15 cents it is no slip
// that anybody could see.
func signLost(x float64, _ *rand.Rand) (float64, bool) { return -x, x <= -15 }

// keyTwice types the last digit twice.
func keyTwice(x float64, _ *rand.Rand) (float64, bool) {
	y := 10*x + math.Copysign(math.Mod(math.Abs(x), 10), x)
	return y, math.Abs(y) <= catalog.MaxCents && math.Abs(y-x) >= 30
}

func TestSpread(t *testing.T) {
	d, s := sitting(60, 65, 3)
	for k, round := range d.Rounds {
		for _, slot := range round {
			switch {
			case slot.Note() == 60 && k == 1:
				enter(t, &d, s, "9") // 5 above its others, less 4 of the round
			case slot.Note() == 65:
				enter(t, &d, s, "skip")
			default:
				enter(t, &d, s, []string{"0", "4", "10"}[k])
			}
		}
	}
	got := s.Spread()
	if len(got.Drift) != 3 || got.Drift[0] != 0 || got.Drift[1] != 4 || got.Drift[2] != 10 {
		t.Errorf("drift %v, want 0 4 10", got.Drift)
	}
	if len(got.Skipped) != 1 || got.Skipped[0].Note() != 65 {
		t.Errorf("skipped %v", got.Skipped)
	}
	for i, n := range got.Notes {
		want := protocol.NoteSpread{Slot: n.Slot, Readings: 3, Cents: 4}
		if n.Slot.Note() == 60 {
			want.Cents, want.Spread = 9, 5
		}
		if n != want {
			t.Errorf("note %d: %+v, want %+v", i, n, want)
		}
	}
	// 5 readings of 3: only C4 scatters, by 0 5 0 about 5/3: 16.67 of 10 degrees
	// of freedom.
	if want := math.Sqrt(50.0 / 3 / 10); math.Abs(got.SD-want) > 1e-12 {
		t.Errorf("standard deviation %v, want %v", got.SD, want)
	}
}
