package storetest

import (
	"sync"
	"testing"
	"time"

	"centwise/catalog"
)

var loanTests = []contract{
	{"a loan comes back as it was", loanRoundTrip},
	{"loans are found by what and who", loanFilters},
	{"what somebody has is not lent again", loanConflict},
	{"a copy is lent once, and others beside it", loanCopies},
	{"things can be handed on in one change", loanHandedOn},
	{"a loan that breaks a rule is refused", loanRefused},
	{"a thing comes back once", loanReturned},
	{"loans make no fit stale", loanDigest},
	{"one of several who lend a horn wins", concurrentLenders},
}

// loan is Alder with reed-otter.
func (f *fixture) loan() catalog.Loan {
	return catalog.Loan{ID: catalog.NewID(), Horn: f.alder.ID, Copy: 1, Player: f.otter.ID, Since: noon, Until: noon.AddDate(1, 0, 0),
		Recorded: noon, Contributor: "lamp-keeper", Remark: "with its case\nand oil"}
}

func (f *fixture) lend(loans ...catalog.Loan) {
	f.t.Helper()
	f.apply(catalog.Changes{Loans: loans})
}

func (f *fixture) loans(filter catalog.LoanFilter) []catalog.LoanSummary {
	f.t.Helper()
	return must(f.store.Loans(f.ctx, filter))(f.t)
}

func loanRoundTrip(t *testing.T, f *fixture) {
	f.gear()
	l := f.loan()
	piece := catalog.Loan{ID: catalog.NewID(), Mouthpiece: f.plover.ID, Copy: 3, Player: f.kite.ID, Since: noon, Recorded: noon,
		Return: &catalog.Return{At: noon.Add(time.Hour), Contributor: "tide-table", Remark: "washed"}}
	f.lend(l, piece)
	got := f.loans(catalog.LoanFilter{})
	equal(t, "loans", len(got), 2)
	equal(t, "horn", got[0], catalog.LoanSummary{Loan: l, HornLabel: "Alder", PlayerLabel: "reed-otter"})
	equal(t, "return", *got[1].Return, *piece.Return)
	got[1].Return = piece.Return
	equal(t, "mouthpiece", got[1], catalog.LoanSummary{Loan: piece, MouthpieceLabel: "Plover 16.2", PlayerLabel: "blue-kite"})
	bare := catalog.Loan{Horn: f.rowan.ID, Player: f.kite.ID}
	f.lend(bare)
	if l := f.loans(catalog.LoanFilter{})[2]; !l.ID.Valid() || l.Copy != 1 || l.Since.IsZero() || l.Recorded.IsZero() || !l.Until.IsZero() || l.Return != nil {
		t.Errorf("filled in: %+v", l)
	}
	f.sound()
}

func loanFilters(t *testing.T, f *fixture) {
	f.gear()
	back := f.loan()
	back.Return = &catalog.Return{At: noon}
	f.lend(back, catalog.Loan{Horn: f.rowan.ID, Player: f.otter.ID}, catalog.Loan{Mouthpiece: f.plover.ID, Player: f.kite.ID})
	for _, tc := range []struct {
		filter catalog.LoanFilter
		want   int
	}{
		{catalog.LoanFilter{}, 3}, {catalog.LoanFilter{Out: true}, 2}, {catalog.LoanFilter{Player: f.otter.ID}, 2}, {catalog.LoanFilter{Player: f.otter.ID, Out: true}, 1},
		{catalog.LoanFilter{Horn: f.alder.ID}, 1}, {catalog.LoanFilter{Horn: f.alder.ID, Out: true}, 0}, {catalog.LoanFilter{Mouthpiece: f.plover.ID}, 1},
		{catalog.LoanFilter{Mouthpiece: f.dunlin.ID}, 0}, {catalog.LoanFilter{Horn: f.rowan.ID, Player: f.kite.ID}, 0},
	} {
		if got := f.loans(tc.filter); len(got) != tc.want {
			t.Errorf("%+v gives %d loans, want %d", tc.filter, len(got), tc.want)
		}
	}
}

func loanConflict(t *testing.T, f *fixture) {
	f.gear()
	f.lend(f.loan())
	second := f.loan()
	second.Player = f.kite.ID
	f.refuse(catalog.Conflict, catalog.Changes{Loans: []catalog.Loan{second}}, "reed-otter has Alder since 2026-03-14", "roster return Alder")
	same := f.loan()
	f.refuse(catalog.Conflict, catalog.Changes{Loans: []catalog.Loan{same}}, "reed-otter has Alder") // also to who has it
	twice := []catalog.Loan{{Horn: f.rowan.ID, Player: f.kite.ID}, {Horn: f.rowan.ID, Player: f.otter.ID}}
	f.refuse(catalog.Conflict, catalog.Changes{Loans: twice}, "blue-kite has Rowan")
}

func loanCopies(t *testing.T, f *fixture) {
	f.gear()
	f.lend(catalog.Loan{Mouthpiece: f.plover.ID, Player: f.kite.ID}, catalog.Loan{Mouthpiece: f.plover.ID, Copy: 2, Player: f.otter.ID})
	f.refuse(catalog.Conflict, catalog.Changes{Loans: []catalog.Loan{{Mouthpiece: f.plover.ID, Copy: 2, Player: f.kite.ID}}}, "reed-otter has Plover 16.2 (copy 2)")
	equal(t, "out", len(f.loans(catalog.LoanFilter{Out: true})), 2)
}

