package cli

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match"
	"centwise/match/tone"
	"centwise/match/tone/tonetest"
)

// listen runs the command on the world and reads back what it wrote and said.
func (w *world) listen(args ...string) (tonetest.Sound, heard) {
	w.t.Helper()
	file := filepath.Join(w.t.TempDir(), "x.wav")
	code, out, errOut := w.run(append([]string{"listen", "--output", file, "--json"}, args...)...)
	if code != exitOK || errOut != "" {
		w.t.Fatalf("%v: exit %d: %s", args, code, errOut)
	}
	sound, err := tonetest.Read(file)
	if err != nil {
		w.t.Fatal(err)
	}
	var h heard
	if err := json.Unmarshal([]byte(out), &h); err != nil {
		w.t.Fatal(err)
	}
	if h.File != file || math.Abs(h.Seconds-sound.Seconds()) > 1e-3 || h.Rate != sound.Rate || h.Bits != sound.Bits {
		w.t.Errorf("said %g s at %d of %d bits in %s; it is %g s at %d of %d bits in %s",
			h.Seconds, h.Rate, h.Bits, h.File, sound.Seconds(), sound.Rate, sound.Bits, file)
	}
	return sound, h
}

// sounding is an equal-tempered frequency off by some cents, from A4 = 440 and
// the number of semitones above it.
func sounding(semitones int, cents float64) float64 {
	return 440 * math.Pow(2, (float64(semitones)+cents/100)/12)
}

// Every note in the file has the frequency that is worked out here by hand: the
// sounding note of a horn in Bb, and what the shares of horn and mouthpiece sum
// to (13: 24 - 20, open: 6, all else 0), within 0.1 cent.
func TestListenPitchesInTheFile(t *testing.T) {
	w := newWorld(t)
	sound, h := w.listen("Alder", "Plover 16.2", "--as-it-comes", "--range", "G3-C5", "--rate", "44100")
	want := []struct {
		note      string
		semitones int // above the A4 that sounds
		cents     float64
	}{
		{"G3", -16, 4}, {"A3", -14, 0}, {"B3", -12, 0}, {"C4", -11, 6}, {"D4", -9, 4}, {"E4", -7, 0},
		{"F4", -6, 0}, {"G4", -4, 6}, {"A4", -2, 0}, {"B4", 0, 0}, {"C5", 1, 6},
	}
	if len(h.Takes) != 2 || h.Takes[0].Version != "in-tune" || h.Takes[1].Version != "predicted" {
		t.Fatalf("takes %+v", h.Takes)
	}
	for k, take := range h.Takes {
		if len(take.Notes) != len(want) {
			t.Fatalf("%d notes in take %d, want %d", len(take.Notes), k, len(want))
		}
		for i, n := range take.Notes {
			cents := want[i].cents * float64(k)
			hz := sounding(want[i].semitones, cents)
			if n.Note != want[i].note || math.Abs(n.Off-cents) > 1e-9 || math.Abs(pitch.Cents(n.Hz, hz)) > 1e-6 {
				t.Errorf("take %d says %s off by %g at %g Hz, want %s by %g at %g", k, n.Note, n.Off, n.Hz, want[i].note, cents, hz)
			}
			got := sound.Between(n.Start+0.03, n.End-0.05).Hz(hz, hz/2)
			if d := pitch.Cents(got, hz); !(math.Abs(d) < 0.1) {
				t.Errorf("take %d: %s sounds %+.3f cents off what it should", k, n.Note, d)
			}
		}
	}
}

