package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/sqlstore"
	"centwise/match"
	"centwise/match/protocol"
)

func TestMeasureOptions(t *testing.T) {
	for _, tc := range []struct {
		name string
		args []string
		want measureOptions
		err  string
	}{
		{name: "nothing", want: measureOptions{rounds: "3", slots: "usual"}},
		{name: "everything", args: []string{"--horn", "Alder", "--mouthpiece", "Plover 16.2", "--player", "reed-otter", "--contributor", "fern-vole", "--a4-hz", "442",
			"--temperature-c", "21,5", "--slide-mm", "12.5", "--gap-mm", "3", "--dynamic", "mf", "--name", "x", "--date", "2026-03-14", "--remark", "cold", "--adapter",
			"--rounds", "2", "--order", "4711", "--slots", "all", "--range", "C4-G5", "--no-fit", "--json"},
			want: measureOptions{horn: "Alder", mouthpiece: "Plover 16.2", player: "reed-otter", contributor: "fern-vole", a4: "442", temperature: "21,5", slide: "12.5", gap: "3",
				dynamic: "mf", name: "x", date: "2026-03-14", remark: "cold", adapter: true, rounds: "2", given: true, order: "4711", slots: "all", notes: "C4-G5", noFit: true, json: true}},
		{name: "resume the latest", args: []string{"--resume"}, want: measureOptions{rounds: "3", slots: "usual", resume: true}},
		{name: "resume one", args: []string{"--resume", "Monday", "--name", "Tuesday"}, want: measureOptions{rounds: "3", slots: "usual", resume: true, draft: "Monday", name: "Tuesday"}},
		{name: "an argument", args: []string{"Alder"}, err: `"Alder" is one argument too many`},
		{name: "resume with gear", args: []string{"--resume", "--horn", "Alder", "--rounds", "2"}, err: "--horn and --rounds was decided"},
		{name: "html without sheet", args: []string{"--html", "x.html"}, err: "go with --sheet"},
		{name: "sheet and resume", args: []string{"--sheet", "--resume"}, err: "cannot be used together"},
		{name: "A4", args: []string{"--a4-hz", "high"}, err: "write a number of Hz"},
		{name: "temperature", args: []string{"--temperature-c", "NaN"}, err: "write a number of C"},
		{name: "date", args: []string{"--date", "14.3.2026"}, err: "write year, month and day"},
		{name: "rounds", args: []string{"--rounds", "0"}, err: "from 1 to 20"},
		{name: "order", args: []string{"--order", "-1"}, err: "whole number from 0"},
		{name: "slots", args: []string{"--slots", "some"}, err: "use usual or all"},
		{name: "range", args: []string{"--range", "G5-C4"}, err: "--range"},
	} {
		f := closedFactory(t)
		var got *measureOptions
		err := parse(newMeasureCmd(f, func(o *measureOptions) error { got = o; return nil }), tc.args...)
		if tc.err != "" {
			if !usageOf(err, tc.err) {
				t.Errorf("%s: error %v, want usage error with %q", tc.name, err, tc.err)
			}
			continue
		}
		tc.want.factory = f
		if err != nil || !reflect.DeepEqual(*got, tc.want) {
			t.Errorf("%s: %+v (error %v), want %+v", tc.name, got, err, tc.want)
		}
	}
}

// typed runs a command line with somebody who types the lines.
func (w *world) typed(lines []string, args ...string) (code int, out, errOut string) {
	w.t.Helper()
	s, outBuffer, errBuffer := Test(strings.Join(append(lines, ""), "\n"))
	s.Person = true
	f := w.factory(s)
	code = Run(context.Background(), f, args)
	return code, outBuffer.String(), errBuffer.String()
}

// piped runs a command line with lines from a file.
func (w *world) piped(in string, args ...string) (code int, out, errOut string) {
	w.t.Helper()
	s, outBuffer, errBuffer := Test(in)
	code = Run(context.Background(), w.factory(s), args)
	return code, outBuffer.String(), errBuffer.String()
}

// factory is one whose catalog and engine are the world's.
func (w *world) factory(s *Streams) *Factory {
	f := NewFactory(s)
	f.Now = func() time.Time { return time.Date(2026, 3, 14, 19, 30, 0, 0, time.UTC) }
	f.Getenv = func(name string) string { return map[string]string{"CENTWISE_CATALOG": w.path}[name] }
	f.Engine = func(context.Context, catalog.Store, catalog.Counter) (match.Engine, error) {
		w.opened++
		return w, nil
	}
	return f
}

