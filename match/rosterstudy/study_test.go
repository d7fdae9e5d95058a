package main

import (
	"context"
	"io"
	"math"
	"strings"
	"testing"

	"centwise/match/assign"
	"centwise/match/fit/simulate"
)

func TestParse(t *testing.T) {
	o, err := parse([]string{"-catalogs", "3", "-kind", "harder", "-throws", "-uneven", "-sessions", "600"}, io.Discard)
	if err != nil || !o.uneven || o.sessions != 600 || o.rounds != simulate.HomeRounds || o.catalogs != 3 || o.kind != simulate.Harder || !o.throws || o.students != 20 || o.horns != 24 {
		t.Errorf("%+v, %v", o, err)
	}
	for _, args := range [][]string{{"-kind", "x"}, {"-size", "large"}, {"-catalogs", "0"}, {"-students", "30"}, {"-rounds", "0"}, {"-draws", "-1"}, {"more"}} {
		if _, err := parse(args, io.Discard); err == nil {
			t.Errorf("%v was taken", args)
		}
	}
}

// What a policy comes to, reckoned by hand.
func TestJudge(t *testing.T) {
	c := assign.NewCosts(2, 3)
	copy(c.Row(0), []float64{5, 6, 4})
	copy(c.Row(1), []float64{9, 8, 6})
	r := &classroom{truth: c, now: []int{0, 1}}
	o := r.judge([]int{1, 2}, 0.25)
	if want := (outcome{mean: 6, worst: 6, gain: 0.5, promised: 0.25, worseOff: 1, moved: 2}); o != want {
		t.Errorf("%+v, want %+v", o, want)
	}
	if of, _, err := r.give(context.Background(), nil, policy{}); err != nil || of[0] != 0 || of[1] != 2 {
		t.Errorf("perfect knowledge gives %v (%v)", of, err)
	}
}

// Two catalogs of two classes each, which agree within: the errors are those of
// two numbers. Gains of 1 and 3 have a mean of 2 +- 1; of possible 2 and 4 they
// are two thirds; what 1 and 3 are off 2/3 of 2 and 4, -1/3 and 1/3, in shares of 3,
// makes a standard error of 1/9.
func TestClusteredErrors(t *testing.T) {
	c := &table{o: options{classes: 2}}
	x, y := []float64{1, 1, 3, 3}, []float64{2, 2, 4, 4}
	if m, se := c.clustered(x); math.Abs(m-2) > 1e-12 || math.Abs(se-1) > 1e-12 {
		t.Errorf("%g +- %g", m, se)
	}
	if m, se := c.share(x, y); math.Abs(m-2.0/3) > 1e-12 || math.Abs(se-1.0/9) > 1e-12 {
		t.Errorf("share %g +- %g", m, se)
	}
}

// A small study: what is true of any is true of it. Plans gain, and no more than
// perfect knowledge; horns as they are gain nothing.
func TestStudy(t *testing.T) {
	o := options{kind: simulate.Plain, size: simulate.Small, catalogs: 1, first: 4, classes: 1, students: 8, horns: 10}
	table := newTable(o)
	if err := table.catalog(context.Background(), o.first); err != nil {
		t.Fatal(err)
	}
	for _, measured := range []bool{true, false} {
		rows := table.outcomes[measured]
		best := rows["perfect knowledge"][0]
		for name, list := range rows {
			x := list[0]
			if len(list) != 1 || x.mean < best.mean-1e-9 || math.Abs(x.mean+x.gain-rows[nowRow][0].mean) > 1e-9 {
				t.Errorf("%s: %+v, the best is %+v", name, list, best)
			}
		}
		if rows[nowRow][0].moved != 0 || rows["perfect, fairest"][0].worst > best.worst {
			t.Errorf("as now %+v, fairest %+v", rows[nowRow], rows["perfect, fairest"])
		}
	}
	var out strings.Builder
	if err := table.write(&out); err != nil || strings.Count(out.String(), "perfect knowledge") != 2 || strings.Contains(out.String(), "promised | NaN") {
		t.Errorf("%v\n%s", err, out.String())
	}
}
