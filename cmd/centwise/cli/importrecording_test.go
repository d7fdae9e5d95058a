package cli

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/tone"
)

func TestImportRecordingOptions(t *testing.T) {
	for _, tc := range []struct {
		name string
		args []string
		want recordingOptions
		err  string
	}{
		{name: "gear", args: []string{"a.wav", "b.flac", "--horn", "Alder", "--mouthpiece", "Plover 16.2", "--player", "reed-otter", "--a4-hz", "442", "-y"},
			want: recordingOptions{files: []string{"a.wav", "b.flac"}, horn: "Alder", mouthpiece: "Plover 16.2", player: "reed-otter", a4: "442", yes: true}},
		{name: "a look", args: []string{"a.wav", "--dry-run", "--json"}, want: recordingOptions{files: []string{"a.wav"}, dryRun: true, json: true}},
		{name: "notes", args: []string{"a.wav", "--horn", "Alder", "--notes", "C4-C5", "--set", "3=E4", "--set", "4=out", "--reference", "440,5", "--dry-run"},
			want: recordingOptions{files: []string{"a.wav"}, horn: "Alder", notes: "C4-C5", set: []string{"3=E4", "4=out"}, reference: "440,5", dryRun: true}},
		{name: "no file", err: "an argument is missing"},
		{name: "not a reference", args: []string{"a.wav", "--reference", "loud"}, err: "write a number of Hz"},
		{name: "too low a reference", args: []string{"a.wav", "--reference", "50"}, err: "give 100 to 2500 Hz"},
		{name: "not a choice", args: []string{"a.wav", "--set", "E4"}, err: "write the number of a tone"},
		{name: "tone nought", args: []string{"a.wav", "--set", "0=E4"}, err: "write the number of a tone"},
		{name: "not a note", args: []string{"a.wav", "--set", "1=X4"}, err: `"X4" is not a note`},
		{name: "not a date", args: []string{"a.wav", "--date", "yesterday"}, err: "write year, month and day"},
		{name: "notes without a horn", args: []string{"a.wav", "--notes", "C4", "--dry-run"}, err: "--horn is missing"},
		{name: "two orders", args: []string{"a.wav", "--notes", "C4", "--nearest"}, err: "cannot be used together"},
		{name: "yes and no", args: []string{"a.wav", "--yes", "--dry-run"}, err: "cannot be used together"},
		{name: "one picture twice", args: []string{"a.wav", "--svg", "x", "--png", "x"}, err: "name the same file"},
	} {
		f := closedFactory(t)
		var got *recordingOptions
		err := parse(newImportRecordingCmd(f, func(o *recordingOptions) error { got = o; return nil }), tc.args...)
		if tc.err != "" {
			if !usageOf(err, tc.err) {
				t.Errorf("%s: error %v, want usage error with %q", tc.name, err, tc.err)
			}
			continue
		}
		tc.want.factory = f
		if err != nil || !reflect.DeepEqual(*got, tc.want) {
			t.Errorf("%s: %+v (%v), want %+v", tc.name, got, err, tc.want)
		}
	}
}

// record writes tones of a second and a half as a WAV file: sounding pitches in Hz.
func record(t *testing.T, hz ...float64) string {
	t.Helper()
	p := tone.Programme{Rate: 16000, LeadSeconds: 0.3, GapSeconds: 0.3, LUFS: -23, PeakDB: -3}
	for _, f := range hz {
		p.Takes = append(p.Takes, tone.Take{{Start: 0, End: 1.5, Hz: f, Dynamic: tone.Medium}})
	}
	path := filepath.Join(t.TempDir(), "sitting.wav")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if _, err := tone.WriteWAV(context.Background(), file, p, 16); err != nil {
		t.Fatal(err)
	}
	return path
}

// written is the sounding pitch of a written note on a B-flat trumpet, in Hz, off
// by some cents.
func written(t *testing.T, note string, cents float64) float64 {
	t.Helper()
	n, err := pitch.ParseNote(note)
	if err != nil {
		t.Fatal(err)
	}
	return pitch.Shift((n - 2).Hz(440), cents)
}

