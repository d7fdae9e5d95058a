package protocol_test

import (
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/protocol"
)

// sitting begins one over the notes low..high.
func sitting(low, high pitch.Note, rounds int) (catalog.Draft, *protocol.Sitting) {
	d := catalog.Draft{Rounds: protocol.Rounds(pitch.UsualSlots(low, high, 3), rounds, 1)}
	s, err := protocol.Resume(d)
	if err != nil {
		panic(err)
	}
	return d, s
}

// enter types a line; the answer is accepted and written into the draft.
func enter(t interface{ Fatalf(string, ...any) }, d *catalog.Draft, s *protocol.Sitting, text string) protocol.Answer {
	e, err := protocol.ParseEntry(text)
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	a, err := s.Answer(e, false)
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	if err := s.Accept(a.Line); err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	d.Lines = append(d.Lines, a.Line)
	return a
}

// anyEntry draws lines, sensible ones more often.
func anyEntry() *rapid.Generator[protocol.Entry] {
	return rapid.Custom(func(t *rapid.T) protocol.Entry {
		switch rapid.IntRange(0, 9).Draw(t, "kind") {
		case 0:
			return protocol.Entry{Command: protocol.Skip}
		case 1, 2:
			return protocol.Entry{Command: protocol.Undo}
		case 3:
			return protocol.Entry{Command: protocol.Keep}
		}
		return protocol.Entry{Command: protocol.Read, Cents: rapid.SliceOfN(rapid.Map(rapid.IntRange(-60, 60), func(x int) float64 { return float64(x) }), 1, 4).Draw(t, "cents")}
	})
}

// Undo takes back exactly the last line that was not taken back, and a sitting
// that is taken up again is where it was left.
func TestUndoTakesBackOneLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, s := sitting(60, pitch.Note(rapid.IntRange(60, 68).Draw(t, "highest")), rapid.IntRange(1, 3).Draw(t, "rounds"))
		state := func() *protocol.Sitting {
			again, err := protocol.Resume(d)
			if err != nil {
				t.Fatal(err)
			}
			return again
		}
		history := []*protocol.Sitting{state()}
		for range rapid.IntRange(1, 40).Draw(t, "lines") {
			e := anyEntry().Draw(t, "entry")
			before := state()
			a, err := s.Answer(e, rapid.Bool().Draw(t, "sure"))
			if !reflect.DeepEqual(s, before) {
				t.Fatalf("asking for an answer changed the sitting")
			}
			if err != nil {
				continue
			}
			if err := s.Accept(a.Line); err != nil {
				t.Fatal(err)
			}
			d.Lines = append(d.Lines, a.Line)
			if e.Command == protocol.Undo {
				history = history[:len(history)-1]
			} else {
				history = append(history, state())
			}
			if now := state(); !reflect.DeepEqual(s, now) || !reflect.DeepEqual(s, history[len(history)-1]) {
				t.Fatalf("after %v: %+v, taken up again %+v, want %+v", a.Line, s, now, history[len(history)-1])
			}
		}
	})
}

func TestSittingGoesThroughEveryRound(t *testing.T) {
	d, s := sitting(60, 64, 2)
	var want []catalog.Reading
	for k, round := range d.Rounds {
		for i, slot := range round {
			p, more := s.Next()
			if !more || p != (protocol.Place{Round: k + 1, Rounds: 2, Number: i + 1, Of: 5, Slot: slot}) {
				t.Fatalf("at %+v", p)
			}
			enter(t, &d, s, "4")
			want = append(want, catalog.Reading{Slot: slot, Repeat: k + 1, Cents: 4})
		}
	}
	if p, more := s.Next(); more {
		t.Errorf("goes on at %+v", p)
	}
	slices.SortFunc(want, catalog.CompareReadings)
	if got := s.Readings(); !reflect.DeepEqual(got, want) {
		t.Errorf("readings %v, want %v", got, want)
	}
	for _, c := range []protocol.Command{protocol.Read, protocol.Skip, protocol.Keep, protocol.Help} {
		if _, err := s.Answer(protocol.Entry{Command: c, Cents: []float64{1}}, false); catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("command %d at the end: %v", c, err)
		}
	}
	enter(t, &d, s, "undo")
	if p, more := s.Next(); !more || p.Round != 2 || p.Number != 5 {
		t.Errorf("after an undo at %+v", p)
	}
}

