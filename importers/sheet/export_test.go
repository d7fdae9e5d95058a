package sheet

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

func TestExportSessions(t *testing.T) {
	m := bay(t)
	m.mustLoad(t, Options{}, `session,player,horn,mouthpiece,fingering,partial,cents,repeat,date,a4_hz,temperature_c,slide_mm,gap_mm,dynamic,method,remark,contributor
=visit,reed-otter,Alder,Plover 16.2,13,3,-3.5,2,2025-03-01,442,21.5,0,3.2,mf,recording,"-cold, ""late""",lamp-keeper
=visit,,,,0,2,4,,,,,,,,,,
`)
	_, sessions := m.exported(t)
	want := `session,contributor,player,horn,mouthpiece,note,fingering,partial,repeat,cents,date,a4_hz,temperature_c,slide_mm,gap_mm,dynamic,method,adapter,remark
'=visit,lamp-keeper,reed-otter,Alder,Plover 16.2,C4,0,2,1,4,2025-03-01,442,21.5,0,3.2,mf,recording,no,"'-cold, ""late"""
'=visit,lamp-keeper,reed-otter,Alder,Plover 16.2,D4,13,3,2,-3.5,2025-03-01,442,21.5,0,3.2,mf,recording,no,"'-cold, ""late"""
`
	if got := string(sessions); got != want {
		t.Errorf("exported\n%s, want\n%s", got, want)
	}
	if s := m.session(t, "=visit"); s.Remark != `-cold, "late"` {
		t.Errorf("remark %q", s.Remark)
	}
}

// No cell of what is exported begins like a formula, numbers apart.
func TestExportIsHarmless(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		for _, sheet := range anyCatalog(t).sheets(t) {
			rows, err := csv.NewReader(strings.NewReader(sheet)).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			for _, row := range rows {
				for i, cell := range row {
					_, err := strconv.ParseFloat(cell, 64)
					if isNumber := err == nil && slices.Contains([]string{"cents", "temperature_c"}, rows[0][i]); cell != "" && strings.IndexByte("=+-@", cell[0]) >= 0 && !isNumber {
						t.Fatalf("the cell %q of %s may run as a formula", cell, rows[0][i])
					}
				}
			}
		}
	})
}

// What is exported is imported as it was.
func TestExportImportRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := anyCatalog(t)
		sheets := m.sheets(t)
		again := &memory{}
		r, err := again.load(Options{KeepOdd: true}, text("sessions.csv", sheets[1]), text("gear.csv", sheets[0]))
		if err != nil {
			// A catalog may be empty, a sheet may not.
			if len(m.sessions) == 0 {
				r, err = again.load(Options{}, text("gear.csv", sheets[0]))
			}
			if err != nil {
				t.Fatalf("%v\n%s\n%s", err, sheets[0], sheets[1])
			}
		}
		if got, want := again.digest(), m.digest(); got != want {
			t.Fatalf("imported\n%+v, exported\n%+v\n%s\n%s", *again, *m, sheets[0], sheets[1])
		}
		if r.Sessions != len(m.sessions) || len(r.Horns) != len(m.horns) {
			t.Fatalf("report %+v", *r)
		}
		// Once more changes nothing.
		if len(m.sessions) > 0 {
			r, err := again.load(Options{KeepOdd: true}, text("sessions.csv", sheets[1]), text("gear.csv", sheets[0]))
			if err != nil || r.Unchanged != len(m.sessions) || r.GearUnchanged != len(m.horns)+len(m.mouthpieces)+len(m.players) {
				t.Fatalf("again: %+v, %v", r, err)
			}
		}
	})
}

func (m *memory) sheets(t *rapid.T) [2]string {
	var g, s bytes.Buffer
	if err := errors.Join(exportGear(context.Background(), m, &g), exportSessions(context.Background(), m, &s)); err != nil {
		t.Fatal(err)
	}
	return [2]string{g.String(), s.String()}
}

// digest is that of everything in the catalog, whatever the order and the ids.
func (m *memory) digest() (sum catalog.Digest) {
	for _, h := range m.horns {
		sum = sum.Plus(h.Digest())
	}
	for _, x := range m.mouthpieces {
		sum = sum.Plus(x.Digest())
	}
	for _, p := range m.players {
		sum = sum.Plus(p.Digest())
	}
	all, _ := m.Sessions(context.Background(), catalog.SessionFilter{})
	for i, s := range all {
		sum = sum.Plus(catalog.SessionDigest(m.sessions[i].Content(), s.HornLabel, s.MouthpieceLabel, s.PlayerLabel))
	}
	return sum
}

// anyWord is what people, and nobody in their right mind, may use for a label.
var anyWord = rapid.OneOf(
	rapid.StringMatching(`[=+\-@'",;\\|#/.a-c0-3♯é漢]{1,6}( [a-c,"'=]{1,3})?`),
	rapid.SampledFrom([]string{"Alder", "Plover 16.2", "-3.5", "=SUM(A1)", "'", "''", "yes", "NaN", "C4", "session", "01"}),
)

func labels(t *rapid.T, name string) []string {
	return rapid.SliceOfNDistinct(anyWord, 1, 4, catalog.Fold).Draw(t, name)
}

func optionalWord(t *rapid.T, name string) string {
	return rapid.OneOf(rapid.Just(""), anyWord).Draw(t, name)
}

func optionalNumber(t *rapid.T, name string, low, high float64) float64 {
	return rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(low, high)).Draw(t, name)
}

