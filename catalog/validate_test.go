package catalog_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

func goodHorn() catalog.Horn {
	h := catalog.Horn{Label: "Alder", BoreMM: 11.68, Throw1MM: 18, Throw3MM: 25}
	h.Normalize()
	return h
}

func goodMouthpiece() catalog.Mouthpiece {
	m := catalog.Mouthpiece{Label: "Plover 16.2", RimMM: 16.2, CupCM3: 1.25, CupDepthMM: 11.5, ThroatMM: 3.66,
		ThroatLengthMM: 9, BackboreMM: 9.1, LengthMM: 88}
	m.Normalize()
	return m
}

func goodPlayer() catalog.Player {
	p := catalog.Player{Label: "reed-otter", RimMinMM: 16, RimMaxMM: 16.8, ToleranceCents: 8, RangeLow: pitch.RangeLow, RangeHigh: pitch.RangeHigh}
	p.Normalize()
	return p
}

func goodSession() catalog.Session {
	s := catalog.Session{Name: "spring visit", Horn: catalog.NewID(), Mouthpiece: catalog.NewID(), Player: catalog.NewID(),
		Readings: []catalog.Reading{
			{Slot: pitch.Slot{Partial: 2}, Repeat: 1, Cents: -3},
			{Slot: pitch.Slot{Partial: 3}, Repeat: 1, Cents: 150},
		}}
	s.Normalize()
	return s
}

func TestGoodRecordsAreValid(t *testing.T) {
	for _, err := range []error{goodHorn().Validate(), goodMouthpiece().Validate(), goodPlayer().Validate(), goodSession().Validate(), catalog.Changes{}.Validate()} {
		if err != nil {
			t.Error(err)
		}
	}
}

// wantProblem expects one problem, of the field, that says all the words.
func wantProblem(t *testing.T, err error, field string, words ...string) {
	t.Helper()
	ps := catalog.ProblemsOf(err)
	if len(ps) != 1 || ps[0].Field != field || ps[0].Hint == "" || catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("%s %v: got %+v", field, words, ps)
		return
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("%q does not say %q", err, w)
		}
	}
}

