package cli

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/form/formtest"
	"centwise/importers/sheet"
	"centwise/match/protocol"
)

// The questions and the flags come to the same session.
func TestMeasureAskedAndByFlags(t *testing.T) {
	readings := []string{"1", "2", "3", "4", "5", "1", "2", "3", "4", "5", ""}
	asked := newWorld(t)
	answers := []string{"Ald", "Alder", "Ruff 16.0", "plover 16.2", "blue-kite", "fern-vole", "442", "19,5", "12", "", "mf", "2", "cold hall"}
	code, _, errOut := asked.typed(append(answers, readings...), "measure", "--range", "C4-E4", "--order", "7", "--name", "Monday", "--no-fit")
	if code != exitOK || !strings.Contains(errOut, `did you mean "Alder"`) || !strings.Contains(errOut, "does not fit") {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	flagged := newWorld(t)
	code, _, errOut = flagged.typed(readings, alder("--contributor", "fern-vole", "--a4-hz", "442", "--temperature-c", "19.5", "--slide-mm", "12", "--dynamic", "mf",
		"--rounds", "2", "--remark", "cold hall", "--name", "Monday", "--no-fit")...)
	if code != exitOK {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	a, b := asked.session("Monday"), flagged.session("Monday")
	if a.Content() != b.Content() || len(a.Readings) != 10 {
		t.Errorf("asked: %+v\nflags: %+v", a, b)
	}
	// The next time, Enter alone takes the last answers, but for the temperature.
	again := append([]string{"", "", "", "", "", "", "", "", "", "2", ""}, readings...)
	code, _, errOut = asked.typed(again, "measure", "--range", "C4-E4", "--order", "7", "--name", "Tuesday", "--no-fit")
	c := asked.session("Tuesday")
	if code != exitOK || c.Horn != a.Horn || c.Player != a.Player || c.A4Hz != 442 || c.TemperatureC != nil || *c.SlideMM != 12 || c.Dynamic != "mf" || c.Remark != "" {
		t.Errorf("exit %d: %+v: %s", code, c, errOut)
	}
}

// What the flags say is not asked; an answer that does not fit what they say is
// refused.
func TestMeasureAsksOnlyWhatIsOpen(t *testing.T) {
	w := newWorld(t)
	s, _, errBuffer := Test("1\n2\n3\n4\n5\n\n")
	s.Person = true
	f := w.factory(s)
	answers := &formtest.Answers{By: map[string]string{"Mouthpiece": "Plover 16.2", "Player": "blue-kite"}}
	f.asking.instead = answers
	code := Run(context.Background(), f, []string{"measure", "--horn", "Alder", "--range", "C4-E4", "--order", "7", "--rounds", "1", "--a4-hz", "442", "--dynamic", "mf",
		"--contributor", "fern-vole", "--remark", "x", "--no-fit"})
	if want := []string{"Mouthpiece", "Player", "Temperature", "Tuning slide", "Gap"}; code != exitOK || !reflect.DeepEqual(answers.Asked, want) {
		t.Errorf("exit %d, asked %v, want %v: %s", code, answers.Asked, want, errBuffer)
	}
	if got := w.session("2026-03-14 Alder"); got.A4Hz != 442 || len(got.Readings) != 5 {
		t.Errorf("%+v", got)
	}
	answers.By["Mouthpiece"] = "Ruff 16.0"
	if code := Run(context.Background(), f, []string{"measure", "--horn", "Alder"}); code != exitFailed || !strings.Contains(errBuffer.String(), "does not fit") {
		t.Errorf("exit %d: %s", code, errBuffer)
	}
}

// Measuring and importing the same readings come to the same session.
func TestMeasureAndImportAgree(t *testing.T) {
	w := newWorld(t)
	store := w.store()
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		if n++; n > 25 {
			return // each is a few transactions
		}
		low := pitch.Note(rapid.IntRange(54, 70).Draw(rt, "low"))
		rounds, seed := rapid.IntRange(1, 3).Draw(rt, "rounds"), rapid.Int64Range(0, 1e6).Draw(rt, "seed")
		high := low + pitch.Note(rapid.IntRange(0, 14).Draw(rt, "notes"))
		name := fmt.Sprintf("session %d", n)
		var lines, rows []string
		for _, round := range protocol.Rounds(pitch.UsualSlots(low, high, 3), rounds, seed) {
			for _, slot := range round {
				if rapid.IntRange(0, 9).Draw(rt, "skip") == 0 && len(rows) > 0 {
					lines = append(lines, "skip")
					continue
				}
				var line []string
				for range rapid.IntRange(1, 3).Draw(rt, "times") {
					x := rapid.StringMatching(`-?[0-9]{1,2}(\.[0-9]{1,3})?`).Draw(rt, "cents")
					line = append(line, x)
					rows = append(rows, fmt.Sprintf("%s,2026-03-14,fern-vole,blue-kite,Alder,Plover 16.2,%s,%d,%s,442,19.5,mf", name, slot.Valves, slot.Partial, x))
				}
				lines = append(lines, strings.Join(line, " "))
			}
		}
		code, _, errOut := w.piped(strings.Join(lines, "\n"), "measure", "--horn", "Alder", "--mouthpiece", "Plover 16.2", "--player", "blue-kite", "--contributor", "fern-vole",
			"--range", low.String()+"-"+high.String(), "--rounds", fmt.Sprint(rounds), "--order", fmt.Sprint(seed), "--name", name, "--a4-hz", "442", "--temperature-c", "19.5",
			"--dynamic", "mf", "--date", "2026-03-14T00:00:00Z", "--no-fit")
		if code != exitOK {
			rt.Fatalf("exit %d: %s", code, errOut)
		}
		measured, err := store.Session(context.Background(), name)
		if err != nil {
			rt.Fatal(err)
		}
		have, err := sheet.Look(context.Background(), store)
		if err != nil {
			rt.Fatal(err)
		}
		// The catalog has it already: an import that says the same adds nothing.
		csv := "session,date,contributor,player,horn,mouthpiece,fingering,partial,cents,a4_hz,temperature_c,dynamic\n" + strings.Join(rows, "\n") + "\n"
		changes, report, err := sheet.Plan(context.Background(), have, []sheet.File{{Name: "same.csv", Content: strings.NewReader(csv)}}, sheet.Options{})
		if err != nil || report.Unchanged != 1 || len(changes.Sessions) != 0 || len(measured.Readings) != len(rows) {
			rt.Fatalf("%+v, error %v", report, err)
		}
	})
}

