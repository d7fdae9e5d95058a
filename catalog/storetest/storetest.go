// Package storetest is the contract of [catalog.Store] as tests, so that every
// database behind it is held to the same.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Run holds stores to the contract. open gives a new, empty catalog each time
// and closes it when the test ends.
func Run(t *testing.T, open func(t *testing.T) catalog.Store) {
	for _, group := range [][]contract{gearTests, changeTests, sessionTests, measurementTests, digestTests, fitTests, draftTests, poolTests, linkTests, loanTests, visitTests, tokenTests, followTests, clockTests, concurrencyTests} {
		for _, c := range group {
			t.Run(c.name, func(t *testing.T) { c.run(t, newFixture(t, open)) })
		}
	}
}

// contract is one clause.
type contract struct {
	name string
	run  func(t *testing.T, f *fixture)
}

// fixture is a catalog of the Lantern Bay Youth Winds with a few records.
type fixture struct {
	t     *testing.T
	ctx   context.Context
	store catalog.Store
	open  func(t *testing.T) catalog.Store

	alder, rowan   catalog.Horn
	plover, dunlin catalog.Mouthpiece
	otter, kite    catalog.Player
}

func newFixture(t *testing.T, open func(t *testing.T) catalog.Store) *fixture {
	f := &fixture{t: t, ctx: context.Background(), store: open(t), open: open}
	f.alder = catalog.Horn{ID: catalog.NewID(), Label: "Alder", Maker: "Tidewright", Model: "Heron", Serial: "204", Key: pitch.KeyBb,
		Instrument: catalog.Trumpet, Valves: 3, Receiver: catalog.ShankTrumpet, BoreMM: 11.68, Throw1MM: 18, Throw3MM: 25,
		Loaner: true, Owner: "Lantern Bay Youth Winds", Tags: []string{"brass", "silver"}, BoreGeometry: "x_mm,diameter_mm\n0,9.5\n"}
	f.rowan = catalog.Horn{ID: catalog.NewID(), Label: "Rowan", Key: pitch.KeyEb, Instrument: catalog.Cornet}
	f.plover = catalog.Mouthpiece{ID: catalog.NewID(), Label: "Plover 16.2", Maker: "Northlamp", Model: "Plover", Serial: "7",
		Shank: catalog.ShankTrumpet, RimMM: 16.2, CupCM3: 1.25, CupDepthMM: 11.5, ThroatMM: 3.66, ThroatLengthMM: 9, BackboreMM: 9.1,
		BackboreCharacter: "open", LengthMM: 88, Owner: "reed-otter", Stock: []string{"cupboard", "harbour shop"}, Tags: []string{"deep"}}
	f.dunlin = catalog.Mouthpiece{ID: catalog.NewID(), Label: "Dunlin 16.6", RimMM: 16.6, Shank: catalog.ShankCornet}
	f.otter = catalog.Player{ID: catalog.NewID(), Label: "reed-otter", Level: "fourth year", RimMinMM: 16, RimMaxMM: 16.8,
		CupMinCM3: 1, CupMaxCM3: 1.5, ToleranceCents: 8, RangeLow: pitch.RangeLow, RangeHigh: pitch.RangeHigh, Tags: []string{"section lead"},
		Weights: catalog.Weights{54: 0, 60: 12.5, 61: 0.1, 84: 1e9, 91: 1e-6}}
	f.kite = catalog.Player{ID: catalog.NewID(), Label: "blue-kite"}
	return f
}

// gear writes the fixture's records.
func (f *fixture) gear() {
	f.t.Helper()
	f.apply(catalog.Changes{
		Horns:       []catalog.Horn{f.alder, f.rowan},
		Mouthpieces: []catalog.Mouthpiece{f.plover, f.dunlin},
		Players:     []catalog.Player{f.otter, f.kite},
	})
}

// session is one with Alder, Plover and reed-otter.
func (f *fixture) session(name string, cents ...float64) catalog.Session {
	s := catalog.Session{ID: catalog.NewID(), Name: name, Horn: f.alder.ID, Mouthpiece: f.plover.ID, Player: f.otter.ID, Contributor: "blue-kite"}
	slots := pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)
	for i, c := range cents {
		s.Readings = append(s.Readings, catalog.Reading{Slot: slots[i%len(slots)], Repeat: 1 + i/len(slots), Cents: c})
	}
	return s
}

func (f *fixture) apply(c catalog.Changes) {
	f.t.Helper()
	if err := f.store.Apply(f.ctx, c); err != nil {
		f.t.Fatal(err)
	}
}

