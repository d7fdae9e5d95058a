package cli

import (
	"context"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/form"
)

// lineKeeper is a store that takes the lines of a visit.
type lineKeeper struct{ catalog.Store }

func (lineKeeper) AddVisitLine(context.Context, catalog.ID, int, catalog.VisitLine) error { return nil }

// typist answers one question after the other, and notes whom each was about.
type typist struct {
	answers, titles []string
}

func (t *typist) Ask(_ context.Context, f form.Form) error {
	if len(t.titles) == len(t.answers) {
		return form.ErrLeft
	}
	*f.Pages[0].Questions[0].Answer = t.answers[len(t.titles)]
	t.titles = append(t.titles, f.Title+", "+f.Pages[0].Title)
	return nil
}

// Undo at the first note of a try goes back to the last note of the try before,
// which is then asked for again.
func TestUndoGoesBackToTheTryBefore(t *testing.T) {
	low, high := pitch.Slot{Partial: 2}, pitch.Slot{Partial: 4}
	read := func(s pitch.Slot, cents float64) catalog.VisitLine {
		return catalog.VisitLine{Code: "A", DraftLine: catalog.DraftLine{Kind: catalog.LineRead, Slot: s, Cents: []float64{cents}}}
	}
	v := &keptVisit{VisitSummary: catalog.VisitSummary{Visit: catalog.Visit{Notes: []pitch.Slot{low, high}, Times: 2,
		Candidates: []catalog.VisitCandidate{{Code: "A", Mouthpiece: "a"}, {Code: "B", Mouthpiece: "b"}}, Lines: []catalog.VisitLine{read(low, 1), read(high, 20)}}}}
	r := &visitRecording{options: &visitRecordOptions{}, store: lineKeeper{}, visit: v}
	asked := &typist{answers: []string{"undo", "2"}}
	if err := r.readTry(context.Background(), asked, "B"); err != nil {
		t.Fatalf("%v after %q", err, asked.titles)
	}
	taken := v.Taken()
	if len(taken) != 2 || taken[1].Code != "A" || taken[1].Cents[0] != 2 || !strings.HasPrefix(asked.titles[1], "Candidate A, Note 2 of 2") {
		t.Errorf("taken %v after %q", taken, asked.titles)
	}
}

func TestVisitRecordOptions(t *testing.T) {
	for want, args := range map[string][]string{
		"--read is missing":      {"--try", "B"},
		"--undo and --read":      {"--undo", "--read", "G5 1"},
		"--try is missing":       {"--read", "G5 1"},
		"one argument too many":  {"one", "two"},
		"unknown flag: --player": {"--player", "x"},
	} {
		code, _, errOut := newWorld(t).run(append([]string{"visit", "record"}, args...)...)
		if code != exitUsage || !strings.Contains(errOut, want) {
			t.Errorf("%q: exit %d, %s", args, code, errOut)
		}
	}
}
