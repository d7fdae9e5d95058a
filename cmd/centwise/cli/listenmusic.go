package cli

import (
	"context"
	"math"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match"
	"centwise/match/tone"
)

// stroke is one note of the music, before it is tuned. Times are in seconds from
// the beginning of its piece.
type stroke struct {
	note       pitch.Note // written
	start, end float64
	drone      bool // in tune in both versions
}

// piece is music that is heard in one version, then in the other.
type piece []stroke

// heard is what the file holds, as it is printed.
type heard struct {
	File        string      `json:"file"`
	Horn        string      `json:"horn"`
	Mouthpiece  string      `json:"mouthpiece"`
	Player      string      `json:"player,omitempty"`
	Temperament string      `json:"temperament"`
	Pattern     string      `json:"pattern"`
	AsItComes   bool        `json:"as_it_comes"`
	Seconds     float64     `json:"seconds"`
	GapSeconds  float64     `json:"gap_seconds"`
	LeadSeconds float64     `json:"lead_seconds"`
	Rate        int         `json:"rate"`
	Bits        int         `json:"bits"`
	A4          float64     `json:"a4_hz"`
	Tempo       float64     `json:"tempo,omitempty"` // a part has its own
	Dynamic     string      `json:"dynamic"`
	PeakLimit   float64     `json:"peak_limit_db"`
	Part        *heardPart  `json:"part,omitempty"`
	LeftOut     []string    `json:"left_out,omitempty"` // notes that are not played
	Unknown     []string    `json:"unknown,omitempty"`  // notes that are in tune in both versions, since nothing is predicted
	Takes       []heardTake `json:"takes"`
	Words       []string    `json:"words"`

	remarks []string // on the part
	wider   bool     // a wider range may hold some of Unknown
}

type heardTake struct {
	Version  string      `json:"version"`
	Start    float64     `json:"start_s"`
	End      float64     `json:"end_s"`
	LUFS     float64     `json:"loudness_lufs"`
	TruePeak float64     `json:"true_peak_db"`
	Beats    *float64    `json:"beats_hz,omitempty"` // of a drone and its note
	Notes    []heardNote `json:"notes"`
}

type heardNote struct {
	Start   float64 `json:"start_s"`
	End     float64 `json:"end_s"`
	Drone   bool    `json:"drone"`
	Note    string  `json:"note"`
	Concert string  `json:"concert"`
	Valves  string  `json:"valves"`
	Off     float64 `json:"off"`   // cents from the target
	Cents   float64 `json:"cents"` // from equal temperament
	SD      float64 `json:"sd"`
	Hz      float64 `json:"frequency_hz"`
}

// compose chooses the notes and tunes them.
func (o *listenOptions) compose(ctx context.Context, x *match.Explanation) (*heard, error) {
	t, err := newTuner(x, o)
	if err != nil {
		return nil, err
	}
	h := &heard{
		File: o.file, Horn: x.Horn, Mouthpiece: x.Mouthpiece, Player: x.Player, Temperament: x.Temperament,
		Pattern: o.pattern, AsItComes: o.asItComes, GapSeconds: o.pause, LeadSeconds: leadSeconds,
		Rate: o.rate, Bits: o.bits, A4: o.a4, Dynamic: o.dynamic, PeakLimit: peakDB,
	}
	pieces, err := o.pieces(ctx, t, h)
	if err != nil {
		return nil, err
	}
	at := leadSeconds
	for _, p := range pieces {
		for _, version := range []string{versionInTune, versionPredicted} {
			if o.only != "" && o.only != version {
				continue
			}
			take := t.take(p, version, at)
			h.Takes = append(h.Takes, take)
			at = take.End + o.pause
		}
	}
	return h, nil
}

// programme is what is heard, to be rendered.
func (o *listenOptions) programme(h *heard) tone.Programme {
	p := tone.Programme{Rate: o.rate, LeadSeconds: leadSeconds, GapSeconds: o.pause, LUFS: o.loudness, PeakDB: peakDB}
	for _, take := range h.Takes {
		var notes tone.Take
		for _, n := range take.Notes {
			notes = append(notes, tone.Note{Start: n.Start - take.Start, End: n.End - take.Start, Hz: n.Hz, Dynamic: dynamics[o.dynamic]})
		}
		p.Takes = append(p.Takes, notes)
	}
	h.Seconds = p.Seconds()
	return p
}

// measured enters how loud the takes came out.
func (h *heard) measured(levels []tone.Level) {
	for i, l := range levels {
		h.Takes[i].LUFS, h.Takes[i].TruePeak = l.LUFS, l.PeakDB
	}
}

// tuner knows the frequency of every note in either version.
type tuner struct {
	lines         map[pitch.Note]match.NoteLine
	notes         []pitch.Note // that have a line, upwards
	transposition pitch.Note
	a4            float64
	asItComes     bool
}

func newTuner(x *match.Explanation, o *listenOptions) (*tuner, error) {
	t := &tuner{lines: map[pitch.Note]match.NoteLine{}, a4: o.a4, asItComes: o.asItComes}
	for _, line := range x.Notes {
		written, err := pitch.ParseNote(line.Note)
		if err != nil {
			return nil, err
		}
		concert, err := pitch.ParseNote(line.Concert)
		if err != nil {
			return nil, err
		}
		t.transposition = concert - written
		t.lines[written] = line
		t.notes = append(t.notes, written)
	}
	slices.Sort(t.notes)
	return t, nil
}