// record applies sessions.
func (f *fixture) record(sessions ...catalog.Session) {
	f.t.Helper()
	f.apply(catalog.Changes{Sessions: sessions})
}

// refuse expects an error of a kind that names everything in words, and that
// the refused changes left no trace.
func (f *fixture) refuse(kind catalog.Kind, c catalog.Changes, words ...string) {
	f.t.Helper()
	before := f.dump()
	err := f.store.Apply(f.ctx, c)
	wantError(f.t, err, kind, words...)
	if after := f.dump(); after != before {
		f.t.Errorf("refused changes left a trace:\nbefore %s\nafter  %s", before, after)
	}
}

func wantError(t *testing.T, err error, kind catalog.Kind, words ...string) {
	t.Helper()
	if err == nil {
		t.Fatal("no error")
	}
	var domain *catalog.Error
	if !errors.As(err, &domain) || domain.Kind != kind {
		t.Errorf("error %q is not of kind %d", err, kind)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("error %q does not say %q", err, w)
		}
	}
}

// dump is everything that a store tells, as text.
func (f *fixture) dump() string {
	f.t.Helper()
	var b strings.Builder
	add := func(x any, err error) {
		if err != nil {
			f.t.Fatal(err)
		}
		fmt.Fprintf(&b, "%+v\n", x)
	}
	horns, err := f.store.Horns(f.ctx, true)
	add(horns, err)
	for _, h := range horns {
		add(f.store.HornHistory(f.ctx, h.ID))
	}
	mouthpieces, err := f.store.Mouthpieces(f.ctx, true)
	add(mouthpieces, err)
	players, err := f.store.Players(f.ctx, true)
	add(players, err)
	sessions, err := f.store.Sessions(f.ctx, catalog.SessionFilter{Retracted: true})
	add(len(sessions), err)
	for _, s := range sessions {
		full, err := f.store.Session(f.ctx, string(s.ID))
		add(full.Readings, err)
		if s.Retraction != nil {
			add(*s.Retraction, nil)
		}
		s.Retraction, s.TemperatureC, s.SlideMM, s.GapMM = nil, nil, nil, nil // pointers differ from call to call
		add(s, nil)
	}
	drafts, err := f.store.Drafts(f.ctx)
	add(len(drafts), err)
	for _, d := range drafts {
		full, err := f.store.Draft(f.ctx, string(d.ID))
		add(full.Lines, err)
	}
	loans, err := f.store.Loans(f.ctx, catalog.LoanFilter{})
	add(len(loans), err)
	for _, l := range loans {
		if l.Return != nil {
			add(*l.Return, nil)
		}
		l.Return = nil // a pointer
		add(l, nil)
	}
	add(f.store.Tokens(f.ctx))
	add(f.store.Links(f.ctx))
	info, err := f.store.Info(f.ctx)
	info.Bytes = 0
	add(info, err)
	return b.String()
}

// digest is the catalog's digest.
func (f *fixture) digest() string {
	f.t.Helper()
	info, err := f.store.Info(f.ctx)
	if err != nil {
		f.t.Fatal(err)
	}
	alone, err := f.store.Digest(f.ctx)
	if err != nil || alone.String() != info.Digest {
		f.t.Errorf("digest %s, info says %s (error %v)", alone, info.Digest, err)
	}
	return info.Digest
}

// sound expects that the store finds nothing wrong with itself.
func (f *fixture) sound() {
	f.t.Helper()
	findings, err := f.store.Integrity(f.ctx)
	if err != nil {
		f.t.Fatal(err)
	}
	for _, x := range findings {
		f.t.Errorf("integrity: %+v", x)
	}
}

// measured collects the stream.
func (f *fixture) measured(after int64) []catalog.Measured {
	f.t.Helper()
	var out []catalog.Measured
	for m, err := range f.store.Measurements(f.ctx, after) {
		if err != nil {
			f.t.Fatal(err)
		}
		m.Readings = append([]catalog.MeasuredReading(nil), m.Readings...)
		out = append(out, m)
	}
	return out
}

// equal compares what was read with what is wanted.
func equal[T any](t *testing.T, what string, got, want T) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s\n got %.2000s\nwant %.2000s", what, fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", want))
	}
}

// must unwraps a result.
func must[T any](x T, err error) func(t *testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
}

func pointer(x float64) *float64 { return &x }

// noon is a time that a store keeps exactly.
var noon = time.Date(2026, 3, 14, 12, 0, 0, 250e6, time.UTC)
