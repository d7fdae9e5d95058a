package score

import (
	"fmt"
	"strings"
	"testing"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"
	"pgregory.net/rapid"

	"centwise/catalog/pitch"
)

// A tune in 3/4 at 96 quarters a minute, then 75: by hand, a quarter is 0.625 s and
// 0.8 s. The score has it with a repeat, two endings, a tie and a second voice
// that is always lower; the MIDI file has it written out.
//
//	|: C5 dotted quarter, D5 eighth, E5 quarter | F5 half tied to :| [1] F5 quarter, rest, rest
//	[2] (75) G5 triplet of three notes in a quarter, C5 half
func TestScoreAndMIDIAgree(t *testing.T) {
	tied := func(kind string) string { return `<tie type="` + kind + `"/>` }
	head := `<attributes><divisions>12</divisions></attributes><sound tempo="96"/>`
	score := solo(
		head+`<barline location="left"><repeat direction="forward"/></barline>`+tone("C5", 18)+tone("D5", 6)+tone("E5", 12)+
			`<backup><duration>36</duration></backup>`+tone("G4", 36, "<voice>2</voice>"),
		rest(12)+tone("F5", 24, tied("start")),
		endingBars("1", true)+tone("F5", 12, tied("stop"))+rest(24),
		endingBars("2", false)+`<sound tempo="75"/>`+tone("G5", 4)+tone("A5", 4)+tone("G5", 4)+tone("C5", 24),
	)
	const second = 144 // ticks of a quarter
	key := func(name string) uint8 {
		n, err := pitch.ParseNote(name)
		if err != nil {
			t.Fatal(err)
		}
		return uint8(n - 2)
	}
	repeated := []played{{key("C5"), 216}, {key("D5"), 72}, {key("E5"), second}, {0, second}}
	first := append(repeated, played{key("F5"), 3 * second}, played{0, 2 * second})
	again := append(repeated, played{key("F5"), 2 * second})
	last := []played{{key("G5"), 48}, {key("A5"), 48}, {key("G5"), 48}, {key("C5"), 2 * second}}
	var conductor smf.Track
	conductor.Add(0, smf.MetaTempo(96))
	conductor.Add((8+1+6)*second, smf.MetaTempo(75)) // 9 quarters, then 6
	var lower smf.Track
	lower.Add(0, midi.NoteOn(0, key("G4"), 60))
	lower.Add(3*second, midi.NoteOff(0, key("G4")))
	lower.Add(6*second, midi.NoteOn(0, key("G4"), 60))
	lower.Add(3*second, midi.NoteOff(0, key("G4")))
	solo := trackOf(0, append(append(first, again...), last...)...)
	file := midiFile(t, smf.NewSMF1, smf.MetricTicks(second), conductor, solo, lower)

	want := map[pitch.Note]float64{ // seconds
		72: 2*1.5*0.625 + 2*0.8, // C5
		74: 2 * 0.5 * 0.625,     // D5
		76: 2 * 0.625,           // E5
		77: 5 * 0.625,           // F5: three quarters, then two
		79: 2 * 0.8 / 3,         // G5
		81: 0.8 / 3,             // A5
	}
	fromScore, fromMIDI := mustPart(t, score, "", Options{}), mustPart(t, file, "1", Options{})
	sameDurations(t, fromScore.Durations, want)
	sameDurations(t, fromMIDI.Durations, want)
	if a, b := times(fromScore), times(fromMIDI); a != b || a != "C5=3 D5=2 E5=2 F5=2 G5=2 A5=1" {
		t.Errorf("struck %s in the score, %s in MIDI", a, b)
	}
	if a, b := fromScore.Seconds, fromMIDI.Seconds; a-b > 1e-9 || b-a > 1e-9 {
		t.Errorf("the score lasts %v s, the MIDI file %v s", a, b)
	}
}

// melody is a tune of one voice, in ticks of 1/24 quarter.
type melody struct {
	notes  []played // keys are written notes
	tempos []int    // microseconds a quarter; the one that begins with each note, 0 = none
}

func anyMelody(t *rapid.T) melody {
	n := rapid.IntRange(1, 40).Draw(t, "notes")
	m := melody{}
	for range n {
		key := uint8(rapid.IntRange(54, 91).Draw(t, "note")) // F#3..G6
		if rapid.IntRange(0, 5).Draw(t, "silence") == 0 {
			key = 0
		}
		m.notes = append(m.notes, played{key, uint32(rapid.IntRange(1, 150).Draw(t, "ticks"))})
		tempo := 0
		if rapid.IntRange(0, 4).Draw(t, "change") == 0 {
			tempo = rapid.IntRange(200_000, 2_000_000).Draw(t, "tempo")
		}
		m.tempos = append(m.tempos, tempo)
	}
	return m
}

// durations adds up the seconds of each note.
func (m melody) durations() map[pitch.Note]float64 {
	out := map[pitch.Note]float64{}
	quarter := 0.5
	for i, n := range m.notes {
		if m.tempos[i] > 0 {
			quarter = float64(m.tempos[i]) / 1e6
		}
		if n.key > 0 {
			out[pitch.Note(n.key)] += float64(n.ticks) / 24 * quarter
		}
	}
	return out
}