func TestHornRules(t *testing.T) {
	for _, tc := range []struct {
		field  string
		words  string // separated by |
		change func(*catalog.Horn)
	}{
		{"label", "empty", func(h *catalog.Horn) { h.Label = "" }},
		{"label", "normal form", func(h *catalog.Horn) { h.Label = " Alder" }},
		{"label", "normal form", func(h *catalog.Horn) { h.Label = "Alder  2" }},
		{"label", "normal form", func(h *catalog.Horn) { h.Label = "E\u0301b" }},
		{"label", "U+0007|byte 3", func(h *catalog.Horn) { h.Label = "al\ader" }},
		{"label", "U+000A", func(h *catalog.Horn) { h.Label = "al\nder" }},
		{"label", "U+202E", func(h *catalog.Horn) { h.Label = "al\u202eder" }},
		{"label", "U+200B", func(h *catalog.Horn) { h.Label = "al\u200bder" }},
		{"label", "UTF-8", func(h *catalog.Horn) { h.Label = "al\xffder" }},
		{"label", "101 characters|100", func(h *catalog.Horn) { h.Label = strings.Repeat("é", 101) }},
		{"label", "id", func(h *catalog.Horn) { h.Label = "01arz3ndektsv4rrffq69g5fav" }},
		{"maker", "normal form", func(h *catalog.Horn) { h.Maker = "Tidewright " }},
		{"instrument", "tuba|trumpet, cornet", func(h *catalog.Horn) { h.Instrument = "tuba" }},
		{"instrument", "empty", func(h *catalog.Horn) { h.Instrument = "" }},
		{"key", "H|Bb, C", func(h *catalog.Horn) { h.Key = "H" }},
		{"valves", "2|3 or 4", func(h *catalog.Horn) { h.Valves = 2 }},
		{"receiver", "horn", func(h *catalog.Horn) { h.Receiver = "horn" }},
		{"bore_mm", "0.459|8..16 mm|inches|11.66 mm", func(h *catalog.Horn) { h.BoreMM = 0.459 }},
		{"bore_mm", "1.168|centimetres|11.68 mm", func(h *catalog.Horn) { h.BoreMM = 1.168 }},
		{"bore_mm", "1168", func(h *catalog.Horn) { h.BoreMM = 1168 }},
		{"bore_mm", "not a number", func(h *catalog.Horn) { h.BoreMM = math.NaN() }},
		{"bore_mm", "not a number", func(h *catalog.Horn) { h.BoreMM = math.Inf(-1) }},
		{"throw1_mm", "-3|0..80", func(h *catalog.Horn) { h.Throw1MM = -3 }},
		{"throw3_mm", "81", func(h *catalog.Horn) { h.Throw3MM = 81 }},
		{"tags", "empty", func(h *catalog.Horn) { h.Tags = []string{""} }},
		{"tags", "twice", func(h *catalog.Horn) { h.Tags = []string{"a", "a"} }},
		{"tags", "51", func(h *catalog.Horn) { h.Tags = make([]string, 51) }},
		{"bore_geometry", "bytes", func(h *catalog.Horn) { h.BoreGeometry = strings.Repeat("x", 1<<20+1) }},
		{"id", "ULID", func(h *catalog.Horn) { h.ID = "seven" }},
		{"id", "ULID", func(h *catalog.Horn) { h.ID = "01arz3ndektsv4rrffq69g5fav" }}, // small letters
		{"revision", "0", func(h *catalog.Horn) { h.Number = 0 }},
		{"revised", "year 20260", func(h *catalog.Horn) { h.At = time.Date(20260, 1, 1, 0, 0, 0, 0, time.UTC) }},
	} {
		h := goodHorn()
		tc.change(&h)
		wantProblem(t, h.Validate(), tc.field, strings.Split(tc.words, "|")...)
	}
}

func TestMouthpieceRules(t *testing.T) {
	for _, tc := range []struct {
		field  string
		words  string
		change func(*catalog.Mouthpiece)
	}{
		{"shank", "bass", func(m *catalog.Mouthpiece) { m.Shank = "bass" }},
		{"rim_mm", "0.65|inches|16.51 mm", func(m *catalog.Mouthpiece) { m.RimMM = 0.65 }},
		{"rim_mm", "1.62|centimetres|16.2 mm", func(m *catalog.Mouthpiece) { m.RimMM = 1.62 }},
		{"rim_mm", "-16.2", func(m *catalog.Mouthpiece) { m.RimMM = -16.2 }},
		{"cup_cm3", "1250|cubic millimetres|1.25 cm3", func(m *catalog.Mouthpiece) { m.CupCM3 = 1250 }},
		{"cup_cm3", "0.0763|cubic inches|1.25 cm3", func(m *catalog.Mouthpiece) { m.CupCM3 = 0.0763 }},
		{"cup_depth_mm", "0.45|inches|11.43 mm", func(m *catalog.Mouthpiece) { m.CupDepthMM = 0.45 }},
		{"throat_mm", "27|drill numbers", func(m *catalog.Mouthpiece) { m.ThroatMM = 27 }},
		// Drill number 27 is 0.1440 in, ASME B94.11M "Twist Drills" (from memory).
		{"throat_mm", "0.144|inches|3.658 mm", func(m *catalog.Mouthpiece) { m.ThroatMM = 0.144 }},
		{"throat_length_mm", "60", func(m *catalog.Mouthpiece) { m.ThroatLengthMM = 60 }},
		{"backbore_mm", "0.36|inches|9.144 mm", func(m *catalog.Mouthpiece) { m.BackboreMM = 0.36 }},
		{"length_mm", "8.8|centimetres|88 mm", func(m *catalog.Mouthpiece) { m.LengthMM = 8.8 }},
		{"length_mm", "3.46|inches|87.88 mm", func(m *catalog.Mouthpiece) { m.LengthMM = 3.46 }},
		{"stock", "twice", func(m *catalog.Mouthpiece) { m.Stock = []string{"a", "a"} }},
	} {
		m := goodMouthpiece()
		tc.change(&m)
		wantProblem(t, m.Validate(), tc.field, strings.Split(tc.words, "|")...)
	}
}