// What is left after slide and throws is what predict says is left; the target
// of just intonation is heard in both versions.
func TestListenAgreesWithPredict(t *testing.T) {
	w := newWorld(t)
	flags := []string{"Alder", "Plover 16.2", "--player", "blue-kite", "--just", "Eb", "--range", "G3-A5"}
	code, out, errOut := w.run(append([]string{"predict", "--json"}, flags...)...)
	var x match.Explanation
	if err := json.Unmarshal([]byte(out), &x); err != nil || code != exitOK {
		t.Fatalf("exit %d, %v: %s", code, err, errOut)
	}
	lines := map[string]match.NoteLine{}
	for _, n := range x.Notes {
		lines[n.Note] = n
	}
	sound, h := w.listen(append(flags, "--pattern", "arpeggio", "--key", "Eb", "--a4-hz", "442", "--rate", "22050", "--bits", "24")...)
	if h.Temperament != "just in Eb" || h.Player != "blue-kite" || h.A4 != 442 {
		t.Errorf("%+v", h)
	}
	biggest := 0.0
	for k, take := range h.Takes {
		var notes []string
		for _, n := range take.Notes {
			notes = append(notes, n.Note)
			line := lines[n.Note]
			off := line.Left * float64(k)
			biggest = max(biggest, math.Abs(off))
			concert, err := pitch.ParseNote(line.Concert)
			if err != nil {
				t.Fatal(err)
			}
			hz := pitch.Shift(concert.Hz(442), line.Target+off)
			if d := pitch.Cents(sound.Between(n.Start+0.03, n.End-0.05).Hz(hz, hz/2), hz); !(math.Abs(d) < 0.1) {
				t.Errorf("take %d: %s sounds %+.3f cents off what it should", k, n.Note, d)
			}
		}
		if got := strings.Join(notes, " "); got != "G3 Bb3 Eb4 G4 Bb4 Eb5 G5" {
			t.Errorf("notes %s", got)
		}
	}
	if biggest < 3 {
		t.Errorf("the predicted version is %g cents off at most: nothing is told apart", biggest)
	}
}

// Notes sound when they are said to: each grows out of silence at its start and
// is there a little later.
func TestListenTimesOfNotes(t *testing.T) {
	sound, h := newWorld(t).listen("Alder", "Plover 16.2", "--pattern", "arpeggio", "--tempo", "200", "--rate", "16000")
	largest := func(from, to float64) float64 {
		x := 0.0
		for _, v := range sound.Between(from, to).Samples {
			x = max(x, math.Abs(v))
		}
		return x
	}
	for _, take := range h.Takes {
		for _, n := range take.Notes {
			edge := max(largest(n.Start-0.001, n.Start+0.001), largest(n.End-0.001, n.End+0.001))
			if body := largest(n.Start+0.03, n.Start+0.05); edge > 0.02*body || body < 0.05 {
				t.Errorf("%s %s at %g s: %g at its ends, %g within", take.Version, n.Note, n.Start, edge, body)
			}
		}
	}
}

// As it comes, a setup sounds the same whatever the target is; only how far off
// that is depends on it.
func TestListenAsItComesWhateverTheTarget(t *testing.T) {
	w := newWorld(t)
	flags := []string{"Alder", "Plover 16.2", "--as-it-comes", "--rate", "8000", "--range", "C4-G4"}
	_, equal := w.listen(flags...)
	_, just := w.listen(append(flags, "--just", "C")...)
	for i, n := range just.Takes[1].Notes {
		target := just.Takes[0].Notes[i].Cents
		if e := equal.Takes[1].Notes[i]; math.Abs(n.Hz-e.Hz) > 1e-9 || math.Abs(n.Off-(e.Off-target)) > 1e-9 {
			t.Errorf("%s: %+v, equal-tempered %+v", n.Note, n, e)
		}
	}
}