func TestSittingInDoubt(t *testing.T) {
	readings := func(s *protocol.Sitting) (out []float64) {
		for _, r := range s.Readings() {
			out = append(out, r.Cents)
		}
		return out
	}
	for _, tc := range []struct {
		name  string
		lines []string
		far   []protocol.Far
		again bool // at the end the note is asked for again
		want  []float64
	}{
		{"near", []string{"-3", "-8"}, []protocol.Far{protocol.Near, protocol.Near}, false, []float64{-3, -8}},
		{"far, then near", []string{"-3", "30", "-4"}, []protocol.Far{0, protocol.FromNote, 0}, false, []float64{-3, -4}},
		{"far, and the same again", []string{"-3", "30", "28"}, []protocol.Far{0, protocol.FromNote, 0}, false, []float64{-3, 30, 28}},
		{"far, and kept", []string{"-3", "30", "keep"}, []protocol.Far{0, protocol.FromNote, 0}, false, []float64{-3, 30}},
		{"far, and skipped", []string{"-3", "30", "skip"}, []protocol.Far{0, protocol.FromNote, 0}, false, []float64{-3}},
		{"far, and far elsewhere", []string{"-3", "30", "-50"}, []protocol.Far{0, protocol.FromNote, protocol.FromNote}, true, []float64{-3}},
		{"far, and taken back", []string{"-3", "30", "undo"}, []protocol.Far{0, protocol.FromNote, 0}, false, []float64{-3}},
		{"one of three is far", []string{"-3 45 -4"}, []protocol.Far{protocol.FromNote}, true, []float64{-3, -4}},
		{"two of one line differ", []string{"-20 20"}, []protocol.Far{protocol.FromNote}, true, nil},
		{"another note's reading", []string{"-80"}, []protocol.Far{protocol.FromSession}, true, nil},
		{"kept at once", []string{"-80", "="}, []protocol.Far{protocol.FromSession, 0}, false, []float64{-80}},
	} {
		d, s := sitting(60, 60, 3)
		for i, line := range tc.lines {
			if a := enter(t, &d, s, line); a.Far != tc.far[i] {
				t.Errorf("%s: %q is judged %d, want %d", tc.name, line, a.Far, tc.far[i])
			}
		}
		p, _ := s.Next()
		if got := readings(s); p.Again != tc.again || !reflect.DeepEqual(got, tc.want) {
			t.Errorf("%s: readings %v, asked again %v; want %v, %v", tc.name, got, p.Again, tc.want, tc.again)
		}
	}
	_, s := sitting(60, 60, 1)
	if a, err := s.Answer(protocol.Entry{Command: protocol.Read, Cents: []float64{-80}}, true); err != nil || a.Line.Doubt != nil || a.Far != protocol.Near {
		t.Errorf("insisting: %+v, error %v", a, err)
	}
}

func TestResumeRefusesLinesOfAnother(t *testing.T) {
	d, _ := sitting(60, 64, 1)
	for _, text := range []string{"undo", "123/3 -3", d.Rounds[0][1].String() + " 4", d.Rounds[0][0].String() + " keep"} {
		l, err := catalog.ParseDraftLine(text)
		if err != nil {
			t.Fatal(err)
		}
		d.Lines = []catalog.DraftLine{l}
		if _, err := protocol.Resume(d); catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%q: error %v", text, err)
		}
	}
}

// Readings in doubt count too once new ones confirm them: together they must fit
// a line, which is said before it is written down.
func TestDoubtAndNewReadingsFitALine(t *testing.T) {
	slot := pitch.Slot{Partial: 4}
	s, err := protocol.Resume(catalog.Draft{Rounds: [][]pitch.Slot{{slot}}})
	if err != nil {
		t.Fatal(err)
	}
	many := protocol.Entry{Command: protocol.Read, Cents: slices.Repeat([]float64{90}, catalog.MaxLineReadings)}
	a, err := s.Answer(many, false)
	if err == nil {
		err = s.Accept(a.Line)
	}
	if err != nil || a.Far == protocol.Near {
		t.Fatalf("%+v, %v", a, err)
	}
	if a, err = s.Answer(many, false); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("%d readings in a line, %v", len(a.Line.Cents), err)
	}
	if a, err = s.Answer(protocol.Entry{Command: protocol.Keep}, false); err != nil || s.Accept(a.Line) != nil || len(s.Readings()) != catalog.MaxLineReadings {
		t.Errorf("%+v, %v", a, err)
	}
}
