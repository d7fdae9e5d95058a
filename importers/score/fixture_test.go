package score

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"

	"centwise/catalog/pitch"
)

// All music in the tests of this package is made up for them.

// solo wraps measures into a score of one part in which a division is a quarter
// note of one second.
func solo(measures ...string) string {
	return scoreOf("", partOf("P1", measures...))
}

// scoreOf makes a score of parts made by partOf; more goes before the part list.
func scoreOf(more string, parts ...string) string {
	var list strings.Builder
	for i := range parts {
		fmt.Fprintf(&list, `<score-part id="P%d"><part-name>Voice %d</part-name></score-part>`, i+1, i+1)
	}
	return `<?xml version="1.0" encoding="UTF-8"?>` + `<score-partwise version="4.0">` + more +
		"<part-list>" + list.String() + "</part-list>" + strings.Join(parts, "") + "</score-partwise>"
}

const oneSecondQuarters = `<attributes><divisions>1</divisions></attributes><sound tempo="60"/>`

func partOf(id string, measures ...string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<part id=%q>`, id)
	for i, m := range measures {
		if i == 0 {
			m = oneSecondQuarters + m
		}
		fmt.Fprintf(&b, `<measure number="%d">%s</measure>`, i+1, m)
	}
	return b.String() + "</part>"
}

// tone is a note element, as in tone("F#4", 2, "<chord/>", "<voice>2</voice>"): what
// begins a note goes before its pitch, the rest behind the duration.
func tone(name string, divisions any, more ...string) string {
	head, tail := "", ""
	for _, m := range more {
		if strings.HasPrefix(m, "<chord") || strings.HasPrefix(m, "<cue") || strings.HasPrefix(m, "<grace") {
			head += m
		} else {
			tail += m
		}
	}
	duration := fmt.Sprintf("<duration>%v</duration>", divisions)
	if strings.Contains(head, "grace") {
		duration = ""
	}
	return "<note>" + head + pitchOf(name) + duration + tail + "</note>"
}

func pitchOf(name string) string {
	alter := strings.Count(name, "#") - strings.Count(name[1:], "b")
	return fmt.Sprintf("<pitch><step>%s</step><alter>%d</alter><octave>%s</octave></pitch>", name[:1], alter, strings.TrimLeft(name[1:], "#b"))
}

func rest(divisions any) string {
	return fmt.Sprintf("<note><rest/><duration>%v</duration></note>", divisions)
}

func mustRead(t testing.TB, content string) *Score {
	t.Helper()
	s, err := Read(context.Background(), "suite", strings.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func mustPart(t testing.TB, content, which string, o Options) *Part {
	t.Helper()
	p, err := mustRead(t, content).Part(which, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// durations writes seconds by note: "C4=1 D4=0.5".
func durations(p *Part) string {
	var out []string
	for _, n := range sortedNotes(p.Durations) {
		out = append(out, fmt.Sprintf("%s=%.9g", n, p.Durations[n]))
	}
	return strings.Join(out, " ")
}

// times writes how often notes are struck: "C4=1 D4=2".
func times(p *Part) string {
	var out []string
	for _, n := range sortedNotes(p.Times) {
		out = append(out, fmt.Sprintf("%s=%d", n, p.Times[n]))
	}
	return strings.Join(out, " ")
}

func skipped(p *Part) string {
	var out []string
	for _, s := range p.Skipped {
		out = append(out, fmt.Sprintf("%d %s %.9gs", s.Times, s.What, s.Seconds))
	}
	return strings.Join(out, ", ")
}

// sameDurations holds two parts to have the same notes to 1e-9 s.
func sameDurations(t interface {
	Errorf(string, ...any)
	Helper()
}, got, want map[pitch.Note]float64) {
	t.Helper()
	for _, n := range sortedNotes(want) {
		if math.Abs(got[n]-want[n]) > 1e-9 {
			t.Errorf("%s sounds %.12f s, want %.12f", n, got[n], want[n])
		}
	}
	for _, n := range sortedNotes(got) {
		if _, ok := want[n]; !ok {
			t.Errorf("%s sounds %v s, want none", n, got[n])
		}
	}
}

// archiveOf makes a zip file of names and contents, in turn.
func archiveOf(t testing.TB, namesAndContents ...string) string {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := 0; i < len(namesAndContents); i += 2 {
		f, err := w.Create(namesAndContents[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write([]byte(namesAndContents[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func container(path string) string {
	return fmt.Sprintf(`<container><rootfiles><rootfile full-path=%q/></rootfiles></container>`, path)
}

// midiFile writes a file with an outside library.
func midiFile(t testing.TB, format func() *smf.SMF, ticks smf.TimeFormat, tracks ...smf.Track) string {
	t.Helper()
	s := format()
	s.TimeFormat = ticks
	for _, track := range tracks {
		if !track.IsClosed() {
			track.Close(0)
		}
		if err := s.Add(track); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if _, err := s.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// played is a track of notes on a channel, each of so many ticks.
type played struct {
	key   uint8 // 0 is a rest
	ticks uint32
}

func trackOf(channel uint8, notes ...played) smf.Track {
	var track smf.Track
	wait := uint32(0)
	for _, n := range notes {
		if n.key == 0 {
			wait += n.ticks
			continue
		}
		track.Add(wait, midi.NoteOn(channel, n.key, 80))
		track.Add(n.ticks, midi.NoteOff(channel, n.key))
		wait = 0
	}
	track.Close(wait)
	return track
}

// rawMIDI is a file of format 0 with one track of these bytes, 96 ticks a quarter.
func rawMIDI(events ...byte) string {
	return "MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60" + rawTrack(events...)
}

func rawTrack(events ...byte) string {
	n := len(events)
	return "MTrk" + string([]byte{byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)}) + string(events)
}