func (w *world) store() catalog.Store {
	w.t.Helper()
	s, err := sqlstore.Open(context.Background(), w.path, sqlstore.Options{})
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { s.Close() })
	return s
}

func (w *world) session(name string) catalog.Session {
	w.t.Helper()
	s, err := w.store().Session(context.Background(), name)
	if err != nil {
		w.t.Fatal(err)
	}
	return s
}

// alder are the flags of a session with Alder, of a few notes.
func alder(more ...string) []string {
	return append([]string{"measure", "--horn", "alder", "--mouthpiece", "Plover 16.2", "--player", "blue-kite", "--order", "7", "--range", "C4-E4"}, more...)
}

// order is that of the seed 7 over the notes of alder.
func order(rounds int) [][]pitch.Slot {
	return protocol.Rounds(pitch.UsualSlots(60, 64, 3), rounds, 7)
}

func TestMeasureFromAFile(t *testing.T) {
	w := newWorld(t)
	code, out, errOut := w.piped("-3\n+4.5 5\nskip\n\n1,5\n6\n2\n2\nundo\n3\n4\n-40\n6\n", alder("--rounds", "2", "--json", "--name", "Monday", "--a4-hz", "442", "--temperature-c", "19")...)
	if code != exitOK || errOut == "" {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	rounds := order(2)
	var got struct {
		Session, Horn string
		Readings      int
		Skipped, Far  []string
		Lesson        *match.Lesson
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err, out)
	}
	far := []string{rounds[1][3].Note().String() + " in round 2"}
	if got.Session != "Monday" || got.Horn != "Alder" || got.Readings != 10 || !reflect.DeepEqual(got.Far, far) || got.Lesson == nil || got.Lesson.Ranked != 2 {
		t.Errorf("%+v", got)
	}
	if !strings.Contains(errOut, "taken as they are: "+strings.Join(far, ", ")) {
		t.Errorf("far readings are not named: %s", errOut)
	}
	s := w.session("Monday")
	var want []catalog.Reading
	add := func(slot pitch.Slot, cents ...float64) {
		for _, x := range cents {
			n := 1
			for _, r := range want {
				if r.Slot == slot {
					n++
				}
			}
			want = append(want, catalog.Reading{Slot: slot, Repeat: n, Cents: x})
		}
	}
	for i, cents := range [][]float64{{-3}, {4.5, 5}, nil, {1.5}, {6}} {
		add(rounds[0][i], cents...)
	}
	for i, cents := range [][]float64{{2}, {3}, {4}, {-40}, {6}} {
		add(rounds[1][i], cents...)
	}
	ordered := catalog.Session{Readings: want}
	ordered.Normalize()
	if !reflect.DeepEqual(s.Readings, ordered.Readings) || s.A4Hz != 442 || *s.TemperatureC != 19 || !s.At.Equal(time.Date(2026, 3, 14, 19, 30, 0, 0, time.UTC)) {
		t.Errorf("session %+v, want the readings %v", s, ordered.Readings)
	}
	if drafts, err := w.store().Drafts(context.Background()); err != nil || len(drafts) != 0 {
		t.Errorf("drafts left: %v (%v)", drafts, err)
	}
}

// A file that ends early, or has a line too many or one that can't be read,
// records nothing, and says where to go on; everything before is kept.
func TestMeasureFromABadFile(t *testing.T) {
	note := func(i int) string { return order(1)[0][i].Note().String() }
	for _, tc := range []struct {
		in    string
		words []string
		lines int
	}{
		{"1\n2\n", []string{"the input ended at " + note(2), "3 of 5 in round 1 of 1"}, 2},
		{"1\n2\nx\n4\n5\n", []string{"line 3, for " + note(2), `"x" is not a reading`}, 2},
		{"1\n2\n-3\n4\n5\n6\n", []string{"line 6, after the last note", "every note has been read"}, 5},
		{"1\nkeep\n", []string{"line 2", "no reading is in doubt"}, 1},
		{"200\n", []string{"line 1", "outside -150..150"}, 0},
		{"done\n", []string{"line 1", "no reading to record"}, 0},
	} {
		w := newWorld(t)
		code, _, errOut := w.piped(tc.in, alder("--rounds", "1")...)
		drafts, err := w.store().Drafts(context.Background())
		if err != nil || len(drafts) != 1 || drafts[0].LineCount != tc.lines {
			t.Fatalf("%q: drafts %+v (%v)", tc.in, drafts, err)
		}
		for _, want := range append(tc.words, "centwise measure --resume "+string(drafts[0].ID)) {
			if code != exitFailed || !strings.Contains(errOut, want) {
				t.Errorf("%q: exit %d, no %q in %s", tc.in, code, want, errOut)
			}
		}
		if sessions, err := w.store().Sessions(context.Background(), catalog.SessionFilter{}); err != nil || len(sessions) != 2 {
			t.Errorf("%q: %d sessions (%v)", tc.in, len(sessions), err)
		}
	}
}