// anyCatalog draws a catalog with records of every sort.
func anyCatalog(t *rapid.T) *memory {
	var c catalog.Changes
	for _, label := range labels(t, "horns") {
		c.Horns = append(c.Horns, catalog.Horn{ID: catalog.NewID(), Revision: catalog.Revision{Number: 1, Retired: rapid.Bool().Draw(t, "retired")},
			Label: label, Maker: optionalWord(t, "maker"), Model: optionalWord(t, "model"), Serial: optionalWord(t, "serial"),
			Instrument: rapid.SampledFrom(catalog.Instruments).Draw(t, "instrument"), Key: rapid.SampledFrom(pitch.Keys).Draw(t, "key"),
			Valves: rapid.IntRange(3, 4).Draw(t, "valves"), Receiver: rapid.SampledFrom(catalog.Shanks).Draw(t, "receiver"),
			BoreMM: optionalNumber(t, "bore", 8, 16), Throw1MM: optionalNumber(t, "throw1", 0, 80), Loaner: rapid.Bool().Draw(t, "loaner"),
			Owner: optionalWord(t, "owner"), Tags: rapid.SliceOfN(anyWord, 0, 3).Draw(t, "tags")})
	}
	for _, label := range labels(t, "mouthpieces") {
		c.Mouthpieces = append(c.Mouthpieces, catalog.Mouthpiece{ID: catalog.NewID(), Label: label, Maker: optionalWord(t, "maker"),
			Shank: rapid.SampledFrom(catalog.Shanks).Draw(t, "shank"), RimMM: optionalNumber(t, "rim", 12, 22), CupCM3: optionalNumber(t, "cup", 0.3, 8),
			BackboreCharacter: optionalWord(t, "character"), Stock: rapid.SliceOfN(anyWord, 0, 3).Draw(t, "stock")})
	}
	for _, label := range labels(t, "players") {
		c.Players = append(c.Players, catalog.Player{ID: catalog.NewID(), Label: label, Level: optionalWord(t, "level"),
			ToleranceCents: optionalNumber(t, "tolerance", 0.1, 100), RangeHigh: rapid.SampledFrom([]pitch.Note{0, 84, 91}).Draw(t, "high"),
			Weights: optionalWeights(t)})
	}
	for _, name := range labels(t, "sessions") {
		c.Sessions = append(c.Sessions, anySession(t, c, name))
	}
	c = c.Normalized(time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC))
	m := &memory{}
	if err := m.apply(c); err != nil {
		t.Fatal(err)
	}
	return m
}

func optionalWeights(t *rapid.T) catalog.Weights {
	w := catalog.Weights{}
	for n := range rapid.IntRange(0, 5).Draw(t, "weighted") {
		w[pitch.RangeLow+pitch.Note(7*n)] = rapid.SampledFrom([]float64{1, 0, 0.1, 12.5, 1e-6, 1e9, 2. / 3}).Draw(t, "weight")
	}
	if w.Validate() != nil {
		return nil
	}
	return w
}

func anySession(t *rapid.T, c catalog.Changes, name string) catalog.Session {
	h := rapid.SampledFrom(c.Horns).Draw(t, "horn")
	m := rapid.SampledFrom(c.Mouthpieces).Draw(t, "mouthpiece")
	s := catalog.Session{ID: catalog.NewID(), Name: name, Horn: h.ID, Mouthpiece: m.ID, Contributor: optionalWord(t, "contributor"),
		A4Hz: optionalNumber(t, "a4", 380, 500), Dynamic: optionalWord(t, "dynamic"), Adapter: h.Receiver != m.Shank,
		Method: rapid.SampledFrom(catalog.Methods).Draw(t, "method"), Remark: strings.TrimSpace(optionalWord(t, "remark") + "\n" + optionalWord(t, "more"))}
	if s.Method != catalog.MethodImpedance {
		s.Player = rapid.SampledFrom(c.Players).Draw(t, "player").ID
	}
	if rapid.Bool().Draw(t, "dated") {
		s.At = time.UnixMilli(rapid.Int64Range(0, 2e12).Draw(t, "at")).UTC()
	}
	for _, x := range []**float64{&s.TemperatureC, &s.SlideMM, &s.GapMM} {
		if v := rapid.Float64Range(0, 30).Draw(t, "measure"); v > 3 {
			*x = &v
		}
	}
	for i := range rapid.IntRange(1, 6).Draw(t, "readings") {
		cents := rapid.OneOf(rapid.Float64Range(-150, 150), rapid.SampledFrom([]float64{0, -0.1, 1e-9, 1.0 / 3, 150, -150.5, 9000})).Draw(t, "cents")
		s.Readings = append(s.Readings, catalog.Reading{
			Slot:   pitch.Slot{Valves: pitch.Valves(rapid.IntRange(0, 1<<h.Valves-1).Draw(t, "valves")), Partial: rapid.IntRange(1, pitch.MaxPartial).Draw(t, "partial")},
			Repeat: i + 1, Cents: cents, Odd: odd(cents)})
	}
	return s
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestExportFails(t *testing.T) {
	m := bay(t)
	m.mustLoad(t, Options{}, head+"a,reed-otter,Alder,Plover 16.2,C4,1\n")
	for _, err := range []error{exportGear(context.Background(), m, fullDisk{}), exportSessions(context.Background(), m, fullDisk{})} {
		if catalog.KindOf(err) != catalog.Unavailable || !strings.Contains(err.Error(), "no space left") {
			t.Errorf("error %v", err)
		}
	}
}