// score writes the melody in measures of some ticks, with ties over barlines.
func (m melody) score(measure uint32) string {
	var measures []string
	text, left := "<attributes><divisions>24</divisions></attributes>", measure
	for i, n := range m.notes {
		if m.tempos[i] > 0 {
			text += fmt.Sprintf(`<sound tempo="%.12f"/>`, 60e6/float64(m.tempos[i]))
		}
		for rest, begun := n.ticks, false; rest > 0; begun = true {
			part := min(rest, left)
			text += written(n.key, part, begun, part < rest)
			rest, left = rest-part, left-part
			if left == 0 {
				measures, text, left = append(measures, text), "", measure
			}
		}
	}
	s := solo(append(measures, text)...)
	return strings.Replace(s, `<sound tempo="60"/>`, "", 1)
}

func written(key uint8, ticks uint32, tiedBack, tiedOn bool) string {
	if key == 0 {
		return rest(ticks)
	}
	ties := ""
	if tiedBack {
		ties += `<tie type="stop"/>`
	}
	if tiedOn {
		ties += `<tie type="start"/>`
	}
	return tone(pitch.Note(key).String(), ticks, ties)
}

// midi writes the melody for an instrument that sounds as written.
func (m melody) midi(t testing.TB) string {
	var tempos smf.Track
	wait := uint32(0)
	for i, n := range m.notes {
		if m.tempos[i] > 0 {
			tempos.Add(wait, []byte{0xff, 0x51, 3, byte(m.tempos[i] >> 16), byte(m.tempos[i] >> 8), byte(m.tempos[i])})
			wait = 0
		}
		wait += n.ticks
	}
	return midiFile(t, smf.NewSMF1, smf.MetricTicks(24), tempos, trackOf(2, m.notes...))
}

// Whatever the tune, both readers give its durations back.
func TestMelodiesComeBack(t *testing.T) {
	asWritten := 0
	rapid.Check(t, func(rt *rapid.T) {
		m := anyMelody(rt)
		want := m.durations()
		measure := uint32(rapid.IntRange(5, 200).Draw(rt, "measure"))
		if len(want) == 0 {
			return
		}
		o := Options{Transposition: &asWritten}
		sameDurations(rt, mustPart(t, m.score(measure), "", o).Durations, want)
		sameDurations(rt, mustPart(t, m.midi(t), "", o).Durations, want)
	})
}

// The time of a part is the time of its notes, less what was skipped or covered,
// however notes overlap.
func TestNoTimeIsLost(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var all []interval
		for range rapid.IntRange(1, 30).Draw(rt, "notes") {
			start := rapid.Float64Range(0, 10).Draw(rt, "start")
			length := rapid.Float64Range(0.001, 5).Draw(rt, "length")
			all = append(all, interval{start, start + length, pitch.Note(rapid.IntRange(55, 60).Draw(rt, "note")), true})
		}
		for _, lowest := range []bool{false, true} {
			line, covered := singleLine(all, lowest)
			sum, end := 0.0, 0.0
			for _, n := range line {
				if n.Start < end || n.End <= n.Start {
					rt.Fatalf("%v overlaps what was before", n)
				}
				sum, end = sum+n.End-n.Start, n.End
			}
			// A second way: the time in which anything sounds, by sampling the
			// middles between all edges.
			want, wantCovered := bySampling(all)
			if d := sum - want; d > 1e-6 || d < -1e-6 {
				rt.Fatalf("%v s of %v s are counted", sum, want)
			}
			if d := covered.Seconds - wantCovered; d > 1e-5 || d < -1e-5 {
				rt.Fatalf("%v s of %v s are covered", covered.Seconds, wantCovered)
			}
		}
	})
}

// Sums that were rounded differently do not make notes overlap.
func TestEndsThatAlmostMeet(t *testing.T) {
	line, covered := singleLine([]interval{{0, 1 + 1e-10, 72, true}, {1, 2, 60, true}, {2 - 1e-10, 3, 59, true}, {3, 3 + 1e-8, 80, true}}, false)
	if len(line) != 3 || covered.Times != 0 {
		t.Errorf("%v, %d covered", line, covered.Times)
	}
}

// bySampling is the time in which something sounds, and the time of different
// notes beside the first.
func bySampling(all []interval) (sounding, covered float64) {
	edges := edgesOf(all)
	for i := 1; i < len(edges); i++ {
		middle := (edges[i-1].at + edges[i].at) / 2
		heard := map[pitch.Note]bool{}
		for _, v := range all {
			if v.start < middle && middle < v.end {
				heard[v.note] = true
			}
		}
		if len(heard) > 0 {
			sounding += edges[i].at - edges[i-1].at
			covered += float64(len(heard)-1) * (edges[i].at - edges[i-1].at)
		}
	}
	return sounding, covered
}