func TestMeasureNeedsItsGear(t *testing.T) {
	w := newWorld(t)
	for _, tc := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"measure"}, exitUsage, "measure needs --horn and --mouthpiece and --player"},
		{[]string{"measure", "--horn", "Alder", "--player", "blue-kite"}, exitUsage, "measure needs --mouthpiece"},
		{[]string{"measure", "--horn", "Adler", "--mouthpiece", "Plover 16.2", "--player", "blue-kite"}, exitFailed, `did you mean "Alder"`},
		{[]string{"measure", "--horn", "Alder", "--mouthpiece", "Ruff 16.0", "--player", "blue-kite"}, exitFailed, "does not fit the trumpet receiver"},
		{[]string{"measure", "--horn", "Alder", "--mouthpiece", "Plover 16.2", "--player", "blue-kite", "--a4-hz", "44"}, exitFailed, "a4_hz is 44"},
		{alder("--name", "LB-1"), exitFailed, `there is a session "LB-1" already`},
		{[]string{"measure", "--resume"}, exitFailed, "no session is unfinished"},
		{[]string{"measure", "--resume", "Monday"}, exitFailed, `no draft "Monday"`},
		{[]string{"measure", "--sheet", "--horn", "Adler"}, exitFailed, `did you mean "Alder"`},
		{[]string{"measure", "--sheet", "--horn", "Alder", "--mouthpiece", "Ruff 16.0"}, exitFailed, "does not fit"},
	} {
		code, out, errOut := w.run(tc.args...)
		if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
			t.Errorf("%v: exit %d, want %d; no %q in %s", tc.args, code, tc.code, tc.want, errOut)
		}
	}
	if drafts, err := w.store().Drafts(context.Background()); err != nil || len(drafts) != 0 {
		t.Errorf("drafts left: %v (%v)", drafts, err)
	}
}

// What somebody at a terminal sees: one prompt a note, doubts, comments.
func TestMeasureAtTheTerminal(t *testing.T) {
	w := newWorld(t)
	lines := []string{"-3", "?", "four", "4,5", "done", "-80", "5", "undo", "6", "7", "8", "", "1", "2", "3", "4", "5", "undo", "40", "keep", ""}
	code, out, errOut := w.typed(lines, alder("--rounds", "2")...)
	if code != exitOK {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	rounds := order(2)
	first := rounds[0][0]
	text := strings.Join(strings.Fields(errOut), " ")
	for _, want := range []string{
		"2026-03-14 Alder: Alder with Plover 16.2, played by blue-kite; 2 rounds of 5 notes, order 7",
		"do not lip it in tune", "Somebody else reads the tuner", "A4 = 440 Hz", "leave the tuning slide", "disinfect",
		fmt.Sprintf("Round 1 of 2, 1 of 5: %s, %s (%s): ", first.Note(), strings.Join(strings.Split(first.Valves.String(), ""), "-"), first.Note()-2),
		`Not taken: "four" is not a reading`, "Read as +4.5.", "Notes are left. Type done once more", "That is unlikely beside the other notes", "Again: ",
		"Round 1 of 2 is done.", "That is far from the other readings of this note.", "All notes are read. Enter records them",
		"Recorded session 2026-03-14 Alder: 10 readings of 5 notes.", "is known to within", "centwise session show '2026-03-14 Alder'",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, errOut)
		}
	}
	if !strings.HasPrefix(out, "note\tfingering\tpartial\treadings\tcents\tspread\n") || strings.Count(out, "\n") != 6 {
		t.Errorf("output %q", out)
	}
	got := map[pitch.Slot][]float64{}
	for _, r := range w.session("2026-03-14 Alder").Readings {
		got[r.Slot] = append(got[r.Slot], r.Cents)
	}
	want := map[pitch.Slot][]float64{}
	for i, x := range []float64{-3, 4.5, 6, 7, 8} {
		want[rounds[0][i]] = []float64{x}
	}
	for i, x := range []float64{1, 2, 3, 4, 40} {
		want[rounds[1][i]] = append(want[rounds[1][i]], x)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("readings %v, want %v", got, want)
	}
	if w.opened != 2 {
		t.Errorf("%d fits, want one before and one after", w.opened)
	}
}

