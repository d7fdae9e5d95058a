package simulate

import (
	"encoding/csv"
	"fmt"
	"io"
	"iter"
	"math"
	"strconv"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"github.com/oklog/ulid/v2"
)

// WriteSessionsCSV writes every reading in the long form that import takes.
func WriteSessionsCSV(out io.Writer, w *World) error {
	c := csv.NewWriter(out)
	c.Write([]string{"session", "contributor", "player", "horn", "mouthpiece", "fingering", "partial", "repeat", "cents"})
	for _, s := range w.Sessions {
		for _, r := range s.Readings {
			slot := Slots[r.Slot]
			c.Write([]string{s.Name, w.Contributors[s.Contributor].Label, w.Players[s.Player].Label,
				w.Horns[s.Horn].Label, w.Mouthpieces[s.Mouthpiece].Label, slot.Valves.String(),
				strconv.Itoa(slot.Partial), strconv.Itoa(r.Repeat), number(r.Cents)})
		}
	}
	c.Flush()
	return wrapWrite("sessions", c.Error())
}

// WriteGearCSV writes horns, mouthpieces (with what is known of them) and
// players as a gear list that import takes.
func WriteGearCSV(out io.Writer, w *World) error {
	c := csv.NewWriter(out)
	c.Write([]string{"kind", "label", "maker", "model", "key", "instrument", "receiver", "shank",
		"rim_mm", "cup_cm3", "throat_mm", "throat_length_mm", "backbore_mm", "length_mm"})
	for _, h := range w.Horns {
		c.Write([]string{"horn", h.Label, h.Maker, h.Model, string(pitch.KeyBb), string(catalog.Trumpet), string(catalog.ShankTrumpet), "", "", "", "", "", "", ""})
	}
	for _, m := range w.Mouthpieces {
		d := m.known()
		c.Write([]string{"mouthpiece", m.Label, m.Maker, m.Model, "", "", "", string(catalog.ShankTrumpet),
			number(d.RimMM), number(d.CupCM3), number(d.ThroatMM), number(d.ThroatLengthMM), number(d.BackboreMM), number(d.LengthMM)})
	}
	for _, p := range w.Players {
		c.Write([]string{"player", p.Label, "", "", "", "", "", "", "", "", "", "", "", ""})
	}
	c.Flush()
	return wrapWrite("gear list", c.Error())
}

func wrapWrite(what string, err error) error {
	if err != nil {
		return fmt.Errorf("writing the %s of the simulated catalog: %w", what, err)
	}
	return nil
}

// number writes x to two decimals at most; 0 stays "0" for cents and is left
// empty by known for dimensions.
func number(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64)
}

// known is the dimensions the catalog knows, NaN where it does not.
func (i Item) known() Dimensions {
	if i.Known && i.Dimensions != nil {
		return *i.Dimensions
	}
	n := math.NaN()
	return Dimensions{n, n, n, n, n, n}
}

// made is when simulated records say they were made.
var made = time.Date(2025, time.January, 1, 0, 0, 0, 0, time.UTC)

// id is the identifier of the number-th record of a kind in w: the same for the
// same world, and different between worlds.
func (w *World) id(kind byte, number int) catalog.ID {
	var u ulid.ULID
	u.SetTime(ulid.Timestamp(made))
	h := mix(w.Seed ^ mix(uint64(kind)<<32|uint64(number)))
	entropy := make([]byte, 10)
	for i := range entropy {
		if i == 8 {
			h = mix(h)
		}
		entropy[i] = byte(h >> (8 * (i % 8)))
	}
	u.SetEntropy(entropy)
	return catalog.ID(u.String())
}

// HornID, MouthpieceID, PlayerID and SessionID are the ids used by [World.Changes]
// and [World.Measurements].
func (w *World) HornID(i int) catalog.ID       { return w.id('h', i) }
func (w *World) MouthpieceID(i int) catalog.ID { return w.id('m', i) }
func (w *World) PlayerID(i int) catalog.ID     { return w.id('p', i) }
func (w *World) SessionID(i int) catalog.ID    { return w.id('s', i) }

