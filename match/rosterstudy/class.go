package main

import (
	"context"
	"math"

	"centwise/catalog"
	"centwise/match"
	"centwise/match/assign"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
	"centwise/match/tuning"
)

// Throws that horns have, in mm (common practice, no source).
const throw1MM, throw3MM = 12.0, 20.0

// policy is a way to give out horns.
type policy struct {
	name   string
	change func(*match.RosterQuestion) // how the question is asked; nil = by the truth
	fair   bool                        // by the truth: fairest
}

var policies = []policy{
	{name: "plan, change 0.5", change: func(q *match.RosterQuestion) { q.ChangeCents = match.DefaultChangeCents }},
	{name: "plan, change 0", change: func(q *match.RosterQuestion) { q.ChangeCents = 0 }},
	{name: "fairest, change 0", change: func(q *match.RosterQuestion) { q.ChangeCents, q.Fairest = 0, true }},
	{name: "perfect knowledge"},
	{name: "perfect, fairest", fair: true},
}

// classroom is a simulated class with its truth.
type classroom struct {
	simulate.Class
	truth *assign.Costs // true error of each student with each horn of the cupboard
	now   []int         // place of each student's horn among them
	q     match.RosterQuestion
}

// newClassroom works out the truth of a class.
func newClassroom(w *simulate.World, c simulate.Class, throws bool) (*classroom, error) {
	room := &classroom{Class: c, truth: assign.NewCosts(len(c.Students), len(c.Horns))}
	horns, mouthpieces, players := w.CatalogHorns(), w.CatalogMouthpieces(), w.CatalogPlayers()
	for _, h := range c.Horns {
		horn := horns[h]
		if throws {
			horn.Throw1MM, horn.Throw3MM = throw1MM, throw3MM
		}
		room.q.Horns = append(room.q.Horns, horn)
	}
	weights := judged(throws)
	problem, err := trueProblem(room.q.Horns[0], weights)
	if err != nil {
		return nil, err
	}
	for i, s := range c.Students {
		for j, h := range c.Horns {
			room.truth.Set(i, j, problem.Error(relative(w.PlayedTruth(h, s.Mouthpiece, s.Player))))
			if h == s.Horn {
				room.now = append(room.now, j)
			}
		}
		own := mouthpieces[s.Mouthpiece]
		room.q.Students = append(room.q.Students, match.Student{Player: players[s.Player], Criteria: match.Criteria{Weights: weights}, Own: &own, NowMouthpiece: &own, NowHorn: &room.q.Horns[room.now[i]]})
	}
	return room, nil
}

// judged are the weights of notes: all alike, or without those on the valves 1-3
// and 1-2-3, which are far too sharp without a throw.
func judged(throws bool) tuning.Weights {
	if throws {
		return nil
	}
	w := tuning.Weights{}
	for _, j := range simulate.Usual {
		if s := simulate.Slots[j]; !s.Valves.Uses(1) || !s.Valves.Uses(3) {
			w[s.Note()] = 1
		}
	}
	return w
}

// trueProblem judges true profiles as rosters judge predicted ones.
func trueProblem(h catalog.Horn, weights tuning.Weights) (*tuning.Problem, error) {
	throws, length := tuning.ForHorn(h)
	slots := simulate.Slots
	usual := slots[:0:0]
	for _, j := range simulate.Usual {
		usual = append(usual, slots[j])
	}
	return tuning.NewProblem(usual, tuning.Options{Weights: weights, Throws: throws, OpenLengthMM: length})
}

// relative is a profile on the usual notes with their mean removed, as
// predictions are.
func relative(profile []float64) []float64 {
	out, mean := make([]float64, 0, len(simulate.Usual)), 0.0
	for _, j := range simulate.Usual {
		out = append(out, profile[j])
		mean += profile[j] / float64(len(simulate.Usual))
	}
	for j := range out {
		out[j] -= mean
	}
	return out
}

// give gives out the horns by a policy: the horn of each student, and the gain a
// student that it promises.
func (r *classroom) give(ctx context.Context, m *fit.Model, p policy) (of []int, promised float64, err error) {
	if p.change == nil {
		solve := assign.Solve
		if p.fair {
			solve = assign.Fairest
		}
		s, err := solve(r.truth)
		return s.Of, math.NaN(), err
	}
	q := r.q
	p.change(&q)
	plan, err := match.PlanRoster(ctx, m, q)
	if err != nil {
		return nil, 0, err
	}
	horn := map[string]int{}
	for j, h := range q.Horns {
		horn[h.Label] = j
	}
	student := map[string]int{}
	for i, s := range q.Students {
		student[s.Player.Label] = i
	}
	of = make([]int, len(q.Students))
	for _, l := range plan.Lines {
		of[student[l.Student]] = horn[l.Horn]
	}
	return of, plan.Gain.Cents, nil
}

// outcome is what a policy comes to in truth, in one class.
type outcome struct {
	mean, worst, gain, promised, worseOff, moved float64
}

// judge says what horns given out come to.
func (r *classroom) judge(of []int, promised float64) outcome {
	o := outcome{promised: promised}
	n := float64(len(of))
	for i, j := range of {
		now, then := r.truth.At(i, r.now[i]), r.truth.At(i, j)
		o.mean += then / n
		o.gain += (now - then) / n
		o.worst = max(o.worst, then)
		if then > now+match.WorseOffCents {
			o.worseOff++
		}
		if j != r.now[i] {
			o.moved++
		}
	}
	return o
}
