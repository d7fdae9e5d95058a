package cli

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"centwise/catalog/pitch"
)

// sample is a piece that the README beside it describes: quarters of 0.625 s, for
// an instrument in B flat.
func sample(ending string) string {
	return filepath.Join("..", "..", "..", "testdata", "score", "lantern-walk"+ending)
}

// melody writes the notes of a take: "C5:0-0.625".
func melody(take heardTake) string {
	var out []string
	for _, n := range take.Notes {
		out = append(out, fmt.Sprintf("%s:%.6g-%.6g", n.Note, n.Start-take.Start, n.End-take.Start))
	}
	return strings.Join(out, " ")
}

// From the README: measures 1 2 1 3 4 5 6 1 3 4, the second strain in quarters of
// 0.8 s; a rest of a quarter in 2 and of a half in 4, tied over from 3.
const lanternWalk = "C5:0-0.625 E5:0.625-1.25 G5:1.25-2.5 F5:2.5-4.375 C5:5-5.625 E5:5.625-6.25 G5:6.25-7.5 C5:7.5-11.25 " +
	"D5:12.5-12.9 Eb5:12.9-13.3 D5:13.3-13.7 Eb5:13.7-14.1 D5:14.1-15.7 C4:15.7-17.3 F3:17.3-18.9 " +
	"C5:18.9-19.525 E5:19.525-20.15 G5:20.15-21.4 C5:21.4-25.15"

// The part is played as written, and every note of it sounds as high as it
// should: in Bb, with 6 cents on open notes and 8 on the first valve, by hand.
func TestListenPart(t *testing.T) {
	w := newWorld(t)
	flags := []string{"Alder", "Plover 16.2", "--player", "blue-kite", "--as-it-comes", "--rate", "22050", "--part-name", "Trumpet 1"}
	sound, h := w.listen(append(flags, "--part", sample(".mxl"))...)
	if h.Pattern != "part" || h.Part == nil || h.Part.Name != "Trumpet 1" || h.Part.From != 0 || h.Tempo != 0 || len(h.Takes) != 2 {
		t.Fatalf("%+v", h)
	}
	cents := map[string]float64{"C4": 6, "C5": 6, "E5": 6, "G5": 6, "D5": 8, "F5": 8, "Eb5": 0, "F3": 0}
	for k, take := range h.Takes {
		if got := melody(take); got != lanternWalk {
			t.Errorf("take %d is %s, want %s", k, got, lanternWalk)
		}
		for _, n := range take.Notes {
			written, err := pitch.ParseNote(n.Note)
			if err != nil {
				t.Fatal(err)
			}
			hz := sounding(int(written)-2-69, cents[n.Note]*float64(k))
			if d := pitch.Cents(sound.Between(n.Start+0.03, n.End-0.05).Hz(hz, hz/3), hz); !(math.Abs(d) < 0.1) {
				t.Errorf("take %d: %s at %g s sounds %+.3f cents off what it should", k, n.Note, n.Start, d)
			}
		}
	}
	said := strings.Join(h.Words, " ")
	if strings.Join(h.Unknown, " ") != "F3" || h.LeftOut != nil || !strings.Contains(said, "nothing is predicted for them: F3.") || strings.Contains(said, "wider") {
		t.Errorf("unknown %v, left out %v: %s", h.Unknown, h.LeftOut, said)
	}
	for _, want := range []string{"The part is Trumpet 1, from 0 to 26.4 s.", "Passed over in the part: 3 grace notes."} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not said: %s", want, said)
		}
	}
	// MIDI says the same music by what sounds.
	_, same := w.listen(append(flags, "--part", sample(".mid"))...)
	for k := range h.Takes {
		for i, n := range h.Takes[k].Notes {
			if m := same.Takes[k].Notes[i]; n.Note != m.Note || math.Abs(n.Start-m.Start) > 1e-3 || n.Hz != m.Hz {
				t.Errorf("MusicXML %+v, MIDI %+v", n, m)
			}
		}
	}
}

