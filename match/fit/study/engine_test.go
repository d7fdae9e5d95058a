package main

import (
	"context"
	"math"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
)

// oracle predicts the truth, whatever it is given to fit.
type oracle struct{ w *simulate.World }

func (o oracle) PredictMany(setups []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error) {
	horns, mouthpieces := map[catalog.ID]int{}, map[catalog.ID]int{}
	for i := range o.w.Horns {
		horns[o.w.HornID(i)] = i
	}
	for i := range o.w.Mouthpieces {
		mouthpieces[o.w.MouthpieceID(i)] = i
	}
	var out []fit.Prediction
	for _, s := range setups {
		truth := o.w.Truth(horns[s.Horn], mouthpieces[s.Mouthpiece])
		p := fit.Prediction{Setup: s, Slots: slots}
		for _, slot := range slots {
			j, _ := simulate.SlotIndex(slot)
			p.Mean, p.SD = append(p.Mean, truth[j]), append(p.SD, 1)
		}
		out = append(out, p)
	}
	return out, nil
}

// An engine is given every session and all gear, and its answers come back to
// the pairs that were asked for.
func TestEngineSeesTheWorld(t *testing.T) {
	w := simulate.Generate(simulate.Harder, simulate.Small, 3)
	ctx := context.Background()
	e := &engine{fit: func(ctx context.Context, store catalog.Store) (predictor, error) {
		readings, after := 0, 0
		for m, err := range store.Measurements(ctx, 0) {
			if err != nil {
				return nil, err
			}
			readings += len(m.Readings)
		}
		for m, err := range store.Measurements(ctx, 200) {
			if err != nil || m.Sequence <= 200 {
				t.Errorf("asked for sessions after 200, got %d (%v)", m.Sequence, err)
			}
			after++
		}
		horns, _ := store.Horns(ctx, true)
		mouthpieces, _ := store.Mouthpieces(ctx, true)
		players, _ := store.Players(ctx, true)
		if readings != w.Readings() || after != len(w.Sessions)-200 || len(horns) != len(w.Horns) || len(mouthpieces) != len(w.Mouthpieces) || len(players) != len(w.Players) {
			t.Errorf("the fit sees %d readings, %d sessions after 200, %d horns, %d mouthpieces, %d players", readings, after, len(horns), len(mouthpieces), len(players))
		}
		return oracle{w}, nil
	}}
	if err := e.Fit(ctx, w); err != nil {
		t.Fatal(err)
	}
	r, err := score(ctx, e, w)
	if err != nil {
		t.Fatal(err)
	}
	if r.all.rms() > 1e-9 || math.Abs(r.regret) > 1e-9 {
		t.Errorf("the truth scores rms %v, regret %v through the engine", r.all.rms(), r.regret)
	}
}

func TestWorldStoreKeepsAFit(t *testing.T) {
	ctx := context.Background()
	w := simulate.Generate(simulate.Plain, simulate.Small, 1)
	s := w.Store()
	loaded := map[string][]byte{}
	take := func(_ catalog.StoredFit, name string, body []byte) error {
		loaded[name] = body
		return nil
	}
	if err := s.LoadFit(ctx, take, "a"); catalog.KindOf(err) != catalog.NotFound {
		t.Errorf("no fit yet gives %v, want not found", err)
	}
	before, err := s.Digest(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.SaveFit(ctx, catalog.StoredFit{Digest: before.String(), Sections: map[string][]byte{"a": {1}, "b": {2}}}); err != nil {
		t.Fatal(err)
	}
	if err := s.LoadFit(ctx, take, "b"); err != nil || len(loaded) != 1 || loaded["b"][0] != 2 {
		t.Errorf("loaded %v, %v; want section b alone", loaded, err)
	}
	if info, err := s.Info(ctx); err != nil || info.FitDigest != before.String() || info.Digest != before.String() {
		t.Errorf("info %+v, %v", info, err)
	}
	w.Sessions = w.Sessions[1:]
	if after, _ := s.Digest(ctx); after == before {
		t.Error("a session less has the same digest")
	}
}
