package match

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
)

// traded is a pairing with given merits; a support below nought is not known.
func traded(label string, errorCents, worst, support, inTune float64) Pairing {
	p := Pairing{Mouthpiece: label, Verdict: Verdict{ErrorCents: errorCents, Worst: NoteCents{Cents: worst}, ChanceTolerable: inTune}}
	if support >= 0 {
		p.Support = &support
	}
	return p
}

func labelsOf(list []Pairing) string {
	var out []string
	for _, p := range list {
		out = append(out, p.Mouthpiece)
	}
	return strings.Join(out, " ")
}

// By hand: B is worse than A in all four. C has the better worst note, D the
// better support, E ties with A to a hundredth of a cent, F is as good as A but
// for a worst note on the flat side that is farther off, G is A without a known
// support, which D's beats neither.
func TestParetoByHand(t *testing.T) {
	list := []Pairing{
		traded("A", 5, -9, 0.8, 0.9), traded("B", 6, 10, 0.7, 0.8), traded("C", 6, 8, 0.8, 0.8), traded("D", 7, 9, 0.9, 0.7),
		traded("E", 5.001, 9.002, 0.8003, 0.9002), traded("F", 5, -9.1, 0.8, 0.9), traded("G", 5, 9, -1, 0.9),
	}
	if got := labelsOf(pareto(list)); got != "A C D E" {
		t.Errorf("nothing beats %s, want A C D E", got)
	}
	// With no support known for any, the others decide.
	if got := labelsOf(pareto([]Pairing{traded("A", 5, 9, -1, 0.9), traded("B", 5, 9, -1, 0.9), traded("C", 5, 9, -1, 0.8), traded("D", 6, 8, -1, 0.8)})); got != "A B D" {
		t.Errorf("without support nothing beats %s, want A B D", got)
	}
	if got := pareto(nil); len(got) != 0 {
		t.Errorf("of nothing %v", got)
	}
}

// The same as asking of every pairing whether any other one beats it; whatever
// is left out is beaten by one that is listed, and order does not matter.
func TestParetoAgainstBruteForce(t *testing.T) {
	few := rapid.SampledFrom([]float64{0, 0.25, 0.5, 0.75, 1})
	rapid.Check(t, func(t *rapid.T) {
		var list []Pairing
		for i := range rapid.IntRange(0, 40).Draw(t, "pairings") {
			list = append(list, traded(fmt.Sprint(i), few.Draw(t, "error"), few.Draw(t, "worst"), few.Draw(t, "support")-0.25, few.Draw(t, "chance")))
		}
		beaten := func(p *Pairing, by []Pairing) bool {
			return slices.ContainsFunc(by, func(q Pairing) bool { return meritsOf(&q).beats(meritsOf(p)) })
		}
		var want []Pairing
		for i := range list {
			if !beaten(&list[i], list) {
				want = append(want, list[i])
			}
		}
		got := pareto(list)
		if labelsOf(got) != labelsOf(want) {
			t.Fatalf("nothing beats %s, want %s", labelsOf(got), labelsOf(want))
		}
		for i := range list {
			if !slices.ContainsFunc(got, func(p Pairing) bool { return p.Mouthpiece == list[i].Mouthpiece }) && !beaten(&list[i], got) {
				t.Fatalf("%s is left out and nothing that is listed beats it", list[i].Mouthpiece)
			}
		}
	})
}

// The same rule with the four compared one by one.
func TestDominance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		small := rapid.IntRange(0, 2)
		draw := func() (m merits) {
			for i := range m {
				m[i] = float64(small.Draw(t, "merit"))
			}
			return m
		}
		a, b, c := draw(), draw(), draw()
		want := a != b && a[0] <= b[0] && a[1] <= b[1] && a[2] <= b[2] && a[3] <= b[3]
		if a.beats(b) != want || a.beats(a) || a.beats(b) && b.beats(a) || a.beats(b) && b.beats(c) && !a.beats(c) {
			t.Fatalf("%v, %v, %v", a, b, c)
		}
	})
}

func TestRankPareto(t *testing.T) {
	e, hs, ms := manyPairs(3, 12, 9)
	all := rank(t, e, Question{Horns: hs, Mouthpieces: ms})
	q := Question{Horns: hs, Mouthpieces: ms, Pareto: true}
	r := rank(t, e, q)
	if r.Considered != 36 || r.Pareto != len(r.Pairings) || r.Pareto == 0 || r.Pareto >= 36 {
		t.Fatalf("%d of %d", r.Pareto, r.Considered)
	}
	if want := pareto(all.Pairings); !slices.EqualFunc(r.Pairings, want, func(a, b Pairing) bool {
		return a.Horn == b.Horn && a.Mouthpiece == b.Mouthpiece && a.Rank == b.Rank && a.ChanceBest == b.ChanceBest
	}) {
		t.Error("ranks or chances are not those of the whole list")
	}
	if !strings.HasPrefix(r.Notes[0], fmt.Sprintf("Of 36 pairings %d are listed", r.Pareto)) {
		t.Errorf("notes %q", r.Notes)
	}
	q.Limit = 1
	if short := rank(t, e, q); len(short.Pairings) != 1 || short.Pareto != r.Pareto {
		t.Errorf("cut to one: %d of %d", len(short.Pairings), short.Pareto)
	}
	q.Sort = SortTolerance
	if r := rank(t, e, q); r.Pairings[0].ChanceTolerable < slices.MaxFunc(all.Pairings, func(a, b Pairing) int { return int(math.Copysign(1, a.ChanceTolerable-b.ChanceTolerable)) }).ChanceTolerable {
		t.Error("by tolerance the most likely in tune does not come first")
	}
	if _, err := RankEach(t.Context(), e, EachHorn, q); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("lists for each: error %v", err)
	}
}
