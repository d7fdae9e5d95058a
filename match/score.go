package match

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"

	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/tuning"
)

// batchSize is how many predictions are held at a time: 256 with 64 draws of 45
// slots are 6 MB.
const batchSize = 256

// score judges the candidates. Those that filters on the prediction reject are
// counted in leftOut.
func (q Question) score(ctx context.Context, e Engine, f *field, leftOut map[string]int) ([]Pairing, error) {
	list := f.candidates()
	judged := make([]Pairing, len(list))
	var err error
	if g, ok := e.(gridEngine); ok {
		err = q.judgeGrid(ctx, g, f, list, judged)
	} else {
		err = q.judgeBatches(ctx, e, f, list, judged)
	}
	if err != nil {
		return nil, err
	}
	out := judged[:0]
	for i := range judged {
		if reason := q.rejectPairing(judged[i].Basis, judged[i].Linked); reason != "" {
			leftOut[reason]++
			continue
		}
		out = append(out, judged[i])
	}
	return out, nil
}

// judgeGrid judges candidates as they are cast, keeping no prediction.
func (q Question) judgeGrid(ctx context.Context, e gridEngine, f *field, list []candidate, out []Pairing) error {
	l, err := f.lattice(e, q.Player)
	if err != nil {
		return err
	}
	onCores(len(list), func() func(i int) {
		cast := l.newCasters()
		var room tuning.Result
		return func(i int) {
			if ctx.Err() == nil {
				out[i] = q.pairing(f, list[i], cast.prediction(list[i]), &room)
			}
		}
	})
	return ctx.Err()
}

// judgeBatches judges candidates batch by batch, those of one batch on the same
// slots.
func (q Question) judgeBatches(ctx context.Context, e Engine, f *field, list []candidate, out []Pairing) error {
	for start := 0; start < len(list); {
		if err := ctx.Err(); err != nil {
			return err
		}
		slots := f.plans[list[start].horn].slots
		end := start + 1
		for end < len(list) && end-start < batchSize && slices.Equal(f.plans[list[end].horn].slots, slots) {
			end++
		}
		batch, to := list[start:end], out[start:end]
		predictions, err := q.predict(e, f, batch, slots)
		if err != nil {
			return err
		}
		onCores(len(batch), func() func(i int) {
			var room tuning.Result
			return func(i int) { to[i] = q.pairing(f, batch[i], predictions[i], &room) }
		})
		start = end
	}
	return nil
}

// predict predicts candidates that share their slots.
func (q Question) predict(e Engine, f *field, list []candidate, slots []pitch.Slot) ([]fit.Prediction, error) {
	setups := make([]fit.Setup, len(list))
	for i, c := range list {
		setups[i] = fit.Setup{Horn: f.horns[c.horn].ID, Mouthpiece: f.mouthpieces[c.mouthpiece].ID}
		if q.Player != nil {
			setups[i].Player = q.Player.ID
		}
	}
	predictions, err := e.PredictMany(setups, slots)
	if err == nil {
		err = usable(predictions, len(setups), len(slots))
	}
	if err != nil {
		return nil, fmt.Errorf("predicting %d pairings: %w", len(list), err)
	}
	return predictions, nil
}

// onCores calls f(0) .. f(n-1) on all cores, each of which makes itself an f,
// and waits for them. Every call must have its own place for its result, so that
// the order in which they finish does not matter.
func onCores(n int, newWorker func() func(i int)) {
	workers := min(n, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	for w := range workers {
		wait.Go(func() {
			f := newWorker()
			for i := w; i < n; i += workers {
				f(i)
			}
		})
	}
	wait.Wait()
}

// pairing judges a candidate; room is memory to work in.
func (q Question) pairing(f *field, c candidate, prediction fit.Prediction, room *tuning.Result) Pairing {
	p, horn, mouthpiece := f.plans[c.horn], f.horns[c.horn], f.mouthpieces[c.mouthpiece]
	verdict, errs := p.judgeInto(room, prediction, !q.NoSupport)
	ev := prediction.Evidence
	measured := q.Resonances[PairOf{horn.ID, mouthpiece.ID}].known(p.problem.Slots())
	return Pairing{
		Horn: horn.Label, Mouthpiece: mouthpiece.Label, Verdict: verdict,
		Evidence: ev.Horn + ev.Mouthpiece - ev.Pair, EvidenceOf: ev,
		PairSessions: ev.Pair, HornSessions: ev.Horn, Sessions: ev.Mouthpiece,
		Basis: ev.Basis, Linked: prediction.Linked, Adapter: !fits(*horn, *mouthpiece),
		SupportMeasured: measured,
		errs:            errs, group: groupOf(*horn, prediction),
	}
}

// rejectPairing applies the filters on what a prediction rests on.
func (q Question) rejectPairing(basis fit.Basis, linked bool) string {
	switch {
	case q.Filter.Measured && basis != fit.BasisMeasured:
		return "not measured"
	case q.Filter.Linked && !linked:
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
