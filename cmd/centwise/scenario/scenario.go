// Package scenario invents the Lantern Bay Youth Winds: a regional youth wind
// orchestra with a lending cupboard of horns, a drawer of mouthpieces and a
// spring of measured sessions, for the demo, the examples and the tests. No
// maker, model or person in it is real.
//
// The gear list and the sessions are text in the form that import takes, so
// that the demo runs through the same code as anybody's own spreadsheet.
package scenario

import (
	"math/rand/v2"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Title names the catalog and says that it is invented.
const Title = "Lantern Bay Youth Winds (invented)"

// DefaultSeed is the seed of the scenario that the documentation shows.
const DefaultSeed = 1

// Scenario is the invented orchestra with its sessions.
type Scenario struct {
	horns       []horn
	mouthpieces []mouthpiece
	players     []player
	sessions    []session
}

type horn struct {
	label, maker, model, serial string
	instrument                  catalog.Instrument
	key                         pitch.Key
	receiver                    catalog.Shank
	boreMM, throw1MM, throw3MM  float64
	loaner                      bool
	tags                        string
	nature                      []float64 // deviation per usual note
}

type mouthpiece struct {
	label, maker, model, serial                         string
	shank                                               catalog.Shank
	rimMM, cupCM3, throatMM, throatLengthMM, backboreMM float64
	lengthMM                                            float64
	stock                                               string
	nature                                              []float64
}

type player struct {
	label, level string
	writesDown   string // contributor of the sessions
	nature       []float64
}

// New invents the orchestra. Its gear and people are always the same; the seed
// decides their natures and the sessions.
func New(seed uint64) *Scenario {
	s := &Scenario{horns: horns(), mouthpieces: mouthpieces(), players: players()}
	rng := rand.New(rand.NewPCG(seed, 0x6c616e7465726e))
	designs := map[string][]float64{}
	for i := range s.horns {
		h := &s.horns[i]
		h.nature = copyOf(rng, designs, h.maker+h.model, hornNature, 0.75)
	}
	for i := range s.mouthpieces {
		m := &s.mouthpieces[i]
		own := copyOf(rng, designs, m.maker+m.model, mouthpieceRest, 0.9)
		m.nature = add(m.fromDimensions(), own)
	}
	for i := range s.players {
		s.players[i].nature = habit(rng)
	}
	s.play(rng)
	return s
}

// copyOf draws a copy of a design: the design's nature, drawn once, has the
// given share of the variance.
func copyOf(rng *rand.Rand, designs map[string][]float64, design string, draw func(*rand.Rand) []float64, share float64) []float64 {
	own := draw(rng)
	if _, ok := designs[design]; !ok {
		designs[design] = draw(rng)
	}
	return mixed(designs[design], own, share)
}
