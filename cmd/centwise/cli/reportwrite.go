package cli

import (
	"context"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/fit"
)

// reportWriter puts a report together from a catalog and its fit.
type reportWriter struct {
	show.Report
	ctx      context.Context
	store    catalog.Store
	question match.Question // with both horn and mouthpiece named: about that setup
	adapter  bool
}

// origin says what the page rests on.
func (w *reportWriter) origin(m *fit.Model) (err error) {
	w.Fit = show.FitFacts{
		At: m.At.In(w.Made.Location()), Digest: m.Digest,
		Sessions: m.Report.Sessions, Readings: m.Report.Readings, NoiseCents: m.ReadingNoise(),
	}
	w.Catalog, err = w.store.Info(w.ctx)
	return err
}

func (w *reportWriter) write(m *fit.Model) (*show.Report, error) {
	err := w.origin(m)
	if err != nil {
		return nil, err
	}
	q := w.question
	switch {
	case q.FromHorn != nil && q.FromMouthpiece != nil:
		err = w.setup(m, *q.FromHorn, *q.FromMouthpiece)
	case q.FromHorn != nil:
		w.Gear = show.HornFacts(*q.FromHorn)
		if w.Profile, err = match.HornProfile(m, *q.FromHorn, q.Criteria); err == nil {
			err = w.candidates(m)
		}
	default:
		w.Gear = show.MouthpieceFacts(*q.FromMouthpiece)
		if w.Profile, err = match.MouthpieceProfile(m, *q.FromMouthpiece, q.Criteria); err == nil {
			err = w.candidates(m)
		}
	}
	return &w.Report, err
}

// setup explains one setup, with what sessions with it read.
func (w *reportWriter) setup(m *fit.Model, h catalog.Horn, mp catalog.Mouthpiece) error {
	of := match.Of{Horn: h, Mouthpiece: mp, Player: w.question.Player, Resonances: w.question.Resonances[match.PairOf{Horn: h.ID, Mouthpiece: mp.ID}]}
	var err error
	if w.Sessions, err = w.store.Sessions(w.ctx, catalog.SessionFilter{Horn: h.ID, Mouthpiece: mp.ID}); err != nil {
		return err
	}
	for _, s := range w.Sessions {
		whole, err := w.store.Session(w.ctx, string(s.ID))
		if err != nil {
			return err
		}
		of.Sessions = append(of.Sessions, whole)
	}
	w.Setup, err = match.Explain(m, of, w.question.Criteria, w.adapter)
	return err
}

// candidates ranks what goes with the horn or mouthpiece, and explains the first
// few.
func (w *reportWriter) candidates(m *fit.Model) error {
	var err error
	if w.Ranking, err = match.Rank(w.ctx, m, w.question); err != nil {
		return err
	}
	for _, p := range w.Ranking.Pairings[:min(reportFinalists, len(w.Ranking.Pairings))] {
		of := match.Of{Player: w.question.Player}
		if of.Horn, err = w.store.Horn(w.ctx, p.Horn); err != nil {
			return err
		}
		if of.Mouthpiece, err = w.store.Mouthpiece(w.ctx, p.Mouthpiece); err != nil {
			return err
		}
		x, err := match.Explain(m, of, w.question.Criteria, w.adapter)
		if err != nil {
			return err
		}
		w.Finalists = append(w.Finalists, x)
	}
	return nil
}