// A drone is in tune in both versions, and the note beats with it as often as
// their frequencies differ. C4 open is left 6 cents high before the slide.
func TestListenDrone(t *testing.T) {
	w := newWorld(t)
	sound, h := w.listen("Alder", "Plover 16.2", "--pattern", "drone", "--notes", "C5", "--as-it-comes", "--rate", "22050", "--tempo", "30")
	inTune, high := sounding(1, 0), sounding(1, 6)
	if len(h.Takes) != 2 || *h.Takes[0].Beats != 0 || math.Abs(*h.Takes[1].Beats-(high-inTune)) > 1e-9 {
		t.Fatalf("%+v", h.Takes)
	}
	predicted := h.Takes[1].Notes
	if !predicted[0].Drone || predicted[1].Drone || predicted[1].Start-predicted[0].Start != 2 || predicted[0].End != predicted[1].End {
		t.Fatalf("%+v", predicted)
	}
	alone := sound.Between(predicted[0].Start+0.05, predicted[1].Start)
	if d := pitch.Cents(alone.Hz(inTune, 20), inTune); !(math.Abs(d) < 0.1) {
		t.Errorf("the drone is %+.3f cents off", d)
	}
	// Four bins of 0.34 Hz keep the fifth harmonics, 8 Hz apart, from each other.
	both := sound.Between(predicted[1].Start+0.05, predicted[1].End-0.05)
	for _, hz := range []float64{inTune, high} {
		if d := pitch.Cents(both.Hz(5*hz, 3)/5, hz); !(math.Abs(d) < 0.1) {
			t.Errorf("together with the other, %.3f Hz is %+.3f cents off", hz, d)
		}
	}
}

// Without a note, the one furthest off is held; several are played one by one,
// each in both versions.
func TestListenDroneNotes(t *testing.T) {
	w := newWorld(t)
	names := func(h heard) string {
		var out []string
		for _, take := range h.Takes {
			out = append(out, take.Version+" "+take.Notes[0].Note)
		}
		return strings.Join(out, ", ")
	}
	_, h := w.listen("Alder", "Dunlin 16.6", "--pattern", "drone", "--as-it-comes", "--rate", "8000", "--tempo", "300", "--range", "F#3-B3")
	if got := names(h); got != "in-tune F#3, predicted F#3" { // 123: 30; 13: 24; 2: -12
		t.Error(got)
	}
	_, h = w.listen("Alder", "Dunlin 16.6", "--pattern", "drone", "--notes", "G4, Bb4", "--rate", "8000", "--tempo", "300")
	if got := names(h); got != "in-tune G4, predicted G4, in-tune Bb4, predicted Bb4" {
		t.Error(got)
	}
	_, h = w.listen("Alder", "Dunlin 16.6", "--pattern", "drone", "--notes", "G4,Bb4", "--only", "predicted", "--rate", "8000", "--tempo", "300")
	if got := names(h); got != "predicted G4, predicted Bb4" {
		t.Error(got)
	}
}

// The versions are equally loud in the file, whose peak stays below the limit,
// and the silence is as long as it is said.
func TestListenLevelsAndGaps(t *testing.T) {
	w := newWorld(t)
	for _, args := range [][]string{
		{"--pause", "0.7"}, {"--loudness", "-10", "--dynamic", "loud"}, {"--pattern", "drone", "--as-it-comes", "--pause", "0"}, {"--bits", "24", "--dynamic", "soft"},
	} {
		sound, h := w.listen(append(args, "Alder", "Plover 16.2", "--rate", "16000", "--range", "C4-G4", "--tempo", "150")...)
		at := h.LeadSeconds
		for _, take := range h.Takes {
			if math.Abs(take.Start-at) > 1e-9 {
				t.Errorf("%v: %s starts at %g, want %g", args, take.Version, take.Start, at)
			}
			at = take.End + h.GapSeconds
			loudness, peak := tone.Loudness(sound.Between(take.Start, take.End).Samples, sound.Rate)
			if math.Abs(loudness-h.Takes[0].LUFS) > 0.1 || math.Abs(take.LUFS-h.Takes[0].LUFS) > 1e-9 {
				t.Errorf("%v: %s has loudness %g, said %g", args, take.Version, loudness, take.LUFS)
			}
			if peak > -2.99 || math.Abs(peak-take.TruePeak) > 0.05 {
				t.Errorf("%v: %s peaks at %g, said %g", args, take.Version, peak, take.TruePeak)
			}
			for _, silent := range []tonetest.Sound{sound.Between(take.Start-h.GapSeconds, take.Start), sound.Between(take.End, take.End+h.GapSeconds)} {
				for _, x := range silent.Samples {
					if x != 0 && h.GapSeconds > 0 {
						t.Fatalf("%v: no silence beside %s", args, take.Version)
					}
				}
			}
		}
		if want := h.Takes[1].End + h.LeadSeconds; math.Abs(h.Seconds-want) > 1e-9 {
			t.Errorf("%v: %g s, want %g", args, h.Seconds, want)
		}
	}
	_, h := w.listen("Alder", "Plover 16.2", "--loudness", "-10", "--dynamic", "loud", "--rate", "16000", "--range", "C4-G4")
	if said := strings.Join(h.Words, " "); h.Takes[0].LUFS > -11 || !strings.Contains(said, "below the -10 asked for") {
		t.Errorf("the peaks allow %g LUFS: %s", h.Takes[0].LUFS, said)
	}
}

