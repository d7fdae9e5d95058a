package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/belief"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
	"centwise/match/tuning"
	"centwise/match/visit"
)

// What a visit is made of.
const (
	visitsPerCatalog = 8
	stock            = 40  // mouthpieces that nobody has paired with the horn
	homeReadings     = 6   // of each note of the present setup
	noiseSD          = 3.5 // of a reading in the shop, cents
)

// scene is one visit with its truth: setup 0 is the present one.
type scene struct {
	joint    *fit.Joint
	law      fit.SessionLaw
	problem  *tuning.Problem
	truth    []float64         // true error of every setup
	readings []belief.Readings // of every setup: all notes, visit.Times each; of the present one those at home
	seed     uint64
	fresh    *visit.Visit // once opened
	deciding []int        // notes, once chosen
}

// usualSlots are the notes that are read.
var usualSlots = pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)

// newProblem judges by the 27 notes without the valves 1 and 3 together, after the
// best slide.
func newProblem() (*tuning.Problem, error) {
	weights := tuning.Weights{}
	for _, j := range simulate.Throwless {
		weights[simulate.Slots[j].Note()] = 1
	}
	return tuning.NewProblem(usualSlots, tuning.Options{Weights: weights, Travel: &tuning.Unlimited})
}

// scenes makes the visits of one simulated catalog: 60 horns, 80 mouthpieces, 250
// sessions, and one home session of each visitor.
func scenes(ctx context.Context, seed uint64, draws int) ([]*scene, error) {
	w := simulate.Generate(simulate.Plain, simulate.Small, seed)
	problem, err := newProblem()
	if err != nil {
		return nil, err
	}
	visitors := invite(w)
	data, err := fit.Load(ctx, w.Store(), catalog.NoCounter{})
	if err != nil {
		return nil, err
	}
	model, err := fit.Run(ctx, data, fit.Options{Draws: draws})
	if err != nil {
		return nil, err
	}
	var out []*scene
	for i, v := range visitors {
		s, err := v.scene(w, model, problem)
		if err != nil {
			return nil, fmt.Errorf("visit %d of catalog %d: %w", i+1, seed, err)
		}
		s.seed = seed<<8 + uint64(i)
		out = append(out, s)
	}
	return out, nil
}

// visitor is who goes to a shop with a horn.
type visitor struct {
	player, horn int
	mouthpieces  []int // the present one, then the stock
	home         []simulate.Reading
}

// invite gives a catalog its visitors, each with a home session.
func invite(w *simulate.World) []visitor {
	rng := rand.New(rand.NewPCG(w.Seed, 0x7669736974))
	paired := map[simulate.Pair]bool{}
	for _, s := range w.Sessions {
		paired[simulate.Pair{Horn: s.Horn, Mouthpiece: s.Mouthpiece}] = true
	}
	var out []visitor
	for _, h := range rng.Perm(len(w.Horns)) {
		if len(out) == visitsPerCatalog {
			break
		}
		var fresh []int
		for _, m := range rng.Perm(len(w.Mouthpieces)) {
			if w.Mouthpieces[m].Measured > 0 && w.Mouthpieces[m].Part == w.Horns[h].Part && !paired[simulate.Pair{Horn: h, Mouthpiece: m}] {
				fresh = append(fresh, m)
			}
		}
		if w.Horns[h].Measured == 0 || len(fresh) < stock+1 {
			continue
		}
		out = append(out, visitor{player: w.AddPlayer(), horn: h, mouthpieces: fresh[:stock+1]})
	}
	for i := range out {
		v := &out[i]
		v.home = w.Sitting(uint64(i), v.player, v.horn, v.mouthpieces[0], homeReadings, noiseSD)
	}
	for _, v := range out {
		w.AddSession(v.player, v.horn, v.mouthpieces[0], v.home)
	}
	return out
}

// scene plays everything once and asks the fit.
func (v visitor) scene(w *simulate.World, model *fit.Model, problem *tuning.Problem) (*scene, error) {
	s := &scene{problem: problem}
	var setups []fit.Setup
	for i, m := range v.mouthpieces {
		setups = append(setups, fit.Setup{Horn: w.HornID(v.horn), Mouthpiece: w.MouthpieceID(m), Player: w.PlayerID(v.player)})
		s.truth = append(s.truth, problem.Error(atUsual(w.Played(v.player, v.horn, m))))
		read := v.home
		if i > 0 {
			read = w.Sitting(uint64(1000+100*v.player+i), v.player, v.horn, m, visit.Times, noiseSD)
		}
		s.readings = append(s.readings, byPlace(read))
	}
	var err error
	if s.joint, err = model.Joint(setups, usualSlots); err != nil {
		return nil, err
	}
	s.law, err = model.SessionLaw(usualSlots, fit.Source{})
	return s, err
}

func atUsual(v []float64) []float64 {
	var out []float64
	for _, j := range simulate.Usual {
		out = append(out, v[j])
	}
	return out
}

// byPlace sorts readings by the place of their note among the usual ones.
func byPlace(list []simulate.Reading) belief.Readings {
	out := belief.Readings{}
	for _, r := range list {
		at := slices.Index(simulate.Usual, r.Slot)
		out[at] = append(out[at], r.Cents)
	}
	return out
}

// some keeps the readings of some notes.
func some(r belief.Readings, notes []int) belief.Readings {
	out := belief.Readings{}
	for _, n := range notes {
		out[n] = r[n]
	}
	return out
}

// regret is what a pick loses to the best setup.
func (s *scene) regret(pick int) float64 { return s.truth[pick] - slices.Min(s.truth) }