// A horn in another key plays what is written, or what sounds.
func TestListenPartInAnotherKey(t *testing.T) {
	w := newWorld(t)
	for _, c := range []struct {
		file, note string
		more       []string
	}{{".musicxml", "C5", nil}, {".musicxml", "Bb4", []string{"--transpose"}}, {".mid", "Bb4", nil}} {
		_, h := w.listen(append([]string{"Rowan", "Dunlin 16.6", "--part", sample(c.file), "--part-name", "1", "--excerpt", "0-1", "--rate", "8000"}, c.more...)...)
		if n := h.Takes[0].Notes[0]; n.Note != c.note || n.Concert != c.note {
			t.Errorf("%s %v: %s sounding %s, want %s", c.file, c.more, n.Note, n.Concert, c.note)
		}
	}
}

// An excerpt cuts the notes at its ends; notes beyond the range are played in
// tune and named.
func TestListenPartExcerpt(t *testing.T) {
	w := newWorld(t)
	_, h := w.listen("Alder", "Plover 16.2", "--part", sample(".musicxml"), "--part-name", "1", "--excerpt", "1-6", "--range", "C5-E5", "--rate", "8000", "--only", "predicted")
	if got := melody(h.Takes[0]); got != "E5:0-0.25 G5:0.25-1.5 F5:1.5-3.375 C5:4-4.625 E5:4.625-5" {
		t.Error(got)
	}
	if said := strings.Join(h.Words, " "); !strings.Contains(said, "predicted for them: F5, G5. A wider --range may help") || h.Part.From != 1 || h.Part.To != 6 {
		t.Errorf("%+v: %s", h.Part, said)
	}
	// The second trumpet has chords: the highest note, or the lowest.
	var lines [2]string
	for i, more := range [][]string{nil, {"--lowest"}} {
		_, h := w.listen(append([]string{"Alder", "Plover 16.2", "--part", sample(".musicxml"), "--part-name", "2", "--rate", "8000"}, more...)...)
		lines[i] = melody(h.Takes[0])
	}
	if lines[0] == lines[1] {
		t.Errorf("highest and lowest are both %s", lines[0])
	}
}

func TestListenPartRefuses(t *testing.T) {
	w := newWorld(t)
	file := filepath.Join(t.TempDir(), "x.wav")
	for _, c := range []struct {
		want string
		args []string
		code int
	}{
		{"name the file that has the part", []string{"--pattern", "part"}, exitUsage},
		{"--part does not go with --pattern scale", []string{"--pattern", "scale", "--part", sample(".mid")}, exitUsage},
		{"--tempo does not go with --pattern part", []string{"--part", sample(".mid"), "--tempo", "90"}, exitUsage},
		{"--excerpt does not go with --pattern scale", []string{"--excerpt", "0-3"}, exitUsage},
		{"the earlier first", []string{"--part", sample(".mid"), "--excerpt", "5-3"}, exitUsage},
		{"the earlier first", []string{"--part", sample(".mid"), "--excerpt", "x"}, exitUsage},
		{"the earlier first", []string{"--part", sample(".mid"), "--excerpt", "NaN-3"}, exitUsage},
		{"several parts", []string{"--part", sample(".musicxml")}, exitFailed},
		{"no part \"tuba\"", []string{"--part", sample(".mid"), "--part-name", "tuba"}, exitFailed},
		{"no note to play in the seconds 100 to 101", []string{"--part", sample(".mid"), "--part-name", "1", "--excerpt", "100-101"}, exitFailed},
		{"none.mid", []string{"--part", "none.mid"}, exitFailed},
	} {
		code, out, errOut := w.run(append([]string{"listen", "Alder", "Plover 16.2", "-o", file}, c.args...)...)
		if code != c.code || out != "" || !strings.Contains(errOut, c.want) || !strings.Contains(errOut, "Try: ") {
			t.Errorf("%v: exit %d, want %d; output %q; stderr %s", c.args, code, c.code, out, errOut)
		}
	}
}