// The recorder's clock, 4 cents slow, is put right by the reference, in what is
// shown and in what is recorded, and said in the remark.
func TestRecordingWithReference(t *testing.T) {
	const slow = -4.0
	w := newWorld(t)
	file := record(t, pitch.Shift(440, slow), written(t, "C4", 7+slow), written(t, "D4", -12+slow), written(t, "E4", slow))
	args := []string{"import", "recording", file, "--reference", "440", "--horn", "alder", "--mouthpiece", "plover 16.2", "--player", "blue-kite", "--notes", "C4 D4 E4", "--remark", "cold", "--date", "2026-03-14", "--name", "Clock", "--yes", "--json"}
	code, out, errOut := w.run(args...)
	if code != exitOK || errOut != "" {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	var got struct {
		Tones []struct {
			Tone        int
			Written     string
			Deviation   float64 `json:"deviation_cents"`
			FrequencyHz float64 `json:"frequency_hz"`
		}
		Files []struct {
			Clock float64 `json:"clock_cents"`
		}
		Reference float64 `json:"reference_hz"`
		Stored    bool
		Session   string
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Tones) != 3 || math.Abs(got.Files[0].Clock-slow) > 0.05 || got.Reference != 440 || !got.Stored || got.Session != "Clock" {
		t.Fatalf("%+v", got)
	}
	for i, want := range []struct {
		note  string
		cents float64
	}{{"C4", 7}, {"D4", -12}, {"E4", 0}} {
		if x := got.Tones[i]; x.Written != want.note || math.Abs(x.Deviation-want.cents) > 0.1 {
			t.Errorf("tone %d: %+v, want %+v", i+1, x, want)
		}
	}
	s := w.session("Clock")
	if s.Method != catalog.MethodRecording || s.Source != "sitting.wav" || !strings.Contains(s.Remark, "cold; recorder clock of sitting.wav corrected by +4.0") ||
		len(s.Readings) != 3 || math.Abs(s.Readings[1].Cents+12) > 0.1 || !s.At.Equal(time.Date(2026, 3, 14, 0, 0, 0, 0, time.Local)) {
		t.Errorf("recorded %+v", s)
	}
	if code, _, errOut := w.run(append(args, "--reference", "1000")...); code != exitFailed || !strings.Contains(errOut, "no steady tone near 1000 Hz") {
		t.Errorf("exit %d: %s", code, errOut)
	}
}

// A tone between two notes is shown with both, left out even with --yes, which the
// exit code says, and taken when --set decides.
func TestRecordingInDoubt(t *testing.T) {
	w := newWorld(t)
	file := record(t, written(t, "C4", 0), written(t, "A4", 0), written(t, "F4", 46), written(t, "C5", 0), written(t, "G4", 0))
	args := []string{"import", "recording", file, "--nearest", "--horn", "Alder", "--mouthpiece", "Plover 16.2", "--player", "blue-kite"}
	code, out, errOut := w.run(append(args, "--dry-run")...)
	if code != exitOK || !strings.Contains(out, "or F#4") && !strings.Contains(out, "or F4") || !strings.Contains(errOut, "In doubt and left out: 1 tone. Say what they are, as in --set 3=") {
		t.Errorf("exit %d:\n%s\n%s", code, out, errOut)
	}
	if code, _, errOut = w.run(append(args, "--yes", "--name", "Doubt")...); code != exitSkipped || !strings.Contains(errOut, "1 tone in doubt and left out") {
		t.Errorf("with --yes exit %d: %s", code, errOut)
	}
	if n := len(w.session("Doubt").Readings); n != 4 {
		t.Errorf("%d readings, want 4", n)
	}
	if code, _, errOut = w.run(append(args, "--yes", "--name", "Decided", "--set", "3=2/3")...); code != exitOK {
		t.Errorf("with --set exit %d: %s", code, errOut)
	}
	if r := w.session("Decided").Readings; len(r) != 5 {
		t.Errorf("%d readings, want 5", len(r))
	}
}

// The key of the horn decides what is written: on Rowan, in C, notes are written
// as they sound.
func TestRecordingOfOtherKeys(t *testing.T) {
	w := newWorld(t)
	file := record(t, 261.63, 293.66, 329.63)
	code, out, errOut := w.run("import", "recording", file, "--horn", "Rowan", "--dry-run", "--json")
	if code != exitOK {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	for _, want := range []string{`"written":"C4"`, `"written":"D4"`, `"written":"E4"`} {
		if !strings.Contains(strings.ReplaceAll(out, `": "`, `":"`), want) {
			t.Errorf("%s is missing in %s", want, out)
		}
	}
}

// Nothing to record is an error that says what to do; to look is none.
func TestRecordingOfNothing(t *testing.T) {
	w := newWorld(t)
	file := record(t, 100) // far below what a trumpet plays
	args := []string{"import", "recording", file, "--horn", "Alder", "--mouthpiece", "Plover 16.2", "--player", "blue-kite"}
	if code, _, errOut := w.run(append(args, "--yes")...); code != exitFailed || !strings.Contains(errOut, "no note was heard that can be recorded") {
		t.Errorf("exit %d: %s", code, errOut)
	}
	if code, out, errOut := w.run(append(args, "--dry-run", "--json")...); code != exitOK || !strings.Contains(out, `"readings":0`) && !strings.Contains(out, `"readings": 0`) {
		t.Errorf("exit %d: %s%s", code, out, errOut)
	}
	if code, _, errOut := w.run("import", "recording", file, "--horn", "Alder", "--mouthpiece", "Ruff 16.0", "--player", "blue-kite", "--yes"); code != exitFailed || !strings.Contains(errOut, "does not fit") {
		t.Errorf("a shank that does not fit: exit %d: %s", code, errOut)
	}
	if code, _, errOut := w.run("import", "recording", t.TempDir(), "--dry-run"); code != exitFailed || !strings.Contains(errOut, "is a folder") {
		t.Errorf("a folder: exit %d: %s", code, errOut)
	}
}

// What --set decides counts in what is said of the notes as a whole: which were
// not heard, which were none, and how sharp all are.
func TestRecordingAfterSet(t *testing.T) {
	w := newWorld(t)
	file := record(t, written(t, "C4", 40), written(t, "D4", 0), written(t, "A4", 0))
	args := []string{"import", "recording", file, "--horn", "Alder", "--notes", "C4 D4 F4", "--dry-run"}
	if _, _, errOut := w.run(args...); !strings.Contains(errOut, "Not heard: F4.") || !strings.Contains(errOut, "None of the expected notes: tone 3.") {
		t.Fatal(errOut)
	}
	code, _, errOut := w.run(append(args, "--set", "1=out", "--set", "3=F4")...)
	if code != exitOK || !strings.Contains(errOut, "Not heard: C4.") || strings.Contains(errOut, "None of the expected notes") {
		t.Errorf("exit %d: %s", code, errOut)
	}
	if code, _, errOut = w.run(append(args, "--set", "1=out", "--set", "3=out")...); code != exitOK || !strings.Contains(errOut, "All notes together are 0 cents") {
		t.Errorf("exit %d: %s", code, errOut)
	}
}
