package match

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"centwise/match/aircolumn"
	"centwise/match/tuning"
)

// lever is a reversible adjustment that the best combination may use.
type lever struct {
	what     string
	min, max float64 // mm
	at       func(mm float64) change
	perMM    []float64 // cents, of each slot
}

// Steps in which adjustments are set, in mm, and the least gain, in cents, for
// which one is worth setting at all.
const (
	setMM     = 0.5
	worthGain = 0.1
)

// levers lists the reversible adjustments with their limits. The tuning slide is
// no lever: it is free, and every outcome has it at its best.
func (b *bench) levers() ([]lever, error) {
	var out []lever
	for valve := 1; valve <= 3; valve++ {
		if limit := slideLimit(b.horn, valve); limit >= setMM {
			out = append(out, lever{what: fmt.Sprintf("valve slide %d out", valve), max: limit, at: func(mm float64) change { return slideOut(valve, mm) }})
		}
	}
	gap := b.lab.setup.Horn.GapMM
	out = append(out, lever{what: "gap wider", min: -min(gapMM, gap), max: gapMM, at: gapWider})
	for i, l := range out {
		half := l.max / 2
		shift, err := b.lab.shift(l.at(half))
		if err != nil {
			return nil, fmt.Errorf("what %s does: %w", l.what, err)
		}
		for j := range shift {
			shift[j] /= half
		}
		out[i].perMM = shift
	}
	return out, nil
}

// best is the combination of reversible adjustments that leaves least, nil when
// none gains worthGain. The expected square of the error is a convex and smooth
// function of the adjustments, the mean over draws of squared distances from a
// convex set, as long as shifts add up, which for such steps they do to a few per
// cent; so going down one adjustment after the other, within its limits, ends at
// the least. Adjustments that hardly help are left alone, the others set to half
// millimetres, and the result is solved anew.
func (b *bench) best() (*Combination, error) {
	levers, err := b.levers()
	if err != nil {
		return nil, err
	}
	s := search{bench: b, levers: levers, at: make([]float64, len(levers)), used: make([]bool, len(levers))}
	for i := range s.used {
		s.used[i] = true
	}
	if err := s.descend(); err != nil {
		return nil, err
	}
	if err := s.prune(); err != nil {
		return nil, err
	}
	var c Combination
	var all change
	var edits []func(*aircolumn.Setup)
	for i, l := range levers {
		mm := math.Min(l.max, math.Max(l.min, setMM*math.Round(s.at[i]/setMM)))
		if mm == 0 {
			continue
		}
		ch := l.at(mm)
		edits = append(edits, ch.edit)
		all.takes.FirstMM += ch.takes.FirstMM
		all.takes.ThirdMM += ch.takes.ThirdMM
		c.Settings = append(c.Settings, Setting{l.what, mm, l.min, l.max})
	}
	all.edit = func(setup *aircolumn.Setup) {
		for _, edit := range edits {
			edit(setup)
		}
	}
	shift, err := b.lab.shift(all)
	if err != nil {
		return nil, err
	}
	if c.Outcome, err = b.outcome(shift, all.takes); err != nil || c.Gain < worthGain {
		return nil, err
	}
	return &c, nil
}

// search is a descent over levers.
type search struct {
	*bench
	levers []lever
	at     []float64 // mm
	used   []bool
}

// error is the expected error with the levers where they are.
func (s *search) error() (float64, error) {
	shift := make([]float64, len(s.slots))
	var takes tuning.Throws
	for i, l := range s.levers {
		if s.at[i] == 0 {
			continue
		}
		for j := range shift {
			shift[j] += s.at[i] * l.perMM[j]
		}
		ch := l.at(s.at[i])
		takes.FirstMM += ch.takes.FirstMM
		takes.ThirdMM += ch.takes.ThirdMM
	}
	p, err := s.planTaking(takes)
	if err != nil {
		return 0, err
	}
	verdict, _, _ := p.judge(s.shifted(shift), false)
	return verdict.ErrorCents, nil
}

// maxRounds bounds the descent, which needs some ten rounds.
const maxRounds = 40

// descend goes down lever by lever until a round moves none by a twentieth of a
// millimetre.
func (s *search) descend() error {
	for range maxRounds {
		moved := 0.0
		for i := range s.levers {
			if !s.used[i] {
				continue
			}
			before := s.at[i]
			if err := s.line(i); err != nil {
				return err
			}
			moved = max(moved, math.Abs(s.at[i]-before))
		}
		if moved < 0.05 {
			break
		}
	}
	return nil
}

// line finds the best place of one lever by golden section (Kiefer 1953, Proc.
// Am. Math. Soc. 4, 502-506), to a fiftieth of a millimetre.
func (s *search) line(i int) error {
	const ratio = 0.6180339887498949
	var failed error
	at := func(mm float64) float64 {
		s.at[i] = mm
		e, err := s.error()
		failed = cmp.Or(failed, err)
		return e
	}
	low, high := s.levers[i].min, s.levers[i].max
	x, y := high-ratio*(high-low), low+ratio*(high-low)
	fx, fy := at(x), at(y)
	for high-low > 0.02 {
		if fx < fy {
			high, y, fy = y, x, fx
			x = high - ratio*(high-low)
			fx = at(x)
		} else {
			low, x, fx = x, y, fy
			y = low + ratio*(high-low)
			fy = at(y)
		}
	}
	// The search comes near its ends but never to them.
	best, least := 0.0, math.Inf(1)
	for _, mm := range []float64{(low + high) / 2, s.levers[i].min, s.levers[i].max} {
		if e := at(mm); e < least {
			best, least = mm, e
		}
	}
	s.at[i] = best
	return failed
}

// prune leaves alone, one after the other, the lever whose moving gains least,
// as long as that is less than worthGain.
func (s *search) prune() error {
	now, err := s.error()
	if err != nil {
		return err
	}
	for {
		least, without, places := -1, math.Inf(1), []float64(nil)
		for i := range s.levers {
			if !s.used[i] {
				continue
			}
			trial := search{s.bench, s.levers, slices.Clone(s.at), slices.Clone(s.used)}
			trial.at[i], trial.used[i] = 0, false
			if err := trial.descend(); err != nil {
				return err
			}
			e, err := trial.error()
			if err != nil {
				return err
			}
			if e < without {
				least, without, places = i, e, trial.at
			}
		}
		if least < 0 || without > now+worthGain {
			return nil
		}
		s.used[least], s.at = false, places
	}
}
