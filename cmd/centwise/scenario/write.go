package scenario

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"
)

// WriteGear writes horns, mouthpieces and players as a gear list.
func (s *Scenario) WriteGear(out io.Writer) error {
	t := newSheet(out, "kind", "label", "maker", "model", "serial", "key", "instrument", "receiver", "shank", "bore_mm", "rim_mm", "cup_cm3",
		"throat_mm", "throat_length_mm", "backbore_mm", "length_mm", "throw1_mm", "throw3_mm", "loaner", "stock", "tags", "level")
	for _, h := range s.horns {
		loaner := "no"
		if h.loaner {
			loaner = "yes"
		}
		t.row(map[string]string{"kind": "horn", "label": h.label, "maker": h.maker, "model": h.model, "serial": h.serial,
			"key": string(h.key), "instrument": string(h.instrument), "receiver": string(h.receiver), "bore_mm": figure(h.boreMM),
			"throw1_mm": figure(h.throw1MM), "throw3_mm": figure(h.throw3MM), "loaner": loaner, "tags": h.tags})
	}
	for _, m := range s.mouthpieces {
		t.row(map[string]string{"kind": "mouthpiece", "label": m.label, "maker": m.maker, "model": m.model, "serial": m.serial,
			"shank": string(m.shank), "rim_mm": figure(m.rimMM), "cup_cm3": figure(m.cupCM3), "throat_mm": figure(m.throatMM),
			"throat_length_mm": figure(m.throatLengthMM), "backbore_mm": figure(m.backboreMM), "length_mm": figure(m.lengthMM),
			"stock": m.stock})
	}
	for _, p := range s.players {
		t.row(map[string]string{"kind": "player", "label": p.label, "level": p.level})
	}
	return t.end("gear list")
}

// WriteSessions writes every reading as a session sheet, one row a reading.
func (s *Scenario) WriteSessions(out io.Writer) error {
	t := newSheet(out, "session", "date", "contributor", "player", "horn", "mouthpiece", "a4_hz", "temperature_c", "slide_mm", "method",
		"note", "repeat", "cents")
	for _, sit := range s.sessions {
		for _, r := range sit.readings {
			t.row(map[string]string{"session": sit.name, "date": sit.date.Format(time.DateOnly), "contributor": s.players[sit.player].writesDown,
				"player": s.players[sit.player].label, "horn": s.horns[sit.horn].label, "mouthpiece": s.mouthpieces[sit.mouthpiece].label,
				"a4_hz": "440", "temperature_c": figure(sit.temperatureC), "slide_mm": strconv.FormatFloat(sit.slideMM, 'f', -1, 64), "method": "tuner",
				"note": notes[r.note].Note().String(), "repeat": strconv.Itoa(r.repeat), "cents": strconv.FormatFloat(r.cents, 'f', -1, 64)})
		}
	}
	return t.end("sessions")
}

// sheet writes rows by column name.
type sheet struct {
	out     *csv.Writer
	columns []string
}

func newSheet(out io.Writer, columns ...string) *sheet {
	t := &sheet{csv.NewWriter(out), columns}
	t.out.Write(columns)
	return t
}

func (t *sheet) row(values map[string]string) {
	row := make([]string, len(t.columns))
	for i, name := range t.columns {
		row[i] = values[name]
	}
	t.out.Write(row)
}

func (t *sheet) end(what string) error {
	t.out.Flush()
	if err := t.out.Error(); err != nil {
		return fmt.Errorf("writing the %s of the invented scenario: %w", what, err)
	}
	return nil
}

// figure writes a quantity, nothing for 0: not known.
func figure(x float64) string {
	if x == 0 {
		return ""
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}