// Whoever stops goes on where they were: at the same note, with everything kept.
func TestMeasureStopsAndGoesOn(t *testing.T) {
	w := newWorld(t)
	code, out, errOut := w.typed([]string{"1", "2", "quit"}, alder("--rounds", "1", "--no-fit")...)
	if code != exitOK || out != "" || !strings.Contains(errOut, "2 readings of 2026-03-14 Alder kept") {
		t.Fatalf("exit %d, output %q: %s", code, out, errOut)
	}
	code, _, errOut = w.typed([]string{"3"}, "measure", "--resume") // then the input ends, as with Ctrl-D
	if code != exitOK || !strings.Contains(errOut, "Going on where you were: 2 readings are in") || !strings.Contains(errOut, "3 readings of") {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	code, out, _ = w.run("session", "drafts", "--json")
	var list struct {
		Drafts []struct {
			ID, Session, Horn      string
			Order, Readings, Lines int
		}
	}
	if err := json.Unmarshal([]byte(out), &list); err != nil || code != exitOK || len(list.Drafts) != 1 {
		t.Fatalf("exit %d, %v: %s", code, err, out)
	}
	if d := list.Drafts[0]; d.Session != "2026-03-14 Alder" || d.Horn != "Alder" || d.Order != 7 || d.Readings != 3 || d.Lines != 3 {
		t.Errorf("%+v", d)
	}
	// Another session begun meanwhile has another name; it is not in the way.
	code, _, errOut = w.typed([]string{"quit"}, alder()...)
	if code != exitOK || !strings.Contains(errOut, "Unfinished: 2026-03-14 Alder") || !strings.Contains(errOut, "2026-03-14 Alder 2: Alder with") {
		t.Errorf("exit %d: %s", code, errOut)
	}
	code, _, errOut = w.typed([]string{"4", "done", "done"}, "measure", "--resume", list.Drafts[0].ID, "--name", "Monday", "--no-fit")
	if code != exitOK || len(w.session("Monday").Readings) != 4 || w.opened != 0 {
		t.Errorf("exit %d, %d fits: %s", code, w.opened, errOut)
	}
	code, _, errOut = w.run("session", "drafts", "discard", "2026-03-14 alder 2")
	if code != exitOK || !strings.Contains(errOut, "discarded the unfinished session 2026-03-14 Alder 2 with no line") {
		t.Errorf("exit %d: %s", code, errOut)
	}
	if code, _, errOut = w.run("session", "drafts"); code != exitOK || !strings.Contains(errOut, "nothing is unfinished") {
		t.Errorf("exit %d: %s", code, errOut)
	}
}

// A name that somebody took in the meantime loses nothing.
func TestMeasureNameTakenMeanwhile(t *testing.T) {
	w := newWorld(t)
	if code, _, errOut := w.typed([]string{"1", "quit"}, alder("--rounds", "1", "--name", "Monday")...); code != exitOK {
		t.Fatal(errOut)
	}
	taken := w.session("lb-1")
	taken.ID, taken.Name = "", "Monday"
	if err := w.store().Apply(context.Background(), catalog.Changes{Sessions: []catalog.Session{taken}}); err != nil {
		t.Fatal(err)
	}
	code, _, errOut := w.typed([]string{"done", "done"}, "measure", "--resume", "--no-fit")
	if code != exitFailed || !strings.Contains(errOut, `there is a session "Monday" by now`) || !strings.Contains(errOut, "--name 'Monday b'") {
		t.Errorf("exit %d: %s", code, errOut)
	}
	if code, _, errOut = w.typed([]string{"done", "done"}, "measure", "--resume", "--no-fit", "--name", "Monday b"); code != exitOK {
		t.Errorf("exit %d: %s", code, errOut)
	}
}

// Ctrl-C keeps what was entered, says how to go on, and ends with 130.
func TestMeasureCancelled(t *testing.T) {
	w := newWorld(t)
	s, _, errBuffer := Test("")
	s.Person = true
	ctx, cancel := context.WithCancel(context.Background())
	s.In = &cancelling{lines: []string{"1\n", "2\n"}, cancel: cancel}
	code := Run(ctx, w.factory(s), alder())
	if code != exitCancelled || !strings.Contains(errBuffer.String(), "2 readings of 2026-03-14 Alder kept") || !strings.Contains(errBuffer.String(), "Try: centwise measure --resume ") {
		t.Errorf("exit %d: %s", code, errBuffer)
	}
}

// cancelling gives a line a Read, then cancels and never answers.
type cancelling struct {
	lines  []string
	cancel func()
}

func (c *cancelling) Read(p []byte) (int, error) {
	if len(c.lines) == 0 {
		c.cancel()
		select {}
	}
	n := copy(p, c.lines[0])
	c.lines = c.lines[1:]
	return n, nil
}

// waiting does something before it gives a line.
type waiting struct {
	lines  []string
	before map[int]func()
	n      int
}

func (r *waiting) Read(p []byte) (int, error) {
	if r.n == len(r.lines) {
		return 0, io.EOF
	}
	if do := r.before[r.n]; do != nil {
		do()
	}
	r.n++
	return copy(p, r.lines[r.n-1]+"\n"), nil
}

// Two terminals on one draft: the second writer is told, and nothing is lost.
func TestMeasureOnTwoTerminals(t *testing.T) {
	w := newWorld(t)
	s, _, errBuffer := Test("")
	s.Person = true
	s.In = &waiting{lines: []string{"1", "2"}, before: map[int]func(){1: func() {
		if code, _, errOut := w.typed([]string{"7", "quit"}, "measure", "--resume"); code != exitOK {
			t.Errorf("the other terminal: exit %d: %s", code, errOut)
		}
	}}}
	code := Run(context.Background(), w.factory(s), alder())
	if code != exitFailed || !strings.Contains(errBuffer.String(), "another terminal enters it too") || !strings.Contains(errBuffer.String(), "centwise measure --resume ") {
		t.Errorf("exit %d: %s", code, errBuffer)
	}
	d, err := w.store().Draft(context.Background(), "2026-03-14 Alder")
	if err != nil || len(d.Lines) != 2 || d.Lines[1].Cents[0] != 7 {
		t.Errorf("%+v (%v)", d.Lines, err)
	}
}

// A line that can't be written down just now is asked for again.
func TestMeasureWhileTheCatalogIsBusy(t *testing.T) {
	w := newWorld(t)
	s, _, errBuffer := Test("")
	s.Person = true
	f := w.factory(s)
	busy := &busyStore{}
	open := f.Open
	f.Open = func(ctx context.Context, path string, o sqlstore.Options) (catalog.Store, error) {
		inner, err := open(ctx, path, o)
		busy.Store = inner
		return busy, err
	}
	s.In = &waiting{lines: []string{"1", "2", "2", "3", "quit"}, before: map[int]func(){1: func() { busy.times = 1 }}}
	code := Run(context.Background(), f, alder())
	if code != exitOK || !strings.Contains(errBuffer.String(), "Not written down: held; wait. Then type it again.") {
		t.Errorf("exit %d: %s", code, errBuffer)
	}
	if d, err := w.store().Draft(context.Background(), "2026-03-14 Alder"); err != nil || len(d.Lines) != 3 {
		t.Errorf("%+v (%v)", d.Lines, err)
	}
}

// busyStore can't write lines so many times.
type busyStore struct {
	catalog.Store
	times int
}

func (b *busyStore) AddDraftLine(ctx context.Context, id catalog.ID, n int, l catalog.DraftLine) error {
	if b.times > 0 {
		b.times--
		return catalog.Errorf(catalog.Busy, "wait", "held")
	}
	return b.Store.AddDraftLine(ctx, id, n, l)
}

// Ctrl-C while it is worked out what a session taught comes too late to lose it.
func TestMeasureCancelledWhileLearning(t *testing.T) {
	w := newWorld(t)
	s, _, errBuffer := Test("1\n2\n3\n4\n5\n")
	ctx, cancel := context.WithCancel(context.Background())
	f := w.factory(s)
	f.Engine = func(ctx context.Context, _ catalog.Store, _ catalog.Counter) (match.Engine, error) {
		cancel()
		return nil, ctx.Err()
	}
	code := Run(ctx, f, alder("--rounds", "1"))
	if code != exitCancelled || !strings.Contains(errBuffer.String(), "is recorded, but not compared") || len(w.session("2026-03-14 Alder").Readings) != 5 {
		t.Errorf("exit %d: %s", code, errBuffer)
	}
}
