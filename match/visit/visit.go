// Package visit is how an hour among many mouthpieces is best spent: which to
// try and in what order, on which few notes, what each try teaches, when to stop,
// and what to keep. It knows setups by number; number 0 is the one played now.
//
// Errors are what a setup leaves to the lip, in cents; they are judged in some
// hundreds of possible worlds that follow the readings (package belief).
package visit

import (
	"math"
	"slices"

	"centwise/match/belief"
	"centwise/match/fit"
	"centwise/match/tuning"
)

// Worlds is how many possible worlds a visit is judged in: enough that chances
// near 5 % are known to 1 %.
const Worlds = 600

// Visit is what is known in the course of a visit.
type Visit struct {
	belief  *belief.Belief
	worlds  *belief.Worlds
	problem *tuning.Problem
	law     belief.Law
	errors  [][]float64 // by setup, in every world
}

// Open begins a visit: the joint law of the setups, the present one first, how
// sessions scatter, and by what setups are judged. The problem's slots must be
// those of the joint law.
func Open(j *fit.Joint, law fit.SessionLaw, problem *tuning.Problem, seed uint64) *Visit {
	v := &Visit{belief: belief.NewAround(j), problem: problem, law: belief.NewLaw(law, j.Slots)}
	v.worlds = v.belief.Draw(Worlds, seed)
	v.judge()
	return v
}

// Clone gives a visit that goes on by itself.
func (v *Visit) Clone() *Visit {
	out := *v
	out.belief, out.worlds = v.belief.Clone(), v.worlds.Clone()
	out.errors = slices.Clone(v.errors)
	return &out
}

// judge works the errors out anew.
func (v *Visit) judge() {
	v.errors = make([][]float64, 0, v.belief.Setups())
	for i := range v.belief.Setups() {
		v.errors = append(v.errors, v.worlds.Errors(v.problem, i))
	}
}

// Learn takes in the readings of a try.
func (v *Visit) Learn(setup int, readings belief.Readings) {
	v.belief.Learn(setup, v.law, readings, v.worlds)
	v.judge()
}

// Setups is how many there are, the present one included.
func (v *Visit) Setups() int { return len(v.errors) }

// Profile is what is expected of a setup, cents a slot.
func (v *Visit) Profile(setup int) []float64 { return v.belief.Mean(setup) }

// Standing is what is expected of a setup's error.
type Standing struct {
	ErrorCents float64 // root mean square over the worlds, as rankings have it
	Low, High  float64 // 80 % interval
	ChanceBest float64 // of all setups
}

// Standings are those of all setups.
func (v *Visit) Standings() []Standing {
	out := make([]Standing, v.Setups())
	for i := range out {
		sorted := slices.Sorted(slices.Values(v.errors[i]))
		out[i] = Standing{ErrorCents: v.expected(i), Low: sorted[len(sorted)/10], High: sorted[len(sorted)-1-len(sorted)/10]}
	}
	for k := range Worlds {
		best := 0
		for i := range v.errors {
			if v.errors[i][k] < v.errors[best][k] {
				best = i
			}
		}
		out[best].ChanceBest += 1.0 / Worlds
	}
	return out
}

// expected is the expected error of a setup.
func (v *Visit) expected(i int) float64 {
	sum := 0.0
	for _, e := range v.errors[i] {
		sum += e * e
	}
	return math.Sqrt(sum / float64(len(v.errors[i])))
}

// Pick is the setup of least expected error among those tried and the present
// one.
func (v *Visit) Pick(tried []int) int {
	pick := 0
	for _, i := range tried {
		if v.expected(i) < v.expected(pick) {
			pick = i
		}
	}
	return pick
}

// Better is the chance that setup a leaves less than setup b by more than a
// number of cents.
func (v *Visit) Better(a, b int, byCents float64) float64 {
	n := 0
	for k, e := range v.errors[a] {
		if v.errors[b][k]-e > byCents {
			n++
		}
	}
	return float64(n) / Worlds
}

// Step is one try of a plan: what it adds is by how much the best of the setups
// tried so far is expected to be better than without it, in cents.
type Step struct {
	Setup     int
	GainCents float64
}

// Order plans up to so many tries after those made: each adds most to what the
// best of all tried is expected to be (greedy expected maximum). Only allowed
// setups are tried; nil allows all. It ends early where nothing adds anything.
func (v *Visit) Order(tried []int, allowed func(setup int) bool, tries int) []Step {
	best := slices.Clone(v.errors[0])
	taken := make([]bool, v.Setups())
	take := func(i int) {
		taken[i] = true
		for k, e := range v.errors[i] {
			best[k] = math.Min(best[k], e)
		}
	}
	take(0)
	for _, i := range tried {
		take(i)
	}
	var out []Step
	for len(out) < tries {
		next := Step{Setup: -1}
		for i := range v.errors {
			if taken[i] || allowed != nil && !allowed(i) {
				continue
			}
			gain := 0.0
			for k, e := range v.errors[i] {
				if e < best[k] {
					gain += (best[k] - e) / Worlds
				}
			}
			if gain > next.GainCents {
				next = Step{i, gain}
			}
		}
		if next.Setup < 0 {
			break
		}
		out = append(out, next)
		take(next.Setup)
	}
	return out
}

// Rule says when a visit may stop: when no setup that was not tried has a chance
// above Chance to be better than the pick by more than Cents.
type Rule struct {
	Cents, Chance float64
}

// UsualRule loses some 0.02 cents to going on; a rule of 2 cents would stop after
// one try, as mouthpieces differ by about 1 cent (simulated visits, see the study
// of this package).
var UsualRule = Rule{Cents: 0.5, Chance: 0.05}

// Done reports whether a visit may stop, and the setup that speaks most against
// it with its chance; -1 if none is left.
func (v *Visit) Done(tried []int, allowed func(setup int) bool, r Rule) (done bool, rival int, chance float64) {
	pick := v.Pick(tried)
	rival = -1
	for i := range v.errors {
		if i == 0 || slices.Contains(tried, i) || allowed != nil && !allowed(i) {
			continue
		}
		if c := v.Better(i, pick, r.Cents); rival < 0 || c > chance {
			rival, chance = i, c
		}
	}
	return rival < 0 || chance <= r.Chance, rival, chance
}
