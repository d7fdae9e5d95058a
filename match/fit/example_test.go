package fit_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/sqlstore"
	"centwise/match/fit"
)

// lanternBay is an invented catalog: two horns, two mouthpieces, one player,
// three sessions. Horn Rowan is 10 cents sharp on its low notes, mouthpiece
// Dunlin 16.6 is 8 cents flat on the low notes against Plover 16.2.
func lanternBay(ctx context.Context, folder string) (catalog.Store, map[string]catalog.ID, error) {
	store, err := sqlstore.Open(ctx, filepath.Join(folder, "lantern-bay.centwise"), sqlstore.Options{Create: true})
	if err != nil {
		return nil, nil, err
	}
	id := map[string]catalog.ID{}
	for _, label := range []string{"Alder", "Rowan", "Plover 16.2", "Dunlin 16.6", "reed-otter"} {
		id[label] = catalog.NewID()
	}
	changes := catalog.Changes{
		Horns:       []catalog.Horn{{ID: id["Alder"], Label: "Alder"}, {ID: id["Rowan"], Label: "Rowan"}},
		Mouthpieces: []catalog.Mouthpiece{{ID: id["Plover 16.2"], Label: "Plover 16.2"}, {ID: id["Dunlin 16.6"], Label: "Dunlin 16.6"}},
		Players:     []catalog.Player{{ID: id["reed-otter"], Label: "reed-otter"}},
	}
	for i, setup := range [][2]string{{"Alder", "Plover 16.2"}, {"Alder", "Dunlin 16.6"}, {"Rowan", "Plover 16.2"}} {
		s := catalog.Session{Name: fmt.Sprintf("visit %d", i+1), Horn: id[setup[0]], Mouthpiece: id[setup[1]], Player: id["reed-otter"]}
		for _, slot := range pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) {
			low := float64(pitch.RangeHigh-slot.Note()) / 30 // 1 on the lowest note, 0 on the highest
			cents := 0.0
			if setup[0] == "Rowan" {
				cents += 10 * low
			}
			if setup[1] == "Dunlin 16.6" {
				cents -= 8 * low
			}
			s.Readings = append(s.Readings, catalog.Reading{Slot: slot, Repeat: 1, Cents: cents})
		}
		changes.Sessions = append(changes.Sessions, s)
	}
	return store, id, store.Apply(ctx, changes)
}

// Current fits a catalog, keeps the fit in it, and predicts a setup that nobody
// has played: Rowan with Dunlin 16.6. What both do to the low notes all but
// cancels.
func ExampleCurrent() {
	ctx := context.Background()
	folder, err := os.MkdirTemp("", "fit-example")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	store, id, err := lanternBay(ctx, folder)
	if err != nil {
		fmt.Println(err)
		return
	}
	defer store.Close()

	model, err := fit.Current(ctx, store, fit.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	ends := []pitch.Slot{{Valves: 7, Partial: 2}, {Partial: 8}} // F#3 on 123, C6 open
	ask := func(horn, mouthpiece string) fit.Prediction {
		p, err := model.Predict(fit.Setup{Horn: id[horn], Mouthpiece: id[mouthpiece], Player: id["reed-otter"]}, ends)
		if err != nil {
			fmt.Println(err)
		}
		return p
	}
	for _, mouthpiece := range []string{"Plover 16.2", "Dunlin 16.6"} {
		p := ask("Rowan", mouthpiece)
		fmt.Printf("Rowan with %s: low notes clearly sharp against high ones: %v; sessions of the pair: %d; linked: %v; basis: %s\n",
			mouthpiece, p.Mean[0]-p.Mean[1] > 7, p.Evidence.Pair, p.Linked, p.Evidence.Basis)
	}
	again, err := fit.Current(ctx, store, fit.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("the stored fit is used again:", again.At.Equal(model.At))
	// Output:
	// Rowan with Plover 16.2: low notes clearly sharp against high ones: true; sessions of the pair: 1; linked: true; basis: measured
	// Rowan with Dunlin 16.6: low notes clearly sharp against high ones: false; sessions of the pair: 0; linked: true; basis: measured
	// the stored fit is used again: true
}

// Draws of two predictions belong together: how sure it is that one setup is
// flatter than another on a note is counted draw by draw, which takes into
// account that both share the horn.
func ExampleModel_PredictMany() {
	ctx := context.Background()
	folder, err := os.MkdirTemp("", "fit-example")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	store, id, err := lanternBay(ctx, folder)
	if err != nil {
		fmt.Println(err)
		return
	}
	defer store.Close()
	model, err := fit.Current(ctx, store, fit.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	lowest := []pitch.Slot{{Valves: 7, Partial: 2}}
	p, err := model.PredictMany([]fit.Setup{
		{Horn: id["Rowan"], Mouthpiece: id["Plover 16.2"]},
		{Horn: id["Rowan"], Mouthpiece: id["Dunlin 16.6"]},
	}, lowest)
	if err != nil {
		fmt.Println(err)
		return
	}
	flatter := 0
	for k := range p[0].Draws {
		if p[1].Draws[k][0] < p[0].Draws[k][0] {
			flatter++
		}
	}
	fmt.Println("Dunlin 16.6 flattens F#3 in most possible worlds:", flatter > len(p[0].Draws)*2/3)
	// Output: Dunlin 16.6 flattens F#3 in most possible worlds: true
}
