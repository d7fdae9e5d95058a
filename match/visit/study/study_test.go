package main

import (
	"bytes"
	"context"
	"io"
	"math"
	"strings"
	"testing"
)

func named(name string, few bool) policy {
	for _, p := range policies {
		if p.name == name && p.few == few {
			return p
		}
	}
	panic("no policy " + name)
}

// Sixteen fixed visits: a plan loses less than tries at random and than the habit
// of keeping the best reading, by far. (Against the top of the list 16 visits say
// nothing; the study itself compares with it in 400.)
func TestPlansBeatChanceAndHabit(t *testing.T) {
	lost := map[string][]float64{}
	for seed := range uint64(2) {
		list, err := scenes(context.Background(), 1+seed, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range list {
			for _, name := range []string{"habit: at random, best raw reading", "at random, picked by the model", "plan, as printed", "the same, stopped by the rule"} {
				lost[name] = append(lost[name], s.regret(named(name, true).run(s, true).pick))
			}
		}
	}
	plan, stopped := mean(lost["plan, as printed"]), mean(lost["the same, stopped by the rule"])
	for _, other := range []string{"habit: at random, best raw reading", "at random, picked by the model"} {
		if m := mean(lost[other]); plan > 0.6*m || stopped > 0.6*m {
			t.Errorf("plan loses %.3f, stopped %.3f, %s %.3f", plan, stopped, other, m)
		}
	}
}

// A scene's truth is the error of what is played, and no pick has less than no
// regret.
func TestScenesTellTheTruth(t *testing.T) {
	list, err := scenes(context.Background(), 7, 20)
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != visitsPerCatalog {
		t.Fatalf("%d visits", len(list))
	}
	s := list[0]
	if len(s.truth) != stock+1 || len(s.readings) != stock+1 || len(s.readings[0][3]) != homeReadings || len(s.readings[5][3]) != 2 {
		t.Errorf("%d truths, %d readings", len(s.truth), len(s.readings))
	}
	least := math.Inf(1)
	for i := range s.truth {
		least = min(least, s.regret(i))
	}
	if least != 0 {
		t.Errorf("the best setup has a regret of %g", least)
	}
	// Many readings without the model come near the truth: 6 of each of 27 notes with
	// an sd of 3.5 leave an rms of 1.4 beside it, and no day, constant or slide.
	if e := raw(s, 0, notes(s, false)); math.Abs(e-math.Hypot(s.truth[0], 1.4)) > 0.5 {
		t.Errorf("the home session reads %.2f, the truth is %.2f", e, s.truth[0])
	}
}

func TestClusteredErrors(t *testing.T) {
	// Two catalogs whose visits agree within: the error is that of two numbers, 1 and
	// 3, which have a mean of 2 and a standard error of 1.
	c := tally{catalog: []int{0, 0, 1, 1}}
	if m, se := c.clustered([]float64{1, 1, 3, 3}); m != 2 || math.Abs(se-1) > 1e-12 {
		t.Errorf("%g +- %g", m, se)
	}
}

// Stopping loses .25 and 1.75 in two catalogs of one visit each: 1 +- .75, more
// than a cent in one of two.
func TestWhatStoppingLoses(t *testing.T) {
	c := tally{policies: []policy{{name: adaptedName}, {name: stoppedName}}, catalog: []int{0, 1}, now: []float64{9, 9},
		regret: [][]float64{{0.25, 0}, {0.5, 1.75}}, tries: []float64{12, 5}}
	var out bytes.Buffer
	c.writeStops(&out)
	if got := out.String(); !strings.Contains(got, "after 2.50 of 6 tries and adds 1.000 +- 0.750 to the regret, more than a cent in 50.0 % of the visits (31 notes)") {
		t.Error(got)
	}
}

func TestStudyPrintsItsTable(t *testing.T) {
	var out bytes.Buffer
	if err := run(context.Background(), options{catalogs: 1, seed: 3, draws: 20}, &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"8 visits in 1 catalogs", "plan, followed and adapted", "deciding notes hold", "The rule stops after"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing from\n%s", want, out.String())
		}
	}
	if _, err := parse([]string{"-catalogs", "0"}, io.Discard); err == nil {
		t.Error("no catalogs are accepted")
	}
	if _, err := parse([]string{"more"}, io.Discard); err == nil {
		t.Error("an argument is accepted")
	}
}
