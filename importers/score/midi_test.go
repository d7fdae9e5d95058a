package score

import (
	"context"
	"strings"
	"testing"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"
)

// Keys sound two semitones below what a B flat instrument reads: C4 is key 58.
const (
	keyC = 58
	keyD = 60
	keyE = 62
)

func TestMIDIFormats(t *testing.T) {
	tempo := func(bpm float64, then ...float64) smf.Track {
		var track smf.Track
		track.Add(0, smf.MetaTrackSequenceName("Harbour"))
		track.Add(0, smf.MetaTempo(bpm))
		for _, b := range then {
			track.Add(96, smf.MetaTempo(b))
		}
		track.Close(0)
		return track
	}
	tune := trackOf(0, played{keyC, 96}, played{0, 48}, played{keyD, 48})
	oneTempo := trackOf(0, played{keyC, 96})
	var own smf.Track
	own.Add(0, smf.MetaTempo(30))
	own = append(own, tune...)
	for name, c := range map[string]struct{ file, which, want string }{
		"format 0, no tempo":         {midiFile(t, smf.New, smf.MetricTicks(96), tune), "", "C4=0.5 D4=0.25"},
		"format 0 with tempo":        {midiFile(t, smf.New, smf.MetricTicks(96), own), "", "C4=2 D4=1"},
		"format 1":                   {midiFile(t, smf.NewSMF1, smf.MetricTicks(96), tempo(60), tune), "", "C4=1 D4=0.5"},
		"format 1, tempo map":        {midiFile(t, smf.NewSMF1, smf.MetricTicks(96), tempo(60, 30, 120), tune), "", "C4=1 D4=1"},
		"format 1, more ticks":       {midiFile(t, smf.NewSMF1, smf.MetricTicks(192), tempo(60), tune), "", "C4=0.5 D4=0.25"},
		"format 2, its own tempo":    {midiFile(t, smf.NewSMF2, smf.MetricTicks(96), own, oneTempo), "t1c1", "C4=2 D4=1"},
		"format 2, no tempo":         {midiFile(t, smf.NewSMF2, smf.MetricTicks(96), own, oneTempo), "t2c1", "C4=0.5"},
		"25 frames of 40 ticks":      {midiFile(t, smf.New, smf.SMPTE25(40), own), "", "C4=0.096 D4=0.048"},
		"30 frames, drop, of 80":     {midiFile(t, smf.New, smf.SMPTE30DropFrame(80), tune), "", "C4=0.04004 D4=0.02002"},
		"24 frames of 4":             {midiFile(t, smf.New, smf.SMPTE24(4), tune), "", "C4=1 D4=0.5"},
		"another chunk in between":   {"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60XFIH\x00\x00\x00\x02ab" + rawTrack(0, 0x90, keyC, 1, 96, 0x80, keyC, 0), "", "C4=0.5"},
		"a longer header":            {"MThd\x00\x00\x00\x08\x00\x00\x00\x01\x00\x60ab" + rawTrack(0, 0x90, keyC, 1, 96, 0x80, keyC, 0), "", "C4=0.5"},
		"more tracks than announced": {rawMIDI(0, 0xff, 0x2f, 0) + rawTrack(0, 0x90, keyC, 1, 96, 0x80, keyC, 0), "", "C4=0.5"},
	} {
		if got := durations(mustPart(t, c.file, c.which, Options{})); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
	s := mustRead(t, midiFile(t, smf.NewSMF1, smf.MetricTicks(96), tempo(60), tune))
	if s.Title != "Harbour" || s.Format != MIDI {
		t.Errorf("%q, %s", s.Title, s.Format)
	}
}

// Bytes by hand; 96 ticks are half a second.
func TestMIDIEvents(t *testing.T) {
	const on, off = 0x90, 0x80
	for _, c := range []struct {
		name           string
		events         []byte
		seconds, times string
		skipped        string
	}{
		{"velocity 0 ends", []byte{0, on, keyC, 9, 96, on, keyC, 0}, "C4=0.5", "C4=1", ""},
		{"running status", []byte{0, on, keyC, 9, 96, keyC, 0, 0, keyD, 9, 48, keyD, 0}, "C4=0.5 D4=0.25", "C4=1 D4=1", ""},
		{"running status behind a meta event", []byte{0, on, keyC, 9, 48, 0xff, 0x01, 2, 'h', 'i', 48, keyC, 0}, "C4=0.5", "C4=1", ""},
		{"one argument", []byte{0, 0xc0, 56, 0, 0xd0, 1, 0, on, keyC, 9, 96, off, keyC, 0}, "C4=0.5", "C4=1", ""},
		{"sysex", []byte{0, 0xf0, 3, 0x7e, 1, 0xf7, 48, 0xf7, 1, 0x90, 0, on, keyC, 9, 96, off, keyC, 0}, "C4=0.5", "C4=1", ""},
		{"long delta", []byte{0x87, 0x40, on, keyC, 9, 0x86, 0x00, off, keyC, 0}, "C4=4", "C4=1", ""}, // 7*128+64 = 960 of rest, 768 of note
		{"struck again before its end", []byte{0, on, keyC, 9, 48, on, keyC, 9, 48, off, keyC, 0, 96, off, keyC, 0}, "C4=0.5", "C4=2", ""},
		{"legato overlap upwards", []byte{0, on, keyC, 9, 96, on, keyD, 9, 12, off, keyC, 0, 84, off, keyD, 0}, "C4=0.5 D4=0.5", "C4=1 D4=1", "0 notes under a higher one 0.0625s"},
		{"chord", []byte{0, on, keyC, 9, 0, on, keyE, 9, 96, off, keyC, 0, 0, off, keyE, 0}, "E4=0.5", "E4=1", "1 notes under a higher one 0.5s"},
		{"sustain pedal", []byte{0, 0xb0, 64, 127, 0, on, keyC, 9, 96, off, keyC, 0, 96, 0xb0, 64, 0}, "C4=0.5", "C4=1", ""},
		{"all notes off", []byte{0, on, keyC, 9, 96, 0xb0, 123, 0, 96, on, keyD, 9, 96, 0xb0, 120, 0, 96, 0xff, 0x2f, 0}, "C4=0.5 D4=0.5", "C4=1 D4=1", ""},
		{"an end without a beginning", []byte{0, off, keyC, 0, 0, on, keyC, 9, 96, off, keyC, 0}, "C4=0.5", "C4=1", ""},
		{"behind the end of the track", []byte{0, on, keyC, 9, 96, off, keyC, 0, 0, 0xff, 0x2f, 0, 0x55}, "C4=0.5", "C4=1", ""},
	} {
		p := mustPart(t, rawMIDI(c.events...), "", Options{})
		if durations(p) != c.seconds || times(p) != c.times {
			t.Errorf("%s: %s, struck %s; want %s, %s", c.name, durations(p), times(p), c.seconds, c.times)
		}
		if skipped(p) != c.skipped {
			t.Errorf("%s: skipped %q, want %q", c.name, skipped(p), c.skipped)
		}
	}
}

func TestMIDIRemarks(t *testing.T) {
	unfinished := rawMIDI(0, 0xff, 0x51, 3, 0x0f, 0x42, 0x40, 0, 0x90, keyC, 9, 96, keyD, 9, 96, 0xff, 0x2f, 0) // 1,000,000 microseconds
	p := mustPart(t, unfinished, "", Options{})
	if got := durations(p); got != "C4=1 D4=1" {
		t.Error(got)
	}
	want := "MIDI holds sounding pitch: the notes were written for an instrument in Bb.|Notes that never end were ended with their track: 2."
	if got := strings.Join(p.Remarks, "|"); got != want {
		t.Error(got)
	}
	p = mustPart(t, rawMIDI(0, 0xff, 0x51, 3, 0, 0, 0, 0, 0x90, keyC, 9, 96, keyC, 0), "", Options{})
	if got := strings.Join(p.Remarks, "|"); durations(p) != "C4=0.5" || !strings.Contains(got, "A tempo in track 1 that says nothing") || !strings.Contains(got, "no tempo at its beginning: 120") {
		t.Error(durations(p), got)
	}
}

func TestMIDITransposition(t *testing.T) {
	file := rawMIDI(0, 0x90, 60, 9, 96, 60, 0)
	for transposition, want := range map[int]string{0: "C4=0.5", -2: "D4=0.5", 3: "A3=0.5", 12: "", -3: "Eb4=0.5"} {
		p, err := mustRead(t, file).Part("", Options{Transposition: &transposition})
		if want == "" {
			if err == nil || !strings.Contains(err.Error(), "(C3 to C3) lies outside") {
				t.Errorf("an octave up: %v", err)
			}
			continue
		}
		if err != nil || durations(p) != want {
			t.Errorf("transposition %d: %s, %v, want %s", transposition, durations(p), err, want)
		}
	}
}

func TestMIDIParts(t *testing.T) {
	var two smf.Track
	two.Add(0, smf.MetaTrackSequenceName("Pier Band\x00"))
	two.Add(0, smf.MetaInstrument("Fl\xfcgelhorn"))
	two.Add(0, midi.ProgramChange(3, 56))
	for _, channel := range []uint8{0, 3, 9} {
		two.Add(0, midi.NoteOn(channel, 60+channel, 9))
		two.Add(96, midi.NoteOff(channel, 60+channel))
	}
	s := mustRead(t, midiFile(t, smf.New, smf.MetricTicks(96), two))
	var got []string
	for _, l := range s.Parts {
		kind := ""
		if l.Percussion {
			kind = " percussion"
		}
		if l.Trumpet {
			kind += " trumpet"
		}
		got = append(got, l.ID+" "+l.Name+" "+strings.Join(l.Instruments, "+")+kind)
	}
	want := "t1c1 Pier Band Flügelhorn trumpet|t1c4 Pier Band Flügelhorn+program 57 trumpet|t1c10 Pier Band Flügelhorn percussion trumpet"
	if strings.Join(got, "|") != want {
		t.Errorf("parts %s", strings.Join(got, "|"))
	}
	if _, err := s.Part("t1c10", Options{}); err == nil || !strings.Contains(err.Error(), "percussion") {
		t.Errorf("channel 10: %v", err)
	}
	if p, err := s.Part("2", Options{}); err != nil || durations(p) != "F4=0.5" {
		t.Errorf("part 2: %v %v", p, err)
	}
}

// What is wrong in a MIDI file is said with its place.
func TestDamagedMIDI(t *testing.T) {
	good := rawMIDI(0, 0x90, keyC, 9, 96, 0x80, keyC, 0, 0, 0xff, 0x2f, 0)
	for want, file := range map[string]string{
		"cut short in its header":               good[:13],
		"cut short: a chunk of 12 bytes has 11": good[:len(good)-1],
		"cut short: it has 0 of its 1 tracks":   good[:14],
		"header of 2 bytes":                     "MThd\x00\x00\x00\x02\x00\x00" + strings.Repeat("x", 20),
		"format 3":                              strings.Replace(good, "\x00\x06\x00\x00", "\x00\x06\x00\x03", 1),
		"no ticks":                              strings.Replace(good, "\x01\x00\x60", "\x01\x00\x00", 1),
		"frames of an unknown rate":             strings.Replace(good, "\x01\x00\x60", "\x01\xe6\x60", 1),
		"unknown rate (bytes E7 00)":            strings.Replace(good, "\x01\x00\x60", "\x01\xe7\x00", 1),
		"track 1, byte 1: 40 is no event":       rawMIDI(0, 0x40, 0x40),
		"F1 is no event of a file":              rawMIDI(0, 0xf1, 0),
		"byte 2: 85 stands where an event":      rawMIDI(0, 0x90, 0x85, 0),
		"byte 3: 85 stands where an event":      rawMIDI(0, 0x90, 1, 0x85),
		"track 1 ends within an event":          rawMIDI(0, 0x90, keyC, 9, 96, 0x80),
		"more than four bytes":                  rawMIDI(0x81, 0x81, 0x81, 0x81, 0, 0x90, 1, 1),
		"byte 9: 3A is no event":                rawMIDI(0, 0x90, keyC, 9, 0, 0xf0, 1, 0xf7, 96, keyC, 0), // sysex ends the running status
		"no parts":                              rawMIDI(0, 0xff, 0x2f, 0),
	} {
		_, err := Read(context.Background(), "pier.mid", strings.NewReader(file))
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "pier.mid") {
			t.Errorf("%q: %v", want, err)
		}
	}
	for _, file := range []string{
		rawMIDI(0), rawMIDI(0x81), rawMIDI(0, 0xff), rawMIDI(0, 0xff, 1), rawMIDI(0, 0xff, 1, 5, 1), rawMIDI(0, 0xf0, 0xff, 0xff, 0xff, 0x7f),
		rawMIDI(0, 0xc0), rawMIDI(0, 0x90, keyC),
	} {
		if _, err := Read(context.Background(), "pier.mid", strings.NewReader(file)); err == nil || !strings.Contains(err.Error(), "ends within an event") {
			t.Errorf("%q: %v", file, err)
		}
	}
}
