package cli

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/importers/recording"
	"centwise/match"
)

// show prints the tones, and what there is to say about them.
func (h *hearing) show() error {
	s := h.factory.Streams
	var all, listed, rejected []show.Heard
	for _, list := range h.heard() {
		all = append(all, list...)
	}
	for _, x := range all {
		if x.Number == 0 && s.Style.Terminal {
			rejected = append(rejected, x)
		} else {
			listed = append(listed, x)
		}
	}
	if err := show.HeardTable(listed, len(h.files) > 1).Write(s.Out, s.Style); err != nil {
		return err
	}
	h.sayRejected(rejected)
	for _, f := range h.files {
		s.Notes(f.Notices)
	}
	for i, off := range h.clocks {
		s.Note("The clock of %s was off by %+.2f cents; it is corrected.", h.files[i].Name, off)
		if math.Abs(off) > 20 {
			s.Note("That is far more than clocks are off: check that the tone was %g Hz, and that the file has the rate it was recorded with.", h.referenceHz)
		}
	}
	if h.occasion.horn.ID == "" {
		if len(all) > 0 {
			s.Note("Notes are sounding ones: name the horn for written notes.")
		}
		return nil
	}
	h.sayPlaces()
	return nil
}

// mostReasons bounds how many rejections are spelled out.
const mostReasons = 12

// sayRejected says what was left out and why, where the table has no room for it.
func (h *hearing) sayRejected(list []show.Heard) {
	s := h.factory.Streams
	for i, x := range list {
		if i == mostReasons {
			s.Note("Left out besides: %d; --json lists them all.", len(list)-i)
			return
		}
		at := show.Clock(x.Start)
		if len(h.files) > 1 {
			at += " in " + x.File
		}
		s.Note("Left out at %s: %s.", at, x.Reason)
	}
}

// sayPlaces says how the tones went into the expected notes.
func (h *hearing) sayPlaces() {
	s := h.factory.Streams
	if len(h.kept) == 0 {
		return
	}
	s.Note("All notes together are %s cents from A4 = %g Hz.", show.Signed(h.alignment.OffsetCents, 0), h.a4)
	if missing := h.alignment.Missing; len(missing) > 0 && !h.nearest {
		var names []string
		for _, slot := range missing {
			names = append(names, slot.Note().String())
		}
		s.Note("Not heard: %s.", strings.Join(names, ", "))
	}
	var none []string
	for i, m := range h.alignment.Matches {
		left := slices.ContainsFunc(h.choices, func(c choice) bool { return c.out && c.tone == i+1 })
		if !m.Placed && !left {
			none = append(none, strconv.Itoa(i+1))
		}
	}
	if len(none) > 0 {
		s.Note("None of the expected notes: tone %s. If there should be more of them, check the key of the horn, --notes and --a4-hz.", strings.Join(none, ", "))
	}
	if doubt := h.inDoubt(); len(doubt) > 0 {
		best := h.alignment.Matches[doubt[0]-1].Slot
		s.Note("In doubt and left out: %s. Say what they are, as in --set %d=%s.", match.Count(len(doubt), "tone"), doubt[0], best.Note())
	}
}

// heard gives the tones of each file as they are shown.
func (h *hearing) heard() [][]show.Heard {
	out := make([][]show.Heard, len(h.files))
	number := 0
	for i, f := range h.files {
		for _, t := range f.Tones {
			x := h.shown(f, t, number)
			if x.Number > 0 {
				number++
			}
			out[i] = append(out[i], x)
		}
	}
	return out
}

// shown is a tone as it is shown, after a number of others that count.
func (h *hearing) shown(f *recording.Recording, t recording.Tone, before int) show.Heard {
	x := show.Heard{
		File: f.Name, Start: t.Start, End: t.End, Spread: t.SpreadCents, Drift: t.DriftCents, Vibrato: t.VibratoCents,
		Grade: string(t.Grade), Reason: t.Reason, SteadyPart: [2]float64{t.SteadyStart, t.SteadyEnd},
	}
	for _, c := range t.Contour {
		x.Contour = append(x.Contour, show.HeardPoint{Second: c.Second, Semitone: 69 + 12*math.Log2(c.Hz/h.a4)})
	}
	if t.Grade == recording.Rejected {
		return x
	}
	x.Number = before + 1
	note, cents := pitch.Nearest(t.Hz, h.a4)
	x.Note, x.Cents = note.String(), cents
	if h.occasion.horn.ID == "" {
		return x
	}
	m := h.alignment.Matches[before]
	if !m.Placed {
		x.Note = "none"
		return x
	}
	x.Note, x.Fingering, x.Cents = m.Slot.Note().String(), m.Slot.Valves.String(), m.Cents
	x.Doubt = otherNames(m)
	return x
}