// off is how far a note is predicted to lie from its target, in cents.
func (t *tuner) off(n pitch.Note) float64 {
	line := t.lines[n]
	if t.asItComes {
		return line.Cents - line.Target
	}
	return line.Left
}

// worst is the note that is predicted furthest off.
func (t *tuner) worst() pitch.Note {
	worst := t.notes[0]
	for _, n := range t.notes {
		if math.Abs(t.off(n)) > math.Abs(t.off(worst)) {
			worst = n
		}
	}
	return worst
}

// take tunes a piece that starts at a time.
func (t *tuner) take(p piece, version string, at float64) heardTake {
	take := heardTake{Version: version, Start: at, End: at}
	var drone *float64
	for _, s := range p {
		n := t.tune(s, version)
		n.Start, n.End = at+s.start, at+s.end
		take.End = max(take.End, n.End)
		take.Notes = append(take.Notes, n)
		switch {
		case s.drone:
			drone = &n.Hz
		case drone != nil:
			beats := math.Abs(n.Hz - *drone)
			take.Beats = &beats
		}
	}
	return take
}

func (t *tuner) tune(s stroke, version string) heardNote {
	line := t.lines[s.note]
	n := heardNote{
		Drone: s.drone, Note: s.note.String(), Concert: (s.note + t.transposition).String(),
		Valves: line.Valves, Cents: line.Target,
	}
	if version == versionPredicted && !s.drone {
		n.Off, n.SD = t.off(s.note), line.SD
		n.Cents += n.Off
	}
	n.Hz = pitch.Shift((s.note + t.transposition).Hz(t.a4), n.Cents)
	return n
}

// pieces is the music of the pattern; what had to be left out is entered into h.
func (o *listenOptions) pieces(ctx context.Context, t *tuner, h *heard) ([]piece, error) {
	switch o.pattern {
	case patternDrone:
		h.Tempo = o.tempo
		return o.drones(t)
	case patternPart:
		p, err := o.play(ctx, t, h)
		return []piece{p}, err
	}
	h.Tempo = o.tempo
	p, err := o.steps(t, h)
	return []piece{p}, err
}

// steps is a scale, an arpeggio or every note, a beat each.
func (o *listenOptions) steps(t *tuner, h *heard) (piece, error) {
	low, high, err := o.span(t)
	if err != nil {
		return nil, err
	}
	pattern := map[string]tone.Pattern{patternScale: tone.Scale, patternChromatic: tone.Chromatic, patternArpeggio: tone.Arpeggio}[o.pattern]
	notes, err := pattern.On(o.key, low, high)
	if err != nil {
		return nil, usagef("--key C", "--key: %v", err)
	}
	var p piece
	for _, n := range notes {
		if _, known := t.lines[n]; !known {
			h.LeftOut = append(h.LeftOut, n.String())
			continue
		}
		p = append(p, stroke{note: n, start: float64(len(p)) * o.beat(), end: float64(len(p)+1) * o.beat()})
	}
	if len(p) == 0 {
		return nil, usagef("--range F#3-C6", "the %s on %s has no note that is predicted from %s to %s", o.pattern, o.key, low, high)
	}
	return p, nil
}

// beat is the length of a beat in seconds.
func (o *listenOptions) beat() float64 { return 60 / o.tempo }

// span is the range to play: what was asked for, else what was judged.
func (o *listenOptions) span(t *tuner) (low, high pitch.Note, err error) {
	if o.setup.judge.notes != "" {
		return parseRange(o.setup.judge.notes)
	}
	return t.notes[0], t.notes[len(t.notes)-1], nil
}

// Beats of a drone: it begins alone, then the note joins.
const (
	droneBeats = 5
	droneAlone = 1
)

// drones is a piece for every note to hold.
func (o *listenOptions) drones(t *tuner) ([]piece, error) {
	notes, err := o.held(t)
	if err != nil {
		return nil, err
	}
	var out []piece
	for _, n := range notes {
		out = append(out, piece{
			{note: n, end: droneBeats * o.beat(), drone: true},
			{note: n, start: droneAlone * o.beat(), end: droneBeats * o.beat()},
		})
	}
	return out, nil
}

// held are the notes to hold against a drone.
func (o *listenOptions) held(t *tuner) ([]pitch.Note, error) {
	if o.notes == "" {
		return []pitch.Note{t.worst()}, nil
	}
	var out []pitch.Note
	for _, text := range strings.FieldsFunc(o.notes, func(r rune) bool { return r == ',' || r == ' ' }) {
		n, err := pitch.ParseNote(text)
		if err != nil {
			return nil, usagef("--notes G4,D5", "--notes: %v", err)
		}
		if _, known := t.lines[n]; !known {
			low, high := t.notes[0], t.notes[len(t.notes)-1]
			return nil, catalog.Errorf(catalog.Invalid, "choose a note of the range, or widen it with --range",
				"nothing is predicted for %s; the range is %s to %s", n, low, high)
		}
		out = append(out, n)
	}
	if len(out) == 0 {
		return nil, usagef("--notes G4,D5", "--notes %q names no note", o.notes)
	}
	return out, nil
}
