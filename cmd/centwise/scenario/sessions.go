package scenario

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"centwise/catalog"
)

// session is one sitting; gear and player by their places.
type session struct {
	name                     string
	horn, mouthpiece, player int
	date                     time.Time
	temperatureC, slideMM    float64
	readings                 []reading
}

type reading struct {
	note, repeat int // place in notes; 1 for the first
	cents        float64
}

const (
	sessionCount = 70
	firstDay     = 21 // sessions are spread over the spring of 2025
	noiseCents   = 4.0
	missing      = 0.04
)

// slips are the readings that went wrong: a key pressed twice, a neighbour's
// note heard. By session, place of the note, and by how much.
var slips = []struct {
	session, note int
	cents         float64
}{{11, 8, 41}, {38, 20, -55}, {57, 3, 62}}

// neverMeasured is known by its dimensions alone.
const neverMeasured = "Stilt 16.7"

// play makes the sessions. The flugelhorn with its mouthpieces and its player
// is a part of its own, linked with nothing else.
func (s *Scenario) play(rng *rand.Rand) {
	for i, plan := range s.plans(rng) {
		s.sessions = append(s.sessions, s.sit(rng, i, plan))
	}
}

// plan is who plays what.
type plan struct{ horn, mouthpiece, player int }

// plans lists the sessions: first every trumpet and every mouthpiece once, each
// new one with something already in, so that chains of sessions link them; then
// whatever happens at rehearsals.
func (s *Scenario) plans(rng *rand.Rand) []plan {
	var out []plan
	byShank := map[catalog.Shank][]int{}
	for i, m := range s.mouthpieces {
		if m.label != neverMeasured {
			byShank[m.shank] = append(byShank[m.shank], i)
		}
	}
	var trumpets []int
	cornet, flugelhorn := 0, 0
	for i, h := range s.horns {
		switch h.receiver {
		case catalog.ShankTrumpet:
			trumpets = append(trumpets, i)
		case catalog.ShankCornet:
			cornet = i
		default:
			flugelhorn = i
		}
	}
	orchestra := len(s.players) - 1 // the last one plays the flugelhorn only
	anybody := func() int { return rng.IntN(orchestra) }
	pieces := byShank[catalog.ShankTrumpet]
	for i := range max(len(trumpets), len(pieces)) {
		out = append(out, plan{trumpets[i%len(trumpets)], pieces[i%len(pieces)], anybody()})
		out = append(out, plan{trumpets[(i+1)%len(trumpets)], pieces[i%len(pieces)], anybody()})
	}
	for i, m := range byShank[catalog.ShankCornet] {
		out = append(out, plan{cornet, m, i}, plan{cornet, m, anybody()})
	}
	for _, m := range byShank[catalog.ShankFlugelhorn] {
		out = append(out, plan{flugelhorn, m, orchestra})
	}
	for len(out) < sessionCount {
		out = append(out, plan{trumpets[often(rng, len(trumpets))], pieces[often(rng, len(pieces))], anybody()})
	}
	rng.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

// often is a place below n, the first ones more often.
func often(rng *rand.Rand, n int) int {
	return int(float64(n) * math.Pow(rng.Float64(), 1.6))
}

// sit plays the notes of one session.
func (s *Scenario) sit(rng *rand.Rand, number int, p plan) session {
	out := session{
		name: fmt.Sprintf("bay-%03d", number+1), horn: p.horn, mouthpiece: p.mouthpiece, player: p.player,
		date:         time.Date(2025, time.March, firstDay+number, 0, 0, 0, 0, time.UTC),
		temperatureC: math.Round(2*(19+2.5*rng.NormFloat64())) / 2,
		slideMM:      math.Round(max(0, 12+4*rng.NormFloat64())),
	}
	shift, slide := 3*(out.temperatureC-20)+2*rng.NormFloat64(), -2.3*(out.slideMM-12)
	deviation := add(common(), s.horns[p.horn].nature, s.mouthpieces[p.mouthpiece].nature, s.players[p.player].nature, waves(rng, 1))
	for i, slot := range notes {
		if rng.Float64() < missing {
			continue
		}
		expected := deviation[i] + shift + slide/slot.Valves.Ratio()
		times := repeats(rng)
		for repeat := 1; repeat <= times; repeat++ {
			out.readings = append(out.readings, reading{i, repeat, math.Round(expected + noiseCents*rng.NormFloat64())})
		}
	}
	for _, slip := range slips {
		if slip.session == number {
			out.slip(slip.note, slip.cents)
		}
	}
	return out
}

// repeats is 2 for one note in twenty.
func repeats(rng *rand.Rand) int {
	if rng.IntN(20) == 0 {
		return 2
	}
	return 1
}

// slip spoils the first reading at or above a note.
func (s *session) slip(note int, cents float64) {
	for i := range s.readings {
		if s.readings[i].note >= note {
			s.readings[i].cents += cents
			return
		}
	}
}
