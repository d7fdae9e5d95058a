package main

import (
	"bytes"
	"context"
	"io"
	"math/rand/v2"
	"regexp"
	"slices"
	"testing"

	"centwise/match"
	"centwise/match/fit/simulate"
)

func TestParse(t *testing.T) {
	o, err := parse([]string{"-size", "medium", "-notes", "8, 20", "-catalogs", "3"}, io.Discard)
	if err != nil || o.size != simulate.Medium || !slices.Equal(o.notes, []int{8, 20}) || o.catalogs != 3 || o.share != 0.2 {
		t.Errorf("%+v, %v", o, err)
	}
	for _, args := range [][]string{{"-size", "large"}, {"-notes", "5"}, {"-notes", "x"}, {"-catalogs", "0"}, {"-share", "0.6"}, {"-share", "0"}, {"more"}} {
		if _, err := parse(args, io.Discard); err == nil {
			t.Errorf("%v was taken", args)
		}
	}
}

// Sessions are cut to as many notes, each once, and entered as their treatment says.
func TestSpoil(t *testing.T) {
	w := simulate.Generate(simulate.Harder, simulate.Small, 3)
	whole := simulate.Generate(simulate.Harder, simulate.Small, 3)
	counts := map[string]int{}
	for i, x := range spoil(w, 8, 0.2) {
		counts[x.name]++
		at := map[int]bool{}
		before := map[int][]float64{}
		for _, r := range whole.Sessions[i].Readings {
			before[int(simulate.Slots[r.Slot].Note())] = append(before[int(simulate.Slots[r.Slot].Note())], r.Cents)
		}
		for _, r := range w.Sessions[i].Readings {
			at[r.Slot] = true
			cents := r.Cents
			if x.flip {
				cents = -cents
			}
			if note := int(simulate.Slots[r.Slot].Note() - x.shift); !slices.Contains(before[note], cents) {
				t.Errorf("%s: nobody read %v on note %d", x.name, cents, note)
			}
		}
		if len(at) != 8 || len(w.Sessions[i].Readings) != 8 {
			t.Errorf("%s: %d readings on %d notes", x.name, len(w.Sessions[i].Readings), len(at))
		}
	}
	wrong := 0
	for _, x := range treatments {
		wrong += counts[x.name]
		if counts[x.name] < 3 {
			t.Errorf("%s: %d sessions", x.name, counts[x.name])
		}
	}
	if right := counts[right.name]; right < wrong || right > wrong+1 {
		t.Errorf("%d right and %d wrong", right, wrong)
	}
}

func TestTooFewNotesAreNotCut(t *testing.T) {
	if got := right.enter(rand.New(rand.NewPCG(1, 1)), []simulate.Reading{{Slot: 3}, {Slot: 3}, {Slot: 5}}, 3); got != nil {
		t.Errorf("two notes make %v", got)
	}
}

func TestCounts(t *testing.T) {
	var c count
	c.enter("", []string{match.FindSlideMoved})
	c.enter("", []string{match.FindWrongKey})
	c.enter(match.FindSignFlipped, []string{match.FindSignFlipped})
	c.enter(match.FindSignFlipped, []string{match.FindWrongKey})
	c.enter(match.FindSignFlipped, nil)
	if want := (count{sessions: 5, named: 1, misnamed: 2, odd: 1}); c != want {
		t.Errorf("%+v, want %+v", c, want)
	}
}

// A small study: hardly a right session is said to be wrong, most wrong ones are
// found.
func TestStudy(t *testing.T) {
	var out bytes.Buffer
	o := options{size: simulate.Small, catalogs: 1, first: 7, notes: []int{12}, share: 0.2}
	if err := run(context.Background(), o, &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	if !regexp.MustCompile(`(?s)^Catalogs as they are: 1\. Of \d wrong.*\n\| 12 \| 0\.0[0-4]\d* of \d+ \| (0\.[6-9]|1\.)`).MatchString(out.String()) {
		t.Errorf("the study says\n%s", &out)
	}
}
