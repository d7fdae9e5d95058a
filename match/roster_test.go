package match

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"pgregory.net/rapid"
)

// class is a roster question on made-up profiles: horns and mouthpieces by
// letters, students by number, each with a mouthpiece of their own.
func class(students, horns int) (*fakeEngine, RosterQuestion) {
	e := &fakeEngine{items: map[catalog.ID]vector{}, draws: 8, worlds: map[catalog.ID][]vector{}, evidence: func(s fit.Setup) fit.Evidence {
		return fit.Evidence{Horn: 3, Mouthpiece: 3, Player: 1, Basis: fit.BasisMeasured}
	}}
	q := RosterQuestion{}
	item := func(id catalog.ID, size float64) {
		e.items[id] = wave(string(id), size)
		for k := range e.draws {
			e.worlds[id] = append(e.worlds[id], wave(fmt.Sprint(id, k), 1))
		}
	}
	for i := range horns {
		h := horn(fmt.Sprintf("H%02d", i))
		item(h.ID, 5)
		q.Horns = append(q.Horns, h)
	}
	for i := range students {
		m, p := mouthpiece(fmt.Sprintf("M%02d", i)), catalog.Player{ID: catalog.ID(fmt.Sprintf("P%02d", i)), Label: fmt.Sprintf("P%02d", i)}
		item(m.ID, 3)
		item(p.ID, 3)
		s := Student{Player: p, Criteria: threeOpen(), Own: &m, NowMouthpiece: &m}
		if i < horns {
			s.NowHorn = &q.Horns[i]
		}
		q.Students = append(q.Students, s)
	}
	return e, q
}