func TestListenTable(t *testing.T) {
	w := newWorld(t)
	file := filepath.Join(t.TempDir(), "x.wav")
	args := []string{"listen", "Rowan", "Dunlin 16.6", "--as-it-comes", "--pattern", "chromatic", "--range", "A4-C5", "--tempo", "120", "--rate", "8000", "-o", file}
	code, out, errOut := w.run(append(args, "--csv")...)
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || code != exitOK || errOut != "" || len(rows) != 9 {
		t.Fatalf("exit %d, %v, %d rows: %s", code, err, len(rows), errOut)
	}
	// A horn in C sounds as written; Rowan's 12 is 9 sharp, Dunlin's 2 is 12 flat.
	for i, want := range map[int]string{
		0: "version,what,start_s,end_s,note,concert,valves,off,cents,sd,frequency_hz",
		1: "in-tune,note,0.5,1,A4,A4,12,0,0,0,440",
		5: "predicted,note,3.5,4,A4,A4,12,9,9,2,442.29334",
		7: "predicted,note,4.5,5,B4,B4,2,-12,-12,2,490.47180",
	} {
		if got := strings.Join(rows[i], ","); !strings.HasPrefix(got, want) {
			t.Errorf("row %d: %s, want %s", i, got, want)
		}
	}
	if code, out, errOut = w.run(args...); code != exitFailed || out != "" || !strings.Contains(errOut, "exists already") {
		t.Errorf("onto a file that is there: exit %d, %s", code, errOut)
	}
	code, out, errOut = w.run(append(args, "--force")...)
	said := strings.Join(strings.Fields(errOut), " ")
	for _, want := range []string{"6.0 s, one channel, 8000 samples a second of 16 bits", "First in tune (equal temperament), then as predicted before slide and throws",
		"1 s of silence between, 0.5 s of silence before and after", "Predicted highest: A4 by +9.0 cents; lowest: B4 by -12.0 cents", "loudness -23.0 LUFS", "true peak", cautionLoud} {
		if !strings.Contains(said, want) {
			t.Errorf("stderr lacks %q: %s", want, said)
		}
	}
	if code != exitOK || !strings.HasPrefix(out, "version\twhat\tstart_s\t") {
		t.Errorf("exit %d: %s", code, out)
	}
}

