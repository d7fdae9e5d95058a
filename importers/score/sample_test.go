package score

import (
	"context"
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"

	"centwise/catalog/pitch"
)

var update = flag.Bool("update", false, "write testdata/score anew")

var sampleFolder = filepath.Join("..", "..", "testdata", "score")

func sample(name string) string { return filepath.Join(sampleFolder, "lantern-walk."+name) }

// sampleMIDI is the piece of the sample score, written out: 96 ticks a quarter,
// sounding pitch.
func sampleMIDI(t *testing.T) string {
	const quarter = 96
	named := func(name string, program uint8, channel uint8, track smf.Track) smf.Track {
		var out smf.Track
		out.Add(0, smf.MetaTrackSequenceName(name))
		out.Add(0, midi.ProgramChange(channel, program))
		return append(out, track...)
	}
	first := []played{{70, quarter}, {74, quarter}, {77, 2 * quarter}}  // C5 E5 G5
	volta := []played{{75, 3 * quarter}, {0, quarter}}                  // F5
	close := []played{{70, 6 * quarter}, {0, 2 * quarter}}              // C5
	slow := []played{{72, 48}, {73, 48}, {72, 48}, {73, 48}, {72, 192}} // D5 Eb5 D5 Eb5 D5
	low := []played{{58, 2 * quarter}, {51, 2 * quarter}}               // C4 F3
	var one []played
	for _, p := range [][]played{first, volta, first, close, slow, low, first, close} {
		one = append(one, p...)
	}
	var conductor, drum smf.Track
	conductor.Add(0, smf.MetaTrackSequenceName("Lantern Walk"))
	conductor.Add(0, smf.MetaTempo(96))
	conductor.Add(20*quarter, smf.MetaTempo(75)) // behind 1 2 1 3 4
	conductor.Add(8*quarter, smf.MetaTempo(96))
	for _, wait := range []uint32{0, 7 * quarter, 19 * quarter} {
		drum.Add(wait, midi.NoteOn(percussionChannel, 38, 90))
		drum.Add(quarter, midi.NoteOff(percussionChannel, 38))
	}
	return midiFile(t, smf.NewSMF1, smf.MetricTicks(quarter), conductor,
		named("Trumpet 1", 56, 0, trackOf(0, one...)),
		named("Flute", 73, 2, trackOf(2, played{86, 4 * quarter})),
		named("Side Drum", 0, percussionChannel, drum))
}

// The sample in its three forms gives what counting by hand does: a quarter is
// 0.625 s, in measures 5 and 6 0.8 s; played are the measures 1 2 1 3 4 5 6 1 3 4.
func TestSample(t *testing.T) {
	if *update {
		content, err := os.ReadFile(sample("musicxml"))
		if err != nil {
			t.Fatal(err)
		}
		for name, text := range map[string]string{
			"mid": sampleMIDI(t),
			"mxl": archiveOf(t, "META-INF/container.xml", container("lantern-walk.musicxml"), "lantern-walk.musicxml", string(content)),
		} {
			if err := os.WriteFile(sample(name), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	want := map[pitch.Note]float64{
		60: 2 * 0.8,           // C4
		72: (3 + 2*6) * 0.625, // C5: three quarters in measure 1, two tied notes
		74: (2*0.5 + 2) * 0.8, // D5
		75: 2 * 0.5 * 0.8,     // E flat 5
		76: 3 * 0.625,         // E5
		77: 3 * 0.625,         // F5
		79: 3 * 2 * 0.625,     // G5
	}
	for _, format := range []string{"musicxml", "mxl", "mid"} {
		s, err := ReadFile(context.Background(), sample(format))
		if err != nil {
			t.Fatal(err)
		}
		p, err := s.Part("trumpet 1", Options{})
		if err != nil {
			t.Fatal(err)
		}
		if s.Title != "Lantern Walk" {
			t.Errorf("%s: title %q", format, s.Title)
		}
		sameDurations(t, p.Durations, want)
		if got := times(p); got != "C4=1 C5=5 D5=3 Eb5=2 E5=3 F5=1 G5=3" {
			t.Errorf("%s: struck %s", format, got)
		}
		if len(p.Beyond) != 1 || p.Beyond[0].Note != 53 || p.Beyond[0].Times != 1 || math.Abs(p.Beyond[0].Seconds-1.6) > 1e-9 {
			t.Errorf("%s: beyond the range %v", format, p.Beyond)
		}
		if math.Abs(p.Seconds-(32*0.625+8*0.8)) > 1e-9 {
			t.Errorf("%s: lasts %v s", format, p.Seconds)
		}
	}
}
