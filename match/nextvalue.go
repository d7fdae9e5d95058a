package match

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"

	"centwise/catalog/pitch"
	"centwise/match/belief"
)

// valuer knows what sessions would do for choices.
type valuer struct {
	choices []*standingChoice
	belief  *belief.Belief
	scores  *belief.Scores
	law     belief.Law
	notes   []int       // that a session reads, places of the slots
	normals [][]float64 // made-up outcomes: outcome x contender
}

// outcomes is how many outcomes of a session are made up.
const outcomes = 512

func (f *foresight) newValuer(b *belief.Belief, law belief.Law, slots []pitch.Slot) *valuer {
	v := &valuer{choices: f.choices, belief: b, law: law}
	slopes := make([][]float64, b.Setups())
	place := map[pitch.Slot]int{}
	for j, s := range slots {
		place[s] = j
		v.notes = append(v.notes, j)
	}
	for _, c := range f.choices {
		for _, i := range c.setups {
			slopes[i] = c.plan.slope(b.Mean(i), place)
		}
	}
	v.scores = b.Scores(slopes)
	rng := rand.New(rand.NewPCG(1, 0x6e657874)) // the same outcomes for all sessions, so that they compare
	for range outcomes / 2 {
		z := make([]float64, contenders)
		for k := range z {
			z[k] = rng.NormFloat64()
		}
		opposite := slices.Clone(z)
		for k := range opposite {
			opposite[k] = -opposite[k]
		}
		v.normals = append(v.normals, z, opposite)
	}
	return v
}

// slope is how the error of a setup changes with its profile near what is
// expected, a number a slot of the whole list: with x_j what is left of note j,
// w_j / sum(w) * x_j / error. Slide and throws being at their best, they don't
// add to it.
func (p plan) slope(profile []float64, place map[pitch.Slot]int) []float64 {
	slots := p.problem.Slots()
	own := make([]float64, len(slots))
	weights := 0.0
	for j, s := range slots {
		own[j] = profile[place[s]]
		weights += p.problem.Weight(j)
	}
	r := p.problem.Solve(own)
	out := make([]float64, len(profile))
	for j, s := range slots {
		out[place[s]] = p.problem.Weight(j) / weights * r.Notes[j].Left / math.Max(r.ErrorCents, 1e-9)
	}
	return out
}

// gain is what knowing more is worth for a choice.
type gain struct {
	saves, doubt, chance float64
}

// state says how a choice stands: what knowing everything would be worth is what
// not knowing it loses.
func (v *valuer) state(c *standingChoice) ChoiceState {
	best := c.pairings[0]
	s := ChoiceState{Horn: c.Horn.Label, Best: best.Mouthpiece, ErrorCents: best.ErrorCents, ChanceBest: best.ChanceBest}
	if c.Player != nil {
		s.Player = c.Player.Label
	}
	for _, p := range c.pairings {
		if p.ChanceBest >= 0.01 {
			s.Contenders++
		}
	}
	n := len(c.setups)
	all := mat.NewSymDense(n, nil)
	for a := range n {
		for b := range a + 1 {
			all.SetSym(a, b, v.scores.Covariance(c.setups[a], c.setups[b]))
		}
	}
	s.RegretCents = v.worth(c, all).saves
	return s
}

// valued is what a session is worth.
type valued struct {
	gain
	choice int     // that gains most
	most   float64 // what it gains
}

// session values a session with a setup.
func (v *valuer) session(setup int) valued {
	taught := v.scores.Prospect(setup, v.law, v.notes, plannedRounds)
	var out valued
	unchanged := 1.0
	for i, c := range v.choices {
		n := len(c.setups)
		moves := mat.NewSymDense(n, nil)
		for a := range n {
			for b := range a + 1 {
				moves.SetSym(a, b, inner(taught[c.setups[a]], taught[c.setups[b]]))
			}
		}
		g := v.worth(c, moves)
		out.saves += g.saves
		out.doubt += g.doubt * g.doubt
		unchanged *= 1 - g.chance
		if i == 0 || g.saves > out.most {
			out.choice, out.most = i, g.saves
		}
	}
	out.doubt, out.chance = math.Sqrt(out.doubt), 1-unchanged
	return out
}

func inner(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// worth is what a choice gains when the expected errors of its contenders will
// move by normal amounts with a covariance: the mean over outcomes of what the
// then best contender has over the present one.
func (v *valuer) worth(c *standingChoice, moves *mat.SymDense) gain {
	root := rootOf(moves)
	n := moves.SymmetricDim()
	sum, squares, changed := 0.0, 0.0, 0
	move := make([]float64, n)
	for _, z := range v.normals {
		for a := range n {
			move[a] = c.pairings[a].ErrorCents
			for b := range n {
				move[a] += root.At(a, b) * z[b]
			}
		}
		least := slices.Min(move)
		won := move[0] - least
		if won > 0 {
			changed++
		}
		sum += won
		squares += won * won
	}
	count := float64(len(v.normals))
	mean := sum / count
	return gain{mean, math.Sqrt(max(0, squares/count-mean*mean) / count), float64(changed) / count}
}

// rootOf is a matrix R with R R' = a, for a that may be singular.
func rootOf(a *mat.SymDense) *mat.Dense {
	var e mat.EigenSym
	n := a.SymmetricDim()
	out := mat.NewDense(n, n, nil)
	if !e.Factorize(a, true) {
		return out // not a number: moves nothing
	}
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	for k, lambda := range e.Values(nil) {
		for i := range n {
			out.Set(i, k, vectors.At(i, k)*math.Sqrt(max(0, lambda)))
		}
	}
	return out
}