func TestListenRefuses(t *testing.T) {
	w := newWorld(t)
	folder := t.TempDir()
	file := filepath.Join(folder, "x.wav")
	for _, c := range []struct {
		want string
		args []string
		code int
	}{
		{"name the file to write", nil, exitUsage},
		{"use one of scale, chromatic, arpeggio, drone", []string{"-o", file, "--pattern", "song"}, exitUsage},
		{"use one of in-tune, predicted", []string{"-o", file, "--only", "x"}, exitUsage},
		{"use one of soft, medium, loud", []string{"-o", file, "--dynamic", "ff"}, exitUsage},
		{"--tempo 0: give 20 to 400 beats a minute", []string{"-o", file, "--tempo", "0"}, exitUsage},
		{"--tempo NaN: give 20 to 400", []string{"-o", file, "--tempo", "NaN"}, exitUsage},
		{"--pause -1: give 0 to 60 s", []string{"-o", file, "--pause", "-1"}, exitUsage},
		{"--a4-hz 44: give 380 to 500 Hz", []string{"-o", file, "--a4-hz", "44"}, exitUsage},
		{"--loudness 0: give -50 to -10 LUFS", []string{"-o", file, "--loudness", "0"}, exitUsage},
		{"--rate 4000: give 8000 to 192000", []string{"-o", file, "--rate", "4000"}, exitUsage},
		{"--bits 8: give 16 or 24", []string{"-o", file, "--bits", "8"}, exitUsage},
		{`"H" is not a tonic`, []string{"-o", file, "--key", "H"}, exitUsage},
		{"--key does not go with --pattern drone", []string{"-o", file, "--key", "C", "--pattern", "drone"}, exitUsage},
		{"--key does not go with --pattern chromatic", []string{"-o", file, "--key", "C", "--pattern", "chromatic"}, exitUsage},
		{"--notes does not go with --pattern scale", []string{"-o", file, "--notes", "C4"}, exitUsage},
		{`"X4" is not a note`, []string{"-o", file, "--pattern", "drone", "--notes", "X4"}, exitUsage},
		{"names no note", []string{"-o", file, "--pattern", "drone", "--notes", ","}, exitUsage},
		{"nothing is predicted for C7; the range is F#3 to C6", []string{"-o", file, "--pattern", "drone", "--notes", "C7"}, exitFailed},
		{"has no note that is predicted from D4 to Eb4", []string{"-o", file, "--pattern", "arpeggio", "--range", "D4-Eb4"}, exitUsage},
		{"--no-throws adds nothing", []string{"-o", file, "--as-it-comes", "--no-throws"}, exitUsage},
		{"folder", []string{"-o", filepath.Join(folder, "folder", "x.wav")}, exitFailed},
	} {
		code, out, errOut := w.run(append([]string{"listen", "Alder", "Plover 16.2"}, c.args...)...)
		if code != c.code || out != "" || !strings.Contains(errOut, c.want) || !strings.Contains(errOut, "Try: ") {
			t.Errorf("%v: exit %d, want %d; output %q; stderr %s", c.args, code, c.code, out, errOut)
		}
	}
	if left, err := os.ReadDir(folder); err != nil || len(left) > 0 {
		t.Errorf("%v was left, %v", left, err)
	}
}

// A programme that is too long, or too high for the rate, says which flag to change.
func TestListenNotPlayable(t *testing.T) {
	p := tone.Programme{Rate: 8000, LUFS: -23, PeakDB: -3, Takes: []tone.Take{{{End: 3601, Hz: 440, Dynamic: 0.5}}}}
	p.Takes[0][0].End = 3600
	p.LeadSeconds = 1
	if err := playable(p); !usageOf(err, "it would last 61 minutes") {
		t.Errorf("error %v", err)
	}
	p.LeadSeconds, p.Takes[0][0].Hz = 0, 4000
	if err := playable(p); !usageOf(err, "4000 Hz is too high for 8000 samples a second") {
		t.Errorf("error %v", err)
	}
}

// Ctrl-C leaves neither the file nor a temporary one, nor takes away the file
// that was there.
func TestListenStopped(t *testing.T) {
	w := newWorld(t)
	folder := t.TempDir()
	file := filepath.Join(folder, "x.wav")
	if err := os.WriteFile(file, []byte("before"), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	s, out, errOut := Test("")
	f := NewFactory(s)
	f.Getenv = func(string) string { return "" }
	f.catalogFlag = w.path
	f.Engine = func(context.Context, catalog.Store, catalog.Counter) (match.Engine, error) {
		cancel()
		return w, nil
	}
	code := Run(ctx, f, []string{"listen", "Alder", "Plover 16.2", "--catalog", w.path, "-o", file, "--force"})
	if code != exitCancelled || out.Len() > 0 || !strings.Contains(errOut.String(), "stopped") {
		t.Errorf("exit %d, %q, %s", code, out, errOut)
	}
	content, err := os.ReadFile(file)
	left, listErr := os.ReadDir(folder)
	if err != nil || listErr != nil || string(content) != "before" || len(left) != 1 {
		t.Errorf("left %v with %q (%v, %v)", left, content, err, listErr)
	}
}