func planned(t *testing.T, e Engine, q RosterQuestion) *Roster {
	t.Helper()
	r, err := PlanRoster(context.Background(), e, q)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (r *Roster) hornOf(student string) string {
	for _, l := range r.Lines {
		if l.Student == student {
			return l.Horn
		}
	}
	return ""
}

// The expected error of a pair as Rank gives it, which was tested before.
func rankedError(t *testing.T, e Engine, s Student, h catalog.Horn, m catalog.Mouthpiece) float64 {
	t.Helper()
	r, err := Rank(context.Background(), e, Question{FromHorn: &h, Mouthpieces: []catalog.Mouthpiece{m}, Player: &s.Player, Criteria: s.Criteria, NoSupport: true})
	if err != nil {
		t.Fatal(err)
	}
	return r.Pairings[0].ErrorCents
}

// Of all ways to give out the horns none has a smaller total, and the fairest
// has the best worst student.
func TestRosterAgainstAllWays(t *testing.T) {
	e, q := class(5, 6)
	q.ChangeCents = 0.4
	errs := make([][]float64, 5)
	for i, s := range q.Students {
		for _, h := range q.Horns {
			errs[i] = append(errs[i], rankedError(t, e, s, h, *s.Own))
		}
	}
	least, worst := math.Inf(1), math.Inf(1)
	var of [5]int
	var give func(i int)
	give = func(i int) {
		if i == 5 {
			sum, most := 0.0, 0.0
			for k, h := range of {
				x := errs[k][h]
				if h != k {
					x += q.ChangeCents
				}
				sum, most = sum+x, max(most, x)
			}
			least, worst = min(least, sum), min(worst, most)
			return
		}
		for h := range q.Horns {
			if of[i] = h; !slices.Contains(of[:i], h) {
				give(i + 1)
			}
		}
	}
	give(0)
	for _, fairest := range []bool{false, true} {
		q.Fairest = fairest
		r := planned(t, e, q)
		sum, most := 0.0, 0.0
		for _, l := range r.Lines {
			x := l.ErrorCents
			if l.Moved {
				x += q.ChangeCents
			}
			sum, most = sum+x, max(most, x)
		}
		if !fairest {
			near(t, "least total", sum, least, 1e-9)
		} else {
			near(t, "worst", most, worst, 1e-9)
		}
		if !r.Proof.Exact || len(r.Lines) != 5 || len(r.Spare) != 1 {
			t.Errorf("%+v", r)
		}
	}
}

// The plan does not depend on the order in which students, horns and spare
// mouthpieces are named.
func TestRosterOrder(t *testing.T) {
	e, q := class(6, 6)
	for _, label := range []string{"S1", "S2", "S3"} {
		m := mouthpiece(label)
		e.items[m.ID] = wave(label, 3)
		q.Spares = append(q.Spares, Spare{m, 1})
	}
	want := planned(t, e, q)
	rapid.Check(t, func(rt *rapid.T) {
		turned := q
		turned.Students = rapid.Permutation(q.Students).Draw(rt, "students")
		turned.Horns = rapid.Permutation(q.Horns).Draw(rt, "horns")
		turned.Spares = rapid.Permutation(q.Spares).Draw(rt, "spares")
		got, err := PlanRoster(context.Background(), e, turned)
		if err != nil {
			rt.Fatal(err)
		}
		if fmt.Sprintf("%+v", got.Lines[0].Verdict) != fmt.Sprintf("%+v", want.Lines[0].Verdict) || got.MeanCents != want.MeanCents {
			rt.Fatalf("mean %v, want %v", got.MeanCents, want.MeanCents)
		}
		for i := range got.Lines {
			if got.Lines[i].Horn != want.Lines[i].Horn || got.Lines[i].Mouthpiece != want.Lines[i].Mouthpiece {
				rt.Fatalf("%+v, want %+v", got.Lines[i], want.Lines[i])
			}
		}
	})
}

// Students whom nobody has measured are judged alike, so that chance decides
// nothing between them.
func TestRosterNeverMeasured(t *testing.T) {
	e, q := class(3, 3)
	e.evidence = func(fit.Setup) fit.Evidence { return fit.Evidence{Horn: 3, Mouthpiece: 3, Basis: fit.BasisMeasured} }
	for i := range q.Students {
		e.items[q.Students[i].Player.ID] = nil
		q.Students[i].Own, q.Students[i].NowMouthpiece = q.Students[0].Own, q.Students[0].Own
		q.Students[i].NowHorn = nil
	}
	r := planned(t, e, q)
	for _, l := range r.Lines {
		near(t, l.Student, l.ErrorCents, rankedError(t, e, q.Students[0], q.Horns[slices.IndexFunc(q.Horns, func(h catalog.Horn) bool { return h.Label == l.Horn })], *q.Students[0].Own), 1e-9)
	}
	if !strings.Contains(strings.Join(r.Notes, " "), "Nobody has measured P00, P01 and P02") {
		t.Errorf("notes %q", r.Notes)
	}
}

func TestRosterLimits(t *testing.T) {
	e, q := class(4, 6)
	q.Horns[4].Key, q.Horns[5].Instrument = pitch.KeyC, catalog.Cornet
	q.Horns[5].Receiver = catalog.ShankCornet
	q.Horns[3].BoreMM = 11.7
	q.Students[0].Key = pitch.KeyC
	q.Students[1].Only = q.Horns[2].ID
	q.Students[2].Never = []catalog.ID{q.Horns[0].ID, q.Horns[1].ID}
	q.Students[3].BoreMM = Limits{Max: 11.5}
	q.Students[3].Instrument = catalog.Trumpet
	r := planned(t, e, q)
	if got := r.hornOf("P00"); got != "H04" {
		t.Errorf("who needs C has %s", got)
	}
	if got := r.hornOf("P01"); got != "H02" {
		t.Errorf("who must have H02 has %s", got)
	}
	if got := r.hornOf("P02"); got == "H00" || got == "H01" || got == "" {
		t.Errorf("who must not have H00 and H01 has %q", got)
	}
	if got := r.hornOf("P03"); got != "" {
		t.Errorf("who needs a known bore of 11.5 at most has %s", got)
	}
	if len(r.Unserved) != 1 || r.Unserved[0].Student != "P03" || !strings.Contains(r.Unserved[0].Reason, "bore not known") || !strings.Contains(r.Unserved[0].Reason, "bore outside the range") {
		t.Errorf("unserved %+v", r.Unserved)
	}
	for _, l := range r.Lines {
		if l.Horn == "H05" {
			t.Errorf("%s has a trumpet mouthpiece in a cornet", l.Student)
		}
	}
	q.Adapter = true
	q.Students[3].Never = nil
	if planned(t, e, q).hornOf("P00") != "H04" {
		t.Error("an adapter changed the key")
	}
}

// Too few horns: as many students as can be are served, those with a horn first,
// and who blocks whom is said.
func TestRosterBlocked(t *testing.T) {
	e, q := class(5, 6)
	for i := range q.Horns[:4] {
		q.Horns[i].Key = pitch.KeyC
	}
	for i := range q.Students {
		q.Students[i].Key = pitch.KeyBb
		q.Students[i].NowHorn = nil
	}
	q.Students[4].NowHorn = &q.Horns[5]
	q.Students[4].Criteria = threeOpen()
	e.items[q.Students[4].Player.ID] = wave("far out", 40) // serving others would cost less
	r := planned(t, e, q)
	if len(r.Lines) != 2 || r.hornOf("P04") == "" || len(r.Unserved) != 3 {
		t.Fatalf("%d served, P04 has %q, unserved %+v", len(r.Lines), r.hornOf("P04"), r.Unserved)
	}
	for _, u := range r.Unserved {
		if len(u.Students) != len(u.Horns)+1 || !slices.Contains(u.Students, u.Student) || !slices.Equal(u.Horns, []string{"H04", "H05"}) {
			t.Errorf("%+v", u)
		}
	}
	q.Students[0].Own, q.Students[0].Key = nil, pitch.KeyC
	r = planned(t, e, q)
	if r.Unserved[0].Student != "P00" || !strings.Contains(r.Unserved[0].Reason, "no mouthpiece of their own") {
		t.Errorf("%+v", r.Unserved[0])
	}
}

// Mouthpieces that are too few are told as what blocks.
func TestRosterBlockedByMouthpieces(t *testing.T) {
	e, q := class(4, 5)
	m := mouthpiece("S1")
	e.items[m.ID] = wave("S1", 3)
	q.Spares = []Spare{{m, 2}}
	for i := range q.Students[:3] {
		q.Students[i].Own = nil
	}
	r := planned(t, e, q)
	if len(r.Lines) != 3 || len(r.Unserved) != 1 {
		t.Fatalf("%+v", r.Unserved)
	}
	u := r.Unserved[0]
	if !slices.Equal(u.Students, []string{"P00", "P01", "P02"}) || !slices.Equal(u.Mouthpieces, []string{"S1", "S1"}) || len(u.Horns) > 0 {
		t.Errorf("%+v", u)
	}
	q.Spares[0].Copies = 3
	if r = planned(t, e, q); len(r.Unserved) != 0 {
		t.Errorf("with three copies: %+v", r.Unserved)
	}
	q.Students[0].Player.RimMinMM, q.Students[0].Player.RimMaxMM = 16.5, 17 // S1 has 16.2
	if r = planned(t, e, q); len(r.Unserved) != 1 || r.Unserved[0].Student != "P00" {
		t.Errorf("outside the comfort: %+v", r.Unserved)
	}
}

// A change that gains less than it must is not made, and what changes gain is
// what they say.
func TestRosterChanges(t *testing.T) {
	e, q := class(6, 8)
	free := planned(t, e, q)
	q.ChangeCents = 100
	if stay := planned(t, e, q); stay.Moved != 0 || math.Abs(stay.Gain.Cents) > 1e-12 || stay.Gain.WorseOff != 0 {
		t.Errorf("nobody should move: %d did, gain %+v", stay.Moved, stay.Gain)
	}
	if free.Moved == 0 || free.Gain.Cents <= 0 || free.Gain.Students != 6 {
		t.Fatalf("moved %d, gain %+v", free.Moved, free.Gain)
	}
	sum := 0.0
	for i, l := range free.Lines {
		sum += l.Gain.Cents
		near(t, "now", *l.NowCents, rankedError(t, e, q.Students[i], q.Horns[i], *q.Students[i].Own), 1e-9)
	}
	near(t, "gain of the class", free.Gain.Cents, sum/6, 1e-9)
}

// The runner-up is the plan with the student kept from their horn.
func TestRosterRunnerUp(t *testing.T) {
	for _, fairest := range []bool{false, true} {
		e, q := class(5, 6)
		q.Fairest, q.ChangeCents = fairest, 0.3
		r := planned(t, e, q)
		for i, l := range r.Lines {
			kept := q
			kept.Students = slices.Clone(q.Students)
			kept.Students[i].Never = []catalog.ID{catalog.ID(l.Horn)}
			other := planned(t, e, kept)
			total := func(r *Roster) (sum float64) {
				for _, l := range r.Lines {
					sum += l.ErrorCents
					if l.Moved {
						sum += q.ChangeCents
					}
				}
				return sum
			}
			if l.RunnerUp == nil || l.RunnerUp.Horn != other.hornOf(l.Student) {
				t.Fatalf("%s: runner-up %+v, want %s", l.Student, l.RunnerUp, other.hornOf(l.Student))
			}
			near(t, l.Student, l.RunnerUp.CostCents, total(other)-total(r), 1e-9)
		}
	}
}

func TestRosterWhatIf(t *testing.T) {
	e, q := class(4, 4)
	plain := planned(t, e, q)
	to := plain.hornOf("P01")
	added := horn("H99")
	e.items[added.ID] = nought // a perfect one
	for _, tc := range []struct {
		what   WhatIf
		holds  func(r *Roster) bool
		served int
		rises  int // sign of the total's change; 2 = any
	}{
		{WhatIf{Locks: map[string]catalog.ID{"P00": catalog.ID(to)}}, func(r *Roster) bool { return r.hornOf("P00") == to }, 0, 1},
		{WhatIf{Without: []catalog.ID{q.Horns[0].ID}}, func(r *Roster) bool { return len(r.Lines) == 3 && len(r.Unserved) == 1 }, -1, 2},
		{WhatIf{Add: []catalog.Horn{added}}, func(r *Roster) bool { return len(r.Spare) == 1 && !slices.Contains(r.Spare, "H99") }, 0, -1},
	} {
		q.WhatIf = &tc.what
		r := planned(t, e, q)
		if !tc.holds(r) || r.WhatIf == nil || r.WhatIf.Served != tc.served {
			t.Errorf("%+v: %+v, %+v", tc.what, r.WhatIf, r.Lines)
		}
		if x := r.WhatIf.TotalCents; tc.rises == 1 && x < 0 || tc.rises == -1 && x >= 0 || r.WhatIf.Different == 0 && tc.served == 0 {
			t.Errorf("%+v: %+v", tc.what, r.WhatIf)
		}
	}
}

func TestRosterRefuses(t *testing.T) {
	e, q := class(2, 2)
	for name, tc := range map[string]struct {
		change func(*RosterQuestion)
		words  string
	}{
		"no student":      {func(q *RosterQuestion) { q.Students = nil }, "no student"},
		"twice":           {func(q *RosterQuestion) { q.Students[1] = q.Students[0] }, "twice"},
		"change":          {func(q *RosterQuestion) { q.ChangeCents = math.NaN() }, "a change must gain"},
		"change for ever": {func(q *RosterQuestion) { q.ChangeCents = math.Inf(1) }, "a change must gain"},
		"copies":          {func(q *RosterQuestion) { q.Spares = []Spare{{mouthpiece("S"), -1}} }, "-1 copies"},
		"lock a ghost":    {func(q *RosterQuestion) { q.WhatIf = &WhatIf{Locks: map[string]catalog.ID{"ghost": "H00"}} }, "ghost"},
		"lock one twice":  {func(q *RosterQuestion) { q.WhatIf = &WhatIf{Locks: map[string]catalog.ID{"P00": "H00", "P01": "H00"}} }, "same horn"},
	} {
		bad := q
		bad.Students = slices.Clone(q.Students)
		tc.change(&bad)
		if _, err := PlanRoster(context.Background(), e, bad); err == nil || !strings.Contains(err.Error(), tc.words) {
			t.Errorf("%s: %v", name, err)
		}
	}
	e.fail = fmt.Errorf("broken")
	if _, err := PlanRoster(context.Background(), e, q); err == nil || !strings.Contains(err.Error(), "broken") {
		t.Errorf("a broken engine: %v", err)
	}
}

// Of a fairest plan that leaves somebody without a horn, the bound speaks of
// those who have one: what staying without costs is no error.
func TestFairestBoundWhereNotAllAreServed(t *testing.T) {
	e, q := class(4, 3)
	m := mouthpiece("S")
	e.items[m.ID], e.worlds[m.ID] = e.items["M00"], e.worlds["M00"]
	q.Spares, q.Fairest = []Spare{{m, 1}}, true
	r := planned(t, e, q)
	if len(r.Unserved) != 1 || r.Proof.WorstBoundCents > r.WorstCents+2*q.ChangeCents {
		t.Errorf("%d unserved, worst %.2f, proof %+v, notes %q", len(r.Unserved), r.WorstCents, r.Proof, r.Notes)
	}
}