func TestPlayerRules(t *testing.T) {
	for _, tc := range []struct {
		field  string
		words  string
		change func(*catalog.Player)
	}{
		{"rim_min_mm", "17|rim_max_mm|16.8|exchange", func(p *catalog.Player) { p.RimMinMM = 17 }},
		{"rim_max_mm", "0.66|inches", func(p *catalog.Player) { p.RimMaxMM = 0.66 }},
		{"cup_min_cm3", "1200", func(p *catalog.Player) { p.CupMinCM3 = 1200 }},
		{"tolerance_cents", "-1", func(p *catalog.Player) { p.ToleranceCents = -1 }},
		{"range_low", "D6|C6|exchange", func(p *catalog.Player) { p.RangeLow = pitch.RangeHigh + 2 }},
		{"range_high", "no fingering", func(p *catalog.Player) { p.RangeHigh = 120 }},
	} {
		p := goodPlayer()
		tc.change(&p)
		wantProblem(t, p.Validate(), tc.field, strings.Split(tc.words, "|")...)
	}
}

func TestSessionRules(t *testing.T) {
	at := func(x float64) *float64 { return &x }
	for _, tc := range []struct {
		field  string
		words  string
		change func(*catalog.Session)
	}{
		{"session", "empty", func(s *catalog.Session) { s.Name = "" }},
		{"horn", "missing", func(s *catalog.Session) { s.Horn = "" }},
		{"mouthpiece", "ULID", func(s *catalog.Session) { s.Mouthpiece = "Plover" }},
		{"player", "missing", func(s *catalog.Session) { s.Player = "" }},
		{"a4_hz", "44|380..500 Hz", func(s *catalog.Session) { s.A4Hz = 44 }},
		{"a4_hz", "not a number", func(s *catalog.Session) { s.A4Hz = math.NaN() }},
		{"temperature_c", "68|Fahrenheit|20 degrees C", func(s *catalog.Session) { s.TemperatureC = at(68) }},
		{"temperature_c", "-40", func(s *catalog.Session) { s.TemperatureC = at(-40) }},
		{"slide_mm", "-1", func(s *catalog.Session) { s.SlideMM = at(-1) }},
		{"gap_mm", "not a number", func(s *catalog.Session) { s.GapMM = at(math.Inf(1)) }},
		{"method", "ear|tuner, recording", func(s *catalog.Session) { s.Method = "ear" }},
		{"remark", "U+0000", func(s *catalog.Session) { s.Remark = "a\x00b" }},
		{"remark", "4001", func(s *catalog.Session) { s.Remark = strings.Repeat("x", 4001) }},
		{"readings", "missing", func(s *catalog.Session) { s.Readings = nil }},
		{"cents", "C4|valves 0, partial 2|NaN|", func(s *catalog.Session) { s.Readings[0].Cents = math.NaN() }},
		{"cents", "C4|-150.5|-150..150", func(s *catalog.Session) { s.Readings[0].Cents = -150.5 }},
		{"cents", "G4|20000", func(s *catalog.Session) { s.Readings[1].Cents, s.Readings[1].Odd = 20000, true }},
		{"cents", "not a number", func(s *catalog.Session) { s.Readings[1].Cents, s.Readings[1].Odd = math.Inf(1), true }},
		{"partial", "valves 0 partial 13|1 to 12", func(s *catalog.Session) { s.Readings[0].Slot.Partial = 13 }},
		{"partial", "valves 16", func(s *catalog.Session) { s.Readings[0].Slot.Valves = 16 }},
		{"repeat", "-1", func(s *catalog.Session) { s.Readings[0].Repeat = -1 }},
		{"repeat", "C4|twice", func(s *catalog.Session) { s.Readings[1].Slot = s.Readings[0].Slot }},
		{"date", "year 1026", func(s *catalog.Session) { s.At = time.Date(1026, 1, 1, 0, 0, 0, 0, time.UTC) }},
		{"replaced_by", "ULID", func(s *catalog.Session) { s.Retraction = &catalog.Retraction{ReplacedBy: "x"} }},
	} {
		s := goodSession()
		tc.change(&s)
		words := strings.Split(tc.words, "|")
		if words[len(words)-1] == "" {
			words = words[:2]
		}
		wantProblem(t, s.Validate(), tc.field, words...)
	}
	for _, change := range []func(*catalog.Session){
		func(s *catalog.Session) { s.Readings[0].Cents, s.Readings[0].Odd = 700, true },
		func(s *catalog.Session) { s.Player, s.Method = "", catalog.MethodImpedance },
		func(s *catalog.Session) { s.Readings[1].Slot, s.Readings[1].Repeat = s.Readings[0].Slot, 2 },
		func(s *catalog.Session) { s.Remark = "two\nlines" },
		func(s *catalog.Session) { s.TemperatureC, s.SlideMM = at(-5), at(0) },
	} {
		s := goodSession()
		change(&s)
		if err := s.Validate(); err != nil {
			t.Error(err)
		}
	}
}

