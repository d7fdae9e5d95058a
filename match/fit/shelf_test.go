package fit

import (
	"context"
	"crypto/sha256"
	"fmt"
	"iter"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// shelf is a catalog in memory, as far as a fit looks. Ids are made of labels.
// The rest of the interface is absent: a call is a defect, and panics.
type shelf struct {
	catalog.Store
	horns       []catalog.Horn
	mouthpieces []catalog.Mouthpiece
	players     []catalog.Player
	links       []catalog.LinkSummary
	sessions    []catalog.Measured
	stored      *catalog.StoredFit
	saves       int
	saveError   error
}

func hornID(label string) catalog.ID       { return catalog.ID("horn " + label) }
func mouthpieceID(label string) catalog.ID { return catalog.ID("mouthpiece " + label) }
func playerID(label string) catalog.ID     { return catalog.ID("player " + label) }

// newShelf has horns, mouthpieces and players of the given labels.
func newShelf(horns, mouthpieces, players []string) *shelf {
	s := &shelf{}
	for _, label := range horns {
		s.addHorn(catalog.Horn{Label: label})
	}
	for _, label := range mouthpieces {
		s.addMouthpiece(catalog.Mouthpiece{Label: label})
	}
	for _, label := range players {
		s.players = append(s.players, catalog.Player{ID: playerID(label), Label: label})
	}
	return s
}

func (s *shelf) addHorn(h catalog.Horn) {
	h.ID = hornID(h.Label)
	h.Normalize()
	s.horns = append(s.horns, h)
}

func (s *shelf) addMouthpiece(m catalog.Mouthpiece) {
	m.ID = mouthpieceID(m.Label)
	m.Normalize()
	s.mouthpieces = append(s.mouthpieces, m)
}

// measure records a session by the contributor "front desk"; cents gives the
// deviation of each slot.
func (s *shelf) measure(horn, mouthpiece, player string, slots []pitch.Slot, cents func(j int) float64) *catalog.Measured {
	m := catalog.Measured{
		Sequence: int64(len(s.sessions) + 1), Name: fmt.Sprintf("session %04d", len(s.sessions)+1),
		Horn: hornID(horn), Mouthpiece: mouthpieceID(mouthpiece), Player: playerID(player),
		Contributor: "front desk", Method: catalog.MethodTuner,
	}
	for j, slot := range slots {
		m.Readings = append(m.Readings, catalog.MeasuredReading{Slot: slot, Cents: cents(j)})
	}
	s.sessions = append(s.sessions, m)
	return &s.sessions[len(s.sessions)-1]
}

func (s *shelf) Horns(context.Context, bool) ([]catalog.Horn, error) { return s.horns, nil }

func (s *shelf) Mouthpieces(context.Context, bool) ([]catalog.Mouthpiece, error) {
	return s.mouthpieces, nil
}

func (s *shelf) Players(context.Context, bool) ([]catalog.Player, error) { return s.players, nil }

func (s *shelf) Links(context.Context) ([]catalog.LinkSummary, error) { return s.links, nil }

func (s *shelf) Measurements(_ context.Context, after int64) iter.Seq2[catalog.Measured, error] {
	return func(yield func(catalog.Measured, error) bool) {
		for _, m := range s.sessions {
			if m.Sequence > after && !yield(m, nil) {
				return
			}
		}
	}
}

// Digest does not depend on the order of anything.
func (s *shelf) Digest(context.Context) (catalog.Digest, error) {
	var d catalog.Digest
	for _, h := range s.horns {
		d = d.Plus(h.Digest())
	}
	for _, m := range s.mouthpieces {
		d = d.Plus(m.Digest())
	}
	for _, p := range s.players {
		d = d.Plus(p.Digest())
	}
	for _, m := range s.sessions {
		d = d.Plus(sha256.Sum256(fmt.Append(nil, m.Name, m.Horn, m.Mouthpiece, m.Player, m.Contributor, m.Method, m.Readings)))
	}
	return d, nil
}

func (s *shelf) Info(ctx context.Context) (catalog.Info, error) {
	d, err := s.Digest(ctx)
	return catalog.Info{Horns: len(s.horns), Mouthpieces: len(s.mouthpieces), Players: len(s.players),
		Sessions: len(s.sessions), Digest: d.String()}, err
}

func (s *shelf) SaveFit(ctx context.Context, f catalog.StoredFit) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if s.saveError != nil {
		return s.saveError
	}
	f.Sections = maps.Clone(f.Sections)
	f.At = f.At.Truncate(time.Millisecond)
	s.stored = &f
	s.saves++
	return nil
}

func (s *shelf) LoadFit(ctx context.Context, take func(catalog.StoredFit, string, []byte) error, sections ...string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if s.stored == nil {
		return catalog.Errorf(catalog.NotFound, "", "no fit is stored")
	}
	out := *s.stored
	out.Sections = nil
	if len(sections) == 0 {
		sections = slices.Collect(maps.Keys(s.stored.Sections))
	}
	for _, name := range sections {
		body, ok := s.stored.Sections[name]
		if !ok {
			return catalog.Errorf(catalog.NotFound, "", "the stored fit has no section %q", name)
		}
		if err := take(out, name, body); err != nil {
			return err
		}
	}
	return nil
}

// load gives the shelf's data as the fit sees them.
func (s *shelf) load(t testing.TB) *Data {
	t.Helper()
	d, err := Load(context.Background(), s, catalog.NoCounter{})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// fit gives the current fit.
func (s *shelf) fit(t testing.TB, o Options) *Model {
	t.Helper()
	m, err := Current(context.Background(), s, o)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// labels numbers n labels, in alphabetical order.
func labels(prefix string, n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = fmt.Sprintf("%s%03d", prefix, i+1)
	}
	return out
}

// usualSlots are the 31 usual notes.
func usualSlots() []pitch.Slot { return pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) }

func seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1)) }

// profile draws a smooth-ish random profile: deviations of about sd cents.
func randomProfile(rng *rand.Rand, n int, sd float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = sd * rng.NormFloat64()
	}
	return out
}

func setup(horn, mouthpiece, player string) Setup {
	var s Setup
	if horn != "" {
		s.Horn = hornID(horn)
	}
	if mouthpiece != "" {
		s.Mouthpiece = mouthpieceID(mouthpiece)
	}
	if player != "" {
		s.Player = playerID(player)
	}
	return s
}

// predict asks for one setup.
func predict(t testing.TB, m *Model, s Setup, slots []pitch.Slot) Prediction {
	t.Helper()
	p, err := m.Predict(s, slots)
	if err != nil {
		t.Fatal(err)
	}
	return p
}
