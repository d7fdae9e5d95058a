package match

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// batchSize is how many predictions are held at a time: 256 with 64 draws of 45
// slots are 6 MB.
const batchSize = 256

// score judges the candidates. Those that filters on the prediction reject are
// counted in leftOut. The notes that could not be judged come with the result.
func (q Question) score(ctx context.Context, e Engine, list []candidate, leftOut map[string]int) (out []Pairing, missing []pitch.Note, err error) {
	plans, err := q.plans(e, list)
	if err != nil {
		return nil, nil, err
	}
	for _, p := range plans {
		missing = append(missing, p.missing...)
	}
	slices.Sort(missing)
	for start := 0; start < len(list); {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		p := plans[list[start].horn]
		end := start + 1
		for end < len(list) && end-start < batchSize && slices.Equal(plans[list[end].horn].slots, p.slots) {
			end++
		}
		judged, err := q.batch(e, list[start:end], plans)
		if err != nil {
			return nil, nil, err
		}
		for _, j := range judged {
			if reason := q.rejectPairing(j); reason != "" {
				leftOut[reason]++
				continue
			}
			out = append(out, j)
		}
		start = end
	}
	return out, slices.Compact(missing), nil
}

func (q Question) plans(e Engine, list []candidate) (map[*catalog.Horn]plan, error) {
	plans := map[*catalog.Horn]plan{}
	answered := answers(e)
	for _, c := range list {
		if _, ok := plans[c.horn]; ok {
			continue
		}
		p, err := q.Criteria.plan(*c.horn, answered, !q.NoSupport)
		if err != nil {
			return nil, err
		}
		plans[c.horn] = p
	}
	return plans, nil
}

// batch predicts and judges candidates that share their slots, on all cores.
// Every candidate has its own place in the result, so the order in which the
// cores finish does not matter.
func (q Question) batch(e Engine, list []candidate, plans map[*catalog.Horn]plan) ([]Pairing, error) {
	setups := make([]fit.Setup, len(list))
	for i, c := range list {
		setups[i] = fit.Setup{Horn: c.horn.ID, Mouthpiece: c.mouthpiece.ID}
		if q.Player != nil {
			setups[i].Player = q.Player.ID
		}
	}
	slots := plans[list[0].horn].slots
	predictions, err := e.PredictMany(setups, slots)
	if err == nil {
		err = usable(predictions, len(setups), len(slots))
	}
	if err != nil {
		return nil, fmt.Errorf("predicting %d pairings: %w", len(list), err)
	}
	out := make([]Pairing, len(list))
	inParallel(len(list), func(i int) {
		out[i] = q.pairing(list[i], plans[list[i].horn], predictions[i])
	})
	return out, nil
}

// inParallel calls f(0) .. f(n-1) on all cores and waits for them.
func inParallel(n int, f func(i int)) {
	workers := min(n, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	for w := range workers {
		wait.Go(func() {
			for i := w; i < n; i += workers {
				f(i)
			}
		})
	}
	wait.Wait()
}

func (q Question) pairing(c candidate, p plan, prediction fit.Prediction) Pairing {
	verdict, _, errs := p.judge(prediction, !q.NoSupport)
	ev := prediction.Evidence
	return Pairing{
		Horn: c.horn.Label, Mouthpiece: c.mouthpiece.Label, Verdict: verdict,
		Evidence: ev.Horn + ev.Mouthpiece - ev.Pair, EvidenceOf: ev,
		PairSessions: ev.Pair, HornSessions: ev.Horn, Sessions: ev.Mouthpiece,
		Basis: ev.Basis, Linked: prediction.Linked, Adapter: !fits(*c.horn, *c.mouthpiece),
		errs: errs, group: groupOf(*c.horn, prediction),
	}
}

func (q Question) rejectPairing(p Pairing) string {
	switch {
	case q.Filter.Measured && p.Basis != fit.BasisMeasured:
		return "not measured"
	case q.Filter.Linked && !p.Linked:
		return "not linked"
	}
	return ""
}

// shareChances gives every pairing the share of draws in which it is the best;
// draws won by several are split between them.
func shareChances(list []Pairing) {
	draws := len(list[0].errs)
	for k := range draws {
		least, winners := math.Inf(1), 0
		for i := range list {
			switch e := list[i].errs[k]; {
			case e < least:
				least, winners = e, 1
			case e == least:
				winners++
			}
		}
		for i := range list {
			if list[i].errs[k] == least {
				list[i].ChanceBest += 1 / float64(winners)
			}
		}
	}
	for i := range list {
		list[i].ChanceBest /= float64(draws)
	}
}