// CatalogHorns gives the horns as catalog records.
func (w *World) CatalogHorns() []catalog.Horn {
	var out []catalog.Horn
	for i, h := range w.Horns {
		out = append(out, catalog.Horn{ID: w.HornID(i), Revision: revision(), Label: h.Label, Maker: h.Maker, Model: h.Model,
			Instrument: catalog.Trumpet, Key: pitch.KeyBb, Valves: 3, Receiver: catalog.ShankTrumpet})
	}
	return out
}

// CatalogMouthpieces gives the mouthpieces as catalog records, with the
// dimensions that are known.
func (w *World) CatalogMouthpieces() []catalog.Mouthpiece {
	var out []catalog.Mouthpiece
	for i, m := range w.Mouthpieces {
		record := catalog.Mouthpiece{ID: w.MouthpieceID(i), Revision: revision(), Label: m.Label, Maker: m.Maker, Model: m.Model, Shank: catalog.ShankTrumpet}
		if m.Known && m.Dimensions != nil {
			d := m.Dimensions
			record.RimMM, record.CupCM3, record.ThroatMM = d.RimMM, d.CupCM3, d.ThroatMM
			record.ThroatLengthMM, record.BackboreMM, record.LengthMM = d.ThroatLengthMM, d.BackboreMM, d.LengthMM
		}
		out = append(out, record)
	}
	return out
}

func revision() catalog.Revision { return catalog.Revision{Number: 1, At: made} }

// CatalogPlayers gives the players as catalog records.
func (w *World) CatalogPlayers() []catalog.Player {
	var out []catalog.Player
	for i, p := range w.Players {
		out = append(out, catalog.Player{ID: w.PlayerID(i), Revision: revision(), Label: p.Label})
	}
	return out
}

// Changes gives the world as changes to a store: the gear first, then the
// sessions in batches of at most batch, each to be applied in turn.
func (w *World) Changes(batch int) iter.Seq[catalog.Changes] {
	return func(yield func(catalog.Changes) bool) {
		gear := catalog.Changes{Horns: w.CatalogHorns(), Mouthpieces: w.CatalogMouthpieces(), Players: w.CatalogPlayers()}
		if !yield(gear) {
			return
		}
		for first := 0; first < len(w.Sessions); first += batch {
			var c catalog.Changes
			for i := first; i < min(first+batch, len(w.Sessions)); i++ {
				c.Sessions = append(c.Sessions, w.catalogSession(i))
			}
			if !yield(c) {
				return
			}
		}
	}
}

func (w *World) catalogSession(i int) catalog.Session {
	s := w.Sessions[i]
	out := catalog.Session{ID: w.SessionID(i), Name: s.Name, Horn: w.HornID(s.Horn), Mouthpiece: w.MouthpieceID(s.Mouthpiece),
		Player: w.PlayerID(s.Player), Contributor: w.Contributors[s.Contributor].Label, Recorded: made.Add(time.Duration(i) * time.Second),
		A4Hz: catalog.DefaultA4Hz, Method: catalog.MethodTuner}
	for _, r := range s.Readings {
		out.Readings = append(out.Readings, catalog.Reading{Slot: Slots[r.Slot], Repeat: r.Repeat, Cents: r.Cents})
	}
	return out
}

// Measurements streams the sessions as a store would. The Readings of a yielded
// value are only valid until the next one.
func (w *World) Measurements() iter.Seq2[catalog.Measured, error] {
	return func(yield func(catalog.Measured, error) bool) {
		var readings []catalog.MeasuredReading
		for i, s := range w.Sessions {
			readings = readings[:0]
			for _, r := range s.Readings {
				readings = append(readings, catalog.MeasuredReading{Slot: Slots[r.Slot], Cents: r.Cents})
			}
			m := catalog.Measured{Sequence: int64(i + 1), ID: w.SessionID(i), Name: s.Name, Horn: w.HornID(s.Horn), Mouthpiece: w.MouthpieceID(s.Mouthpiece),
				Player: w.PlayerID(s.Player), Contributor: w.Contributors[s.Contributor].Label, Method: catalog.MethodTuner, Readings: readings}
			if !yield(m, nil) {
				return
			}
		}
	}
}