func TestSessionFits(t *testing.T) {
	s, h, m := goodSession(), goodHorn(), goodMouthpiece()
	if err := s.Fits(h, m); err != nil {
		t.Error(err)
	}
	m.Shank = catalog.ShankCornet
	wantProblem(t, s.Fits(h, m), "mouthpiece", "Plover 16.2", "cornet", "Alder", "adapter")
	s.Adapter = true
	if err := s.Fits(h, m); err != nil {
		t.Error(err)
	}
	s.Readings[0].Slot.Valves = 0b1010
	wantProblem(t, s.Fits(h, m), "fingering", "24", "fourth valve", "Alder")
	h.Valves = 4
	if err := s.Fits(h, m); err != nil {
		t.Error(err)
	}
}

// All problems of all records are told at once, in words for people up to ten.
func TestProblemsTogether(t *testing.T) {
	c := catalog.Changes{Horns: []catalog.Horn{goodHorn(), goodHorn()}, Mouthpieces: []catalog.Mouthpiece{goodMouthpiece()},
		Players: []catalog.Player{goodPlayer()}, Sessions: []catalog.Session{goodSession()}}
	if err := c.Validate(); err != nil {
		t.Fatal(err)
	}
	c.Horns[1].BoreMM, c.Horns[1].Label = 0.459, "Rowan"
	c.Mouthpieces[0].RimMM = 162
	c.Players[0].ToleranceCents = 500
	c.Retractions = []catalog.RetractionOf{{Session: "x"}}
	for i := range 12 {
		c.Sessions[0].Readings = append(c.Sessions[0].Readings, catalog.Reading{Slot: pitch.Slot{Partial: 4}, Repeat: i + 1, Cents: 300})
	}
	err := c.Validate()
	ps := catalog.ProblemsOf(err)
	if len(ps) != 16 {
		t.Fatalf("%d problems: %v", len(ps), err)
	}
	for _, w := range []string{"16 problems", `horn "Rowan": bore_mm`, `mouthpiece "Plover 16.2": rim_mm`, `player "reed-otter": tolerance_cents`, `session "spring visit": cents of C5`, "and 6 more"} {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("%q does not say %q", err, w)
		}
	}
	if catalog.ProblemsOf(nil) != nil || catalog.ProblemsOf(catalog.Errorf(catalog.Busy, "", "x")) != nil {
		t.Error("problems of an error without any")
	}
}

func TestTitle(t *testing.T) {
	for title, ok := range map[string]bool{"": true, "Lantern Bay Youth Winds": true, " x": false, "a\tb": false, strings.Repeat("x", 101): false} {
		if err := catalog.ValidateTitle(title); (err == nil) != ok {
			t.Errorf("%q: %v", title, err)
		}
	}
}