// otherNames says what else a tone may be: the note, or the slot where the note is the
// same.
func otherNames(m recording.Match) []string {
	var out []string
	for _, s := range m.Others {
		name := s.Note().String()
		if s.Note() == m.Slot.Note() {
			name = s.String()
		}
		out = append(out, name)
	}
	return out
}

// draw makes pictures, one of each file: names are numbered where there are
// several.
func (h *hearing) draw() error {
	for i, list := range h.heard() {
		p := h.pictures
		if len(h.files) > 1 {
			p.svg, p.png = numbered(p.svg, i+1), numbered(p.png, i+1)
		}
		f := h.files[i]
		if err := p.write(h.factory.Streams, func() show.Picture { return show.HeardPicture(f.Name, f.Seconds, list) }); err != nil {
			return err
		}
	}
	return nil
}

// numbered puts a number before the ending of a file's name.
func numbered(name string, n int) string {
	if name == "" {
		return ""
	}
	ending := filepath.Ext(name)
	return fmt.Sprintf("%s-%d%s", strings.TrimSuffix(name, ending), n, ending)
}

// fields is what was heard as JSON.
func (h *hearing) fields(stored bool) show.Fields {
	tones, rejected, files := []show.Fields{}, []show.Fields{}, []show.Fields{}
	notices := []string{}
	number := 0
	for i, f := range h.files {
		notices = append(notices, f.Notices...)
		files = append(files, h.fileFields(i))
		for _, t := range f.Tones {
			if t.Grade == recording.Rejected {
				rejected = append(rejected, show.Fields{{Name: "file", Value: f.Name}, {Name: "start_s", Value: t.Start}, {Name: "end_s", Value: t.End}, {Name: "reason", Value: t.Reason}})
				continue
			}
			tones = append(tones, h.toneFields(f, t, number))
			number++
		}
	}
	out := show.Fields{{Name: "tones", Value: tones}, {Name: "rejected", Value: rejected}, {Name: "files", Value: files}, {Name: "a4_hz", Value: h.a4}}
	if h.referenceHz > 0 {
		out = append(out, show.Field{Name: "reference_hz", Value: h.referenceHz})
	}
	if h.occasion.horn.ID != "" {
		missing := []string{}
		for _, s := range h.alignment.Missing {
			missing = append(missing, s.Note().String())
		}
		out = append(out, show.Field{Name: "offset_cents", Value: h.alignment.OffsetCents}, show.Field{Name: "missing", Value: missing},
			show.Field{Name: "readings", Value: len(h.session.Readings)})
	}
	out = append(out, show.Field{Name: "notices", Value: notices}, show.Field{Name: "stored", Value: stored})
	if stored {
		out = append(out, show.Field{Name: "session", Value: h.session.Name}, show.Field{Name: "id", Value: h.session.ID})
	}
	return out
}

func (h *hearing) fileFields(i int) show.Fields {
	f := h.files[i]
	out := show.Fields{
		{Name: "file", Value: f.Name}, {Name: "seconds", Value: f.Seconds}, {Name: "rate", Value: f.Format.Rate},
		{Name: "channels", Value: f.Format.Channels}, {Name: "bits", Value: f.Format.Bits},
	}
	if len(h.clocks) > 0 {
		out = append(out, show.Field{Name: "clock_cents", Value: h.clocks[i]})
	}
	return out
}

func (h *hearing) toneFields(f *recording.Recording, t recording.Tone, before int) show.Fields {
	note, cents := pitch.Nearest(t.Hz, h.a4)
	out := show.Fields{
		{Name: "tone", Value: before + 1}, {Name: "file", Value: f.Name}, {Name: "start_s", Value: t.Start}, {Name: "end_s", Value: t.End},
		{Name: "frequency_hz", Value: t.Hz}, {Name: "cents", Value: cents}, {Name: "spread_cents", Value: t.SpreadCents},
		{Name: "drift_cents", Value: t.DriftCents}, {Name: "vibrato_cents", Value: t.VibratoCents}, {Name: "vibrato_hz", Value: t.VibratoHz},
		{Name: "error_cents", Value: t.ErrorCents}, {Name: "level_db", Value: t.LevelDB}, {Name: "note", Value: note.String()}, {Name: "grade", Value: t.Grade},
	}
	if h.occasion.horn.ID == "" {
		return out
	}
	m := h.alignment.Matches[before]
	if !m.Placed {
		return append(out, show.Field{Name: "written", Value: nil})
	}
	doubt := otherNames(m)
	if doubt == nil {
		doubt = []string{}
	}
	return append(out, show.Field{Name: "written", Value: m.Slot.Note().String()}, show.Field{Name: "fingering", Value: m.Slot.Valves.String()},
		show.Field{Name: "partial", Value: m.Slot.Partial}, show.Field{Name: "deviation_cents", Value: m.Cents}, show.Field{Name: "doubt", Value: doubt})
}
