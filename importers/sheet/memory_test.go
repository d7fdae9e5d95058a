package sheet

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
)

// memory is a catalog in memory, as much of one as importing and exporting need.
type memory struct {
	horns       []catalog.Horn
	mouthpieces []catalog.Mouthpiece
	players     []catalog.Player
	sessions    []catalog.Session
}

func (m *memory) Horns(context.Context, bool) ([]catalog.Horn, error) { return m.horns, nil }
func (m *memory) Mouthpieces(context.Context, bool) ([]catalog.Mouthpiece, error) {
	return m.mouthpieces, nil
}
func (m *memory) Players(context.Context, bool) ([]catalog.Player, error) { return m.players, nil }

func (m *memory) Links(context.Context) ([]catalog.LinkSummary, error) { return nil, nil }

func (m *memory) Sessions(context.Context, catalog.SessionFilter) ([]catalog.SessionSummary, error) {
	var out []catalog.SessionSummary
	for _, s := range m.sessions {
		sum := catalog.SessionSummary{Session: s, ReadingCount: len(s.Readings)}
		sum.Readings = nil
		for _, h := range m.horns {
			if h.ID == s.Horn {
				sum.HornLabel = h.Label
			}
		}
		for _, x := range m.mouthpieces {
			if x.ID == s.Mouthpiece {
				sum.MouthpieceLabel = x.Label
			}
		}
		for _, p := range m.players {
			if p.ID == s.Player {
				sum.PlayerLabel = p.Label
			}
		}
		out = append(out, sum)
	}
	return out, nil
}

func (m *memory) Session(_ context.Context, name string) (catalog.Session, error) {
	for _, s := range m.sessions {
		if string(s.ID) == name {
			return s, nil
		}
	}
	return catalog.Session{}, errors.New("no session " + name)
}

// apply takes changes that the catalog accepts.
func (m *memory) apply(c catalog.Changes) error {
	c = c.Normalized(time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC))
	if err := c.Validate(); err != nil {
		return err
	}
	m.horns = putAll(horns, m.horns, c.Horns)
	m.mouthpieces = putAll(mouthpieces, m.mouthpieces, c.Mouthpieces)
	m.players = putAll(players, m.players, c.Players)
	m.sessions = append(m.sessions, c.Sessions...)
	return nil
}

func putAll[T any](k *kind[T], have, records []T) []T {
	for i := range records {
		id, _, _ := k.base(&records[i])
		replaced := false
		for j := range have {
			if other, _, _ := k.base(&have[j]); *other == *id {
				have[j], replaced = records[i], true
			}
		}
		if !replaced {
			have = append(have, records[i])
		}
	}
	return have
}

// load plans the import of files and applies it.
func (m *memory) load(o Options, files ...File) (*Report, error) {
	have, err := look(context.Background(), m)
	if err != nil {
		return nil, err
	}
	changes, report, err := Plan(context.Background(), have, files, o)
	if err != nil {
		return nil, err
	}
	return report, m.apply(changes)
}

func text(name, content string) File { return File{name, strings.NewReader(content)} }

// bay is a small catalog of the Lantern Bay Youth Winds.
func bay(t testing.TB) *memory {
	t.Helper()
	m := &memory{}
	_, err := m.load(Options{}, text("gear.csv", `kind,label,maker,model,instrument,key,valves,shank,rim_mm,throw3_mm
horn,Alder,Tidewright,Bay,,,,,,12
horn,Rowan,Tidewright,Bay,,,,,,
horn,Hazel,Northlamp,Low,flugelhorn,,4,,,
mouthpiece,Plover 16.2,,,,,,,16.2,
mouthpiece,Dunlin 16.6,,,,,,,16.6,
mouthpiece,Turnstone 16.8,,,,,,flugelhorn,16.8,
player,reed-otter,,,,,,,,
player,blue-kite,,,,,,,,
`))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// mustLoad imports one sheet.
func (m *memory) mustLoad(t testing.TB, o Options, content string) *Report {
	t.Helper()
	r, err := m.load(o, text("sheet.csv", content))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (m *memory) session(t testing.TB, name string) catalog.Session {
	t.Helper()
	for _, s := range m.sessions {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("no session %q was written", name)
	return catalog.Session{}
}

// readingsText writes readings as slot#repeat=cents.
func readingsText(s catalog.Session) string {
	var out []string
	for _, r := range s.Readings {
		out = append(out, r.Slot.String()+"#"+formatNumber(float64(r.Repeat))+"="+formatNumber(r.Cents))
	}
	return strings.Join(out, " ")
}

// exported writes the whole catalog as two sheets.
func (m *memory) exported(t testing.TB) (gear, sessions []byte) {
	t.Helper()
	var g, s bytes.Buffer
	if err := exportGear(context.Background(), m, &g); err != nil {
		t.Fatal(err)
	}
	if err := exportSessions(context.Background(), m, &s); err != nil {
		t.Fatal(err)
	}
	return g.Bytes(), s.Bytes()
}
