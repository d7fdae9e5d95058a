package main

import (
	"math"
	"math/rand/v2"
	"slices"

	"centwise/match/tuning"
	"centwise/match/visit"
)

// outcome is how a visit went.
type outcome struct {
	pick  int
	tries int
}

// policy is a way to spend a visit; few says that only the deciding notes are
// read, else all; compared, that it is hard to tell from the others.
type policy struct {
	name     string
	few      bool
	run      func(s *scene, few bool) outcome
	compared bool
}

// tries is how many mouthpieces a visit has time for.
const tries = 6

// Names of policies that are compared with each other.
const (
	adaptedName = "plan, followed and adapted"
	stoppedName = "the same, stopped by the rule"
)

var policies = []policy{
	{"habit: at random, best raw reading", false, habit, false},
	{"at random, picked by the model", false, randomly, false},
	{"top of the list, picked by the model", false, list, true},
	{"plan, as printed", false, printed, false},
	{adaptedName, false, adapted, true},
	{stoppedName, false, stopped, false},
	{"the same, ten tries without the rule", false, longer, false},
	{"habit: at random, best raw reading", true, habit, false},
	{"at random, picked by the model", true, randomly, false},
	{"top of the list, picked by the model", true, list, true},
	{"plan, as printed", true, printed, false},
	{adaptedName, true, adapted, true},
	{stoppedName, true, stopped, false},
	{"the same, ten tries without the rule", true, longer, false},
}

// open begins the visit anew, the same each time.
func open(s *scene) *visit.Visit {
	if s.fresh == nil {
		s.fresh = visit.Open(s.joint, s.law, s.problem, s.seed)
	}
	return s.fresh.Clone()
}

// notes are those that are read: the deciding ones for the first of the plan, or
// all.
func notes(s *scene, few bool) []int {
	if few {
		if s.deciding == nil {
			v := open(s)
			s.deciding = v.Notes(deciders(v), visit.DecidingNotes)
		}
		return s.deciding
	}
	all := make([]int, len(usualSlots))
	for j := range all {
		all[j] = j
	}
	return all
}

// deciders are the setups for which notes are chosen.
func deciders(v *visit.Visit) []int {
	var out []int
	for _, s := range v.Order(nil, nil, 12) {
		out = append(out, s.Setup)
	}
	return out
}

// try plays some setups and picks.
func try(s *scene, v *visit.Visit, setups, notes []int) outcome {
	for _, i := range setups {
		v.Learn(i, some(s.readings[i], notes))
	}
	return outcome{v.Pick(setups), len(setups)}
}

func shuffled(s *scene) []int {
	rng := rand.New(rand.NewPCG(s.seed, 0x7368756666))
	order := rng.Perm(len(s.truth) - 1)
	for i := range order {
		order[i]++
	}
	return order[:tries]
}

// habit tries some at random and keeps what the tuner liked best, the present one
// by what it read at home.
func habit(s *scene, few bool) outcome {
	at := notes(s, few)
	best, least := 0, math.Inf(1)
	for _, i := range append([]int{0}, shuffled(s)...) {
		if e := raw(s, i, at); e < least {
			best, least = i, e
		}
	}
	return outcome{best, tries}
}

// raw is the error of the mean readings by themselves.
func raw(s *scene, setup int, at []int) float64 {
	at = slices.Sorted(slices.Values(at))
	var means []float64
	weights := tuning.Weights{}
	slots := usualSlots[:0:0]
	constant := 0.0
	for _, j := range at {
		mean := 0.0
		for _, x := range s.readings[setup][j] {
			mean += x / float64(len(s.readings[setup][j]))
		}
		means = append(means, mean)
		constant += mean / float64(len(at))
		slots = append(slots, usualSlots[j])
		weights[usualSlots[j].Note()] = s.problem.Weight(j)
	}
	for k := range means {
		means[k] -= constant
	}
	p, err := tuning.NewProblem(slots, tuning.Options{Weights: weights, Travel: &tuning.Unlimited})
	if err != nil {
		return math.Inf(1) // none of the notes counts
	}
	return p.Error(means)
}

func randomly(s *scene, few bool) outcome {
	v := open(s)
	return try(s, v, shuffled(s), notes(s, few))
}

// list tries the first of the catalog's list.
func list(s *scene, few bool) outcome {
	v := open(s)
	standings := v.Standings()
	order := make([]int, 0, len(standings))
	for i := range standings[1:] {
		order = append(order, i+1)
	}
	slices.SortFunc(order, func(a, b int) int {
		return int(math.Copysign(1, standings[a].ErrorCents-standings[b].ErrorCents))
	})
	return try(s, v, order[:tries], notes(s, few))
}

// printed follows the plan that was made at home.
func printed(s *scene, few bool) outcome {
	v := open(s)
	var order []int
	for _, step := range v.Order(nil, nil, tries) {
		order = append(order, step.Setup)
	}
	return try(s, v, order, notes(s, few))
}

func adapted(s *scene, few bool) outcome { return follow(s, few, tries, false) }
func stopped(s *scene, few bool) outcome { return follow(s, few, tries, true) }
func longer(s *scene, few bool) outcome  { return follow(s, few, 10, false) }

// follow plans anew after each try, and stops by the rule if that is wanted.
func follow(s *scene, few bool, most int, stop bool) outcome {
	v := open(s)
	at := notes(s, few)
	var tried []int
	for len(tried) < most {
		if done, _, _ := v.Done(tried, nil, visit.UsualRule); stop && done {
			break
		}
		next := v.Order(tried, nil, 1)
		if len(next) == 0 {
			break
		}
		tried = append(tried, next[0].Setup)
		v.Learn(next[0].Setup, some(s.readings[next[0].Setup], at))
	}
	return outcome{v.Pick(tried), len(tried)}
}