// Two exchange their horns: both are taken back, then both are lent again.
func loanHandedOn(t *testing.T, f *fixture) {
	f.gear()
	a, b := f.loan(), f.loan()
	b.ID, b.Horn, b.Player = catalog.NewID(), f.rowan.ID, f.kite.ID
	f.lend(a, b)
	f.apply(catalog.Changes{
		Returns: []catalog.ReturnOf{{Loan: a.ID, Return: catalog.Return{At: noon.AddDate(0, 1, 0)}}, {Loan: b.ID, Return: catalog.Return{At: noon.AddDate(0, 1, 0)}}},
		Loans:   []catalog.Loan{{Horn: f.rowan.ID, Player: f.otter.ID}, {Horn: f.alder.ID, Player: f.kite.ID}},
	})
	out := f.loans(catalog.LoanFilter{Out: true})
	equal(t, "out", []string{out[0].HornLabel, out[0].PlayerLabel, out[1].HornLabel, out[1].PlayerLabel}, []string{"Rowan", "reed-otter", "Alder", "blue-kite"})
	equal(t, "history of Alder", len(f.loans(catalog.LoanFilter{Horn: f.alder.ID})), 2)
	f.sound()
}

func loanRefused(t *testing.T, f *fixture) {
	f.gear()
	there := f.loan()
	there.Horn = f.rowan.ID
	f.lend(there)
	for _, tc := range []struct {
		kind   catalog.Kind
		change func(*catalog.Loan)
		words  string
	}{
		{catalog.Invalid, func(l *catalog.Loan) { l.Horn = "" }, "horn is missing"},
		{catalog.Invalid, func(l *catalog.Loan) { l.Mouthpiece = f.plover.ID }, "both"},
		{catalog.Invalid, func(l *catalog.Loan) { l.Copy = 2 }, "copy"},
		{catalog.Invalid, func(l *catalog.Loan) { l.Horn, l.Mouthpiece, l.Copy = "", f.plover.ID, -1 }, "copy"},
		{catalog.Invalid, func(l *catalog.Loan) { l.Player = "" }, "player"},
		{catalog.Invalid, func(l *catalog.Loan) { l.Until = noon.AddDate(0, 0, -1) }, "until"},
		{catalog.Invalid, func(l *catalog.Loan) { l.Return = &catalog.Return{At: noon.AddDate(0, 0, -1)} }, "returned"},
		{catalog.Invalid, func(l *catalog.Loan) { l.ID = "x" }, "id"},
		{catalog.Invalid, func(l *catalog.Loan) { l.Remark = "\x1b[2J" }, "remark"},
		{catalog.NotFound, func(l *catalog.Loan) { l.Player = catalog.NewID() }, "player"},
		{catalog.NotFound, func(l *catalog.Loan) { l.Horn = catalog.NewID() }, "horn"},
		{catalog.Conflict, func(l *catalog.Loan) { l.ID = there.ID }, string(there.ID)},
	} {
		l := f.loan()
		tc.change(&l)
		f.refuse(tc.kind, catalog.Changes{Loans: []catalog.Loan{l}}, tc.words)
	}
}

func loanReturned(t *testing.T, f *fixture) {
	f.gear()
	l := f.loan()
	f.lend(l)
	f.refuse(catalog.Invalid, catalog.Changes{Returns: []catalog.ReturnOf{{Loan: l.ID, Return: catalog.Return{At: noon.AddDate(0, 0, -2)}}}}, "handed out on 2026-03-14")
	f.refuse(catalog.Invalid, catalog.Changes{Returns: []catalog.ReturnOf{{}}}, "loan")
	f.refuse(catalog.NotFound, catalog.Changes{Returns: []catalog.ReturnOf{{Loan: catalog.NewID()}}}, "roster loans")
	back := catalog.ReturnOf{Loan: l.ID, Return: catalog.Return{At: noon, Contributor: "tide-table", Remark: "a dent in the bell"}}
	f.apply(catalog.Changes{Returns: []catalog.ReturnOf{back}})
	equal(t, "return", *f.loans(catalog.LoanFilter{})[0].Return, back.Return)
	f.refuse(catalog.Conflict, catalog.Changes{Returns: []catalog.ReturnOf{back}}, "came back from reed-otter already")
	f.lend(catalog.Loan{Horn: f.alder.ID, Player: f.kite.ID})
	f.sound()
}

func loanDigest(t *testing.T, f *fixture) {
	f.gear()
	before := f.digest()
	l := f.loan()
	f.lend(l)
	f.apply(catalog.Changes{Returns: []catalog.ReturnOf{{Loan: l.ID}}})
	equal(t, "digest", f.digest(), before)
}

func concurrentLenders(t *testing.T, f *fixture) {
	f.gear()
	var wg sync.WaitGroup
	var mu sync.Mutex
	won, lost := 0, 0
	for range writers {
		wg.Go(func() {
			err := f.store.Apply(f.ctx, catalog.Changes{Loans: []catalog.Loan{{Horn: f.alder.ID, Player: f.otter.ID}}})
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err == nil:
				won++
			case catalog.KindOf(err) == catalog.Conflict:
				lost++
			default:
				t.Error(err)
			}
		})
	}
	wg.Wait()
	equal(t, "won and lost", []int{won, lost}, []int{1, writers - 1})
	equal(t, "out", len(f.loans(catalog.LoanFilter{Out: true})), 1)
}