// Forty notes in three rounds take less than four keys a reading, Enter and
// repeated doubts included.
func TestMeasureKeystrokes(t *testing.T) {
	w := newWorld(t)
	usual := pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)
	random := rand.New(rand.NewPCG(1, 2))
	truth := map[pitch.Slot]float64{}
	args := []string{"measure", "--horn", "Alder", "--mouthpiece", "Plover 16.2", "--player", "blue-kite", "--slots", "all", "--order", "7", "--range", "F#3-B5", "--no-fit", "--name", "Monday"}
	rounds := protocol.Rounds(allSlots(t, 54, 83), 3, 7)
	for _, s := range append(usual, rounds[0]...) {
		truth[s] = 12 * random.NormFloat64() // about as far off as horns are: (m) 10 to 15 cents
	}
	sitting, err := protocol.Resume(catalog.Draft{Rounds: rounds})
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for p, more := sitting.Next(); more; p, more = sitting.Next() {
		x := math.Round(truth[p.Slot] + 4*random.NormFloat64())
		a, err := sitting.Answer(protocol.Entry{Command: protocol.Read, Cents: []float64{x}}, false)
		if err != nil || sitting.Accept(a.Line) != nil {
			t.Fatal(err)
		}
		lines = append(lines, fmt.Sprintf("%.0f", x))
	}
	lines = append(lines, "")
	code, _, errOut := w.typed(lines, args...)
	if code != exitOK {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	keys, readings := len(strings.Join(lines, "\n"))+1, len(w.session("Monday").Readings)
	average := float64(keys) / float64(readings)
	t.Logf("%d notes in 3 rounds: %d keys for %d readings, %.2f each", len(rounds[0]), keys, readings, average)
	if len(rounds[0]) < 40 || readings < 3*len(rounds[0]) || average >= 4 {
		t.Errorf("%d notes, %d readings, %.2f keys each", len(rounds[0]), readings, average)
	}
}

func allSlots(t *testing.T, low, high pitch.Note) []pitch.Slot {
	t.Helper()
	list, err := (&measureOptions{slots: slotsAll}).slotList(low, high, 3)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func TestMeasureSheet(t *testing.T) {
	w := newWorld(t)
	code, out, errOut := w.run(append(alder("--rounds", "2", "--sheet"), "--temperature-c", "19")...)
	if code != exitOK || errOut != "" {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	for _, want := range []string{"order 7", "Horn           alder", "Player         blue-kite", "19 C", "Date           ____", "disinfect",
		"centwise measure --order 7 --rounds 2 --range C4-E4 --horn alder --mouthpiece 'Plover 16.2' --player blue-kite"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in %s", want, out)
		}
	}
	// The notes stand in the order in which they are asked for.
	var asked, onPaper [2][]string
	for k, round := range order(2) {
		for _, s := range round {
			asked[k] = append(asked[k], s.Note().String())
		}
	}
	for line := range strings.Lines(out) {
		words := strings.Fields(line)
		if len(words) != 10 || words[4] != "________" {
			continue
		}
		onPaper[0], onPaper[1] = append(onPaper[0], words[1]), append(onPaper[1], words[6])
		for _, line := range strings.Split(line, "\n") {
			if len(line) > 80 {
				t.Errorf("a line of %d columns: %s", len(line), line)
			}
		}
	}
	if !reflect.DeepEqual(onPaper, asked) {
		t.Errorf("on paper %v, asked %v", onPaper, asked)
	}
	if drafts, err := w.store().Drafts(context.Background()); err != nil || len(drafts) != 0 {
		t.Errorf("printing a form began %v (%v)", drafts, err)
	}
}
