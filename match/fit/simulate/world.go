// Package simulate makes pooled catalogs with a known truth: horns,
// mouthpieces, players and the sessions that measured them, drawn from a law
// of its own. It judges the fit, so nothing here follows the fit's
// assumptions: truths are cosines and polynomials with random coefficients.
//
// Everything is decided by kind, size and seed. Units are cents.
package simulate

import (
	"fmt"
	"math"
)

// Kind is how unkind a catalog is.
type Kind string

// The kinds of catalog.
const (
	// Plain: every item stands for itself; readings carry noise of one size
	// and 2 % of gross errors; the graph is unbalanced and has islands.
	Plain Kind = "plain"
	// Harder: items are copies of designs; contributors have a tuner, a noise
	// and a rounding of their own; a wiggle of the day; players keep the
	// mouthpiece that suits their horn; 1 % of the sessions are wrong; most
	// mouthpiece designs have known dimensions.
	Harder Kind = "harder"
)

// Size is how many items and sessions a catalog has.
type Size string

// The sizes: for the plain kind about 7,700, 71,000 and 1,079,000 readings.
const (
	Small  Size = "small"
	Medium Size = "medium"
	Large  Size = "large"
	// Scaled has items in proportion to [Options].Sessions; plain only.
	Scaled Size = "scaled"
)

// plan is how much of everything one kind and size has.
type plan struct {
	horns, mouthpieces, players, contributors, sessions int
	hornDesigns, mouthpieceDesigns                      int     // harder only
	full                                                float64 // share of sessions over all 45 slots
	rankings                                            int     // horns for which candidates are ranked
	heldOut                                             int     // pairs per stratum, harder only
}

var plans = map[Kind]map[Size]plan{
	Plain: {
		Small:  {horns: 60, mouthpieces: 80, players: 90, contributors: 18, sessions: 250, full: 0.04, rankings: 60},
		Medium: {horns: 250, mouthpieces: 350, players: 600, contributors: 90, sessions: 1800, full: 0.68, rankings: 150},
		Large:  {horns: 2000, mouthpieces: 3000, players: 8000, contributors: 1200, sessions: 27000, full: 0.72, rankings: 200},
	},
	Harder: {
		Small: {horns: 60, mouthpieces: 95, players: 60, contributors: 30, sessions: 240, hornDesigns: 31, mouthpieceDesigns: 40,
			full: 0.22, rankings: 60, heldOut: 400},
		Medium: {horns: 250, mouthpieces: 370, players: 600, contributors: 220, sessions: 2000, hornDesigns: 120, mouthpieceDesigns: 155,
			full: 0.72, rankings: 150, heldOut: 800},
		Large: {horns: 2000, mouthpieces: 3000, players: 8000, contributors: 2800, sessions: 27000, hornDesigns: 900, mouthpieceDesigns: 1200,
			full: 0.72, rankings: 200, heldOut: 1000},
	},
}

// planFor is a plain catalog of any number of sessions, with about as many items,
// players and contributors a session as the listed sizes have: all of them grow
// more slowly than the sessions do.
func planFor(sessions int) plan {
	times := float64(sessions) / 250
	grown := func(small, power float64) int { return max(2, int(math.Round(small*math.Pow(times, power)))) }
	return plan{
		horns: grown(60, 0.75), mouthpieces: grown(80, 0.774), players: grown(90, 0.96), contributors: grown(18, 0.9),
		sessions: sessions, full: 0.7, rankings: 1,
	}
}

// Item is one horn or mouthpiece.
type Item struct {
	Label        string
	Maker, Model string      // empty in the plain kind
	Design       int         // number of its design, -1 if it stands for itself
	Known        bool        // the dimensions of its design are known
	Dimensions   *Dimensions // of a mouthpiece of the harder kind, also if not known to the catalog
	Part         int         // connected part of the catalog it is measured in, -1 if it never was
	Measured     int         // sessions with it
	Truth        []float64   // its vector over Slots
	DesignTruth  []float64   // its design's share of Truth; nil in the plain kind
}

// Player plays; Truth is the habit over Slots.
type Player struct {
	Label       string
	Contributor int // who writes down what the player plays
	Part        int
	Truth       []float64
}

// Contributor measures sessions.
type Contributor struct {
	Label   string
	Tuner   float64 // own offset
	NoiseSD float64
	Step    float64 // readings are rounded to it
}

// Reading is one reading of a session.
type Reading struct {
	Slot   int // place in Slots
	Repeat int // 1 for the first
	Cents  float64
}

// Session is one player with one setup on one day; items by their place.
type Session struct {
	Name                                  string
	Horn, Mouthpiece, Player, Contributor int
	Offset, Slide                         float64 // a and t as drawn
	Wrong                                 string  // "", "sign-flipped" or "wrong-key"
	Readings                              []Reading
}

// Stratum sorts held-out pairs by what is known of them.
type Stratum string

// Strata. The plain kind has A and E only.
const (
	Measured       Stratum = "A" // both measured, never together, linked
	NewCopy        Stratum = "B" // new copy of a measured mouthpiece design
	NewDescribed   Stratum = "C" // mouthpiece design nobody measured, dimensions known
	NewUndescribed Stratum = "D" // mouthpiece design nobody measured, nothing known
	AcrossIslands  Stratum = "E" // both measured, in parts that nothing links
	NewHornCopy    Stratum = "F" // new copy of a measured horn design
)

// Strata lists them in order.
var Strata = []Stratum{Measured, NewCopy, NewDescribed, NewUndescribed, AcrossIslands, NewHornCopy}

// Pair is a setup: places of horn and mouthpiece.
type Pair struct{ Horn, Mouthpiece int }

// Ranking is a horn with candidates that were measured, but never with it.
type Ranking struct {
	Horn       int
	Candidates []int
}

// World is a simulated catalog and the truth behind it.
type World struct {
	Kind         Kind
	Size         Size
	Seed         uint64
	Horns        []Item
	Mouthpieces  []Item
	Players      []Player
	Contributors []Contributor
	Sessions     []Session
	HeldOut      map[Stratum][]Pair
	Rankings     []Ranking
	nature       nature
}

// Readings counts the readings.
func (w *World) Readings() int {
	n := 0
	for _, s := range w.Sessions {
		n += len(s.Readings)
	}
	return n
}

// Mean is the common tendency over Slots.
func (w *World) Mean() []float64 { return append([]float64(nil), w.nature.mean...) }

// Truth is the deviation on every slot of a horn with a mouthpiece when a
// typical player plays it on a typical day, interaction included.
func (w *World) Truth(horn, mouthpiece int) []float64 {
	out := w.Mean()
	pair := w.pairTruth(horn, mouthpiece)
	for j := range out {
		out[j] += w.Horns[horn].Truth[j] + w.Mouthpieces[mouthpiece].Truth[j] + pair[j]
	}
	return out
}

// pairTruth is the interaction of a pair; it depends on nothing but the seed
// and the pair, measured or not.
func (w *World) pairTruth(horn, mouthpiece int) []float64 {
	out := make([]float64, len(Slots))
	w.nature.process[OfPair].draw(stream(w.Seed, "pair truth", uint64(horn), uint64(mouthpiece)), out)
	return out
}

// String names the world.
func (w *World) String() string {
	return fmt.Sprintf("%s %s, seed %d", w.Kind, w.Size, w.Seed)
}
