package fit

import (
	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Setup names a combination to predict. An empty Player is a typical player, or
// where Bench is set the bench that measured the sessions without a player: their
// resonances lie beside the notes that players make of them.
type Setup struct {
	Horn, Mouthpiece, Player catalog.ID
	Bench                    bool
}

// Prediction is what the fit says of one setup on some slots. All slices of
// numbers have one entry per slot, in cents from equal temperament. Common,
// Horn, Mouthpiece, Player and Pair are the shares; Mean is their sum.
//
// Only relative intonation is known: a constant shift of a whole profile is
// absorbed by each session's own offset, so every share and every draw is
// given with its mean over the default range (31 usual notes) removed.
type Prediction struct {
	Setup
	Slots                                  []pitch.Slot
	Common, Horn, Mouthpiece, Player, Pair []float64
	Mean                                   []float64
	// SD is the standard deviation of each entry of Mean, cents.
	SD []float64
	// Draws are joint draws from the posterior, draws x slots. Draw k of any
	// two predictions of one Model belongs to the same possible world, so
	// differences between setups may be taken draw by draw.
	Draws    [][]float64
	Linked   bool // a chain of sessions connects the horn with the mouthpiece
	Evidence Evidence
}

// Evidence counts the sessions behind a prediction.
type Evidence struct {
	Pair             int // sessions with this horn and this mouthpiece together
	Horn             int // sessions with this horn
	HornDesign       int // sessions with other specimens of its design
	Mouthpiece       int
	MouthpieceDesign int
	Player           int
	// HornPlayers is how many different players measured the horn: with one,
	// horn and player can't be told apart.
	HornPlayers int
	Basis       Basis // the weakest of what horn and mouthpiece rest on
}

// Basis is what a prediction of an item rests on.
type Basis string

// From the strongest to the weakest.
const (
	BasisMeasured   Basis = "measured"   // the item itself was measured
	BasisDesign     Basis = "design"     // another specimen of its design was
	BasisDimensions Basis = "dimensions" // only its dimensions are known
	BasisPrior      Basis = "prior only" // nothing: the common tendency
)
