package simulate

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"strconv"
	"testing"

	"centwise/catalog"
)

func table(t *testing.T, data []byte) (header map[string]int, rows [][]string) {
	t.Helper()
	all, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	header = map[string]int{}
	for i, name := range all[0] {
		header[name] = i
	}
	return header, all[1:]
}

func TestSessionsCSV(t *testing.T) {
	w := Generate(Harder, Small, 1)
	var out bytes.Buffer
	if err := WriteSessionsCSV(&out, w); err != nil {
		t.Fatal(err)
	}
	column, rows := table(t, out.Bytes())
	if len(rows) != w.Readings() {
		t.Fatalf("%d rows for %d readings", len(rows), w.Readings())
	}
	at := 0
	for _, s := range w.Sessions {
		for _, r := range s.Readings {
			row := rows[at]
			at++
			cents, err := strconv.ParseFloat(row[column["cents"]], 64)
			slot := row[column["fingering"]] + "/" + row[column["partial"]]
			if err != nil || math.Abs(cents-r.Cents) > 1e-9 || slot != Slots[r.Slot].String() ||
				row[column["session"]] != s.Name || row[column["horn"]] != w.Horns[s.Horn].Label ||
				row[column["mouthpiece"]] != w.Mouthpieces[s.Mouthpiece].Label || row[column["player"]] != w.Players[s.Player].Label ||
				row[column["contributor"]] != w.Contributors[s.Contributor].Label || row[column["repeat"]] != strconv.Itoa(r.Repeat) {
				t.Fatalf("row %d is %v, want session %+v", at, row, s.Name)
			}
		}
	}
}

func TestGearCSV(t *testing.T) {
	w := Generate(Harder, Small, 1)
	var out bytes.Buffer
	if err := WriteGearCSV(&out, w); err != nil {
		t.Fatal(err)
	}
	column, rows := table(t, out.Bytes())
	if want := len(w.Horns) + len(w.Mouthpieces) + len(w.Players); len(rows) != want {
		t.Fatalf("%d rows, want %d", len(rows), want)
	}
	for i, m := range w.Mouthpieces {
		row := rows[len(w.Horns)+i]
		rim := ""
		if m.Known {
			rim = number(m.Dimensions.RimMM)
		}
		if row[column["kind"]] != "mouthpiece" || row[column["label"]] != m.Label || row[column["model"]] != m.Model || row[column["rim_mm"]] != rim {
			t.Errorf("row %v, want %s of %s %s with rim %q", row, m.Label, m.Maker, m.Model, rim)
		}
	}
}

// full is a writer with no room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }

func TestWriteErrorsAreReported(t *testing.T) {
	w := Generate(Plain, Small, 1)
	if err := WriteSessionsCSV(full{}, w); err == nil {
		t.Error("a full disk went unnoticed")
	}
	if err := WriteGearCSV(full{}, w); err == nil {
		t.Error("a full disk went unnoticed")
	}
}

func TestChangesAreWhole(t *testing.T) {
	w := Generate(Harder, Small, 2)
	known, sessions, readings := map[catalog.ID]bool{}, 0, 0
	take := func(id catalog.ID) {
		if len(id) != 26 || known[id] {
			t.Fatalf("id %q is malformed or used twice", id)
		}
		known[id] = true
	}
	for c := range w.Changes(100) {
		if err := c.Validate(); err != nil {
			t.Fatalf("the catalog would refuse the changes: %v", err)
		}
		for _, h := range c.Horns {
			take(h.ID)
		}
		for _, m := range c.Mouthpieces {
			take(m.ID)
		}
		for _, p := range c.Players {
			take(p.ID)
		}
		if len(c.Sessions) > 100 {
			t.Fatalf("a batch of %d sessions, want at most 100", len(c.Sessions))
		}
		for _, s := range c.Sessions {
			if !known[s.Horn] || !known[s.Mouthpiece] || !known[s.Player] {
				t.Fatalf("session %s refers to gear that does not come before it", s.Name)
			}
			take(s.ID)
			sessions++
			readings += len(s.Readings)
		}
	}
	if sessions != len(w.Sessions) || readings != w.Readings() {
		t.Errorf("%d sessions and %d readings, want %d and %d", sessions, readings, len(w.Sessions), w.Readings())
	}
}

func TestMeasurementsMatchSessions(t *testing.T) {
	w := Generate(Plain, Small, 2)
	i := 0
	for m, err := range w.Measurements() {
		s := w.Sessions[i]
		if err != nil || m.Name != s.Name || m.Horn != w.HornID(s.Horn) || len(m.Readings) != len(s.Readings) {
			t.Fatalf("measurement %d is %s with %d readings (%v), want %s with %d", i, m.Name, len(m.Readings), err, s.Name, len(s.Readings))
		}
		for k, r := range s.Readings {
			if m.Readings[k].Slot != Slots[r.Slot] || m.Readings[k].Cents != r.Cents {
				t.Fatalf("reading %d of %s is %+v, want %+v", k, s.Name, m.Readings[k], r)
			}
		}
		i++
	}
	if i != len(w.Sessions) {
		t.Errorf("%d measurements, want %d", i, len(w.Sessions))
	}
}
