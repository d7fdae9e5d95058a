package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"text/tabwriter"

	"centwise/match/visit"
)

// tally counts what visits came to.
type tally struct {
	policies []policy
	catalog  []int // of every visit
	saving   []float64
	now      []float64   // error of the present setup
	regret   [][]float64 // by policy and visit
	error    [][]float64 // true error of the pick
	tries    []float64   // by policy, summed
	share    float64     // what the deciding notes hold of what all do, summed
	shares   int
	nearness []float64 // of the chosen set of four to the best one
}

func newTally(list []policy) *tally {
	return &tally{policies: list, regret: make([][]float64, len(list)), error: make([][]float64, len(list)), tries: make([]float64, len(list))}
}

// visit runs all policies on one scene.
func (t *tally) visit(catalog int, s *scene) {
	t.catalog = append(t.catalog, catalog)
	t.saving = append(t.saving, s.regret(0))
	t.now = append(t.now, s.truth[0])
	for p, policy := range t.policies {
		o := policy.run(s, policy.few)
		t.regret[p] = append(t.regret[p], s.regret(o.pick))
		t.error[p] = append(t.error[p], s.truth[o.pick])
		t.tries[p] += float64(o.tries)
	}
}

// notes judges the choice of notes; sets says whether all sets of four are gone
// through.
func (t *tally) notes(s *scene, sets bool) {
	v := open(s)
	setups := deciders(v)
	all := notes(s, false)
	whole := v.Explained(setups, all)
	t.share += v.Explained(setups, notes(s, true)) / whole
	t.shares++
	if !sets {
		return
	}
	told, teller := 0.0, v.Teller(setups)
	for _, note := range v.Notes(setups, 4) {
		told += teller.Take(note)
	}
	t.nearness = append(t.nearness, told/bestSet(v.Teller(setups), len(all), 4))
}

// bestSet is the most that any set of so many of the notes below a number tells.
func bestSet(t *visit.Teller, below, size int) float64 {
	best := 0.0
	for j := range below {
		told := t.Worth(j)
		if size > 1 {
			next := t.Clone()
			told = next.Take(j) + bestSet(next, j, size-1)
		}
		best = math.Max(best, told)
	}
	return best
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// clustered is the mean and its standard error when visits of one catalog hang
// together.
func (t *tally) clustered(x []float64) (m, se float64) {
	m = mean(x)
	byCatalog := map[int]float64{}
	for i, v := range x {
		byCatalog[t.catalog[i]] += v - m
	}
	sum := 0.0
	for c := range len(byCatalog) {
		sum += byCatalog[c] * byCatalog[c]
	}
	n := float64(len(byCatalog))
	if n < 2 {
		return m, math.NaN()
	}
	return m, math.Sqrt(sum*n/(n-1)) / float64(len(x))
}

// reference is the policy that the others are compared with: the top of the list
// on the same notes.
func (t *tally) reference(p int) int {
	for q := range t.policies {
		if t.policies[q].few == t.policies[p].few && t.policies[q].name == "top of the list, picked by the model" {
			return q
		}
	}
	return p
}

func (t *tally) write(out io.Writer) error {
	now, best := mean(t.now), mean(t.now)-mean(t.saving)
	fmt.Fprintf(out, "%d visits in %d catalogs; error now %.2f, best of %d %.2f: %.2f cents to save\n\n",
		len(t.now), t.catalog[len(t.catalog)-1]+1, now, stock+1, best, now-best)
	w := tabwriter.NewWriter(out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(w, "notes\tpolicy\ttries\tregret\ts.e.\tagainst the list\ts.e.\tt\tsaved\tworse than now\tby > 0.5")
	for p, policy := range t.policies {
		m, se := t.clustered(t.regret[p])
		against := make([]float64, len(t.now))
		worse, much := 0.0, 0.0
		for i := range against {
			against[i] = t.regret[p][i] - t.regret[t.reference(p)][i]
			if t.error[p][i] > t.now[i] {
				worse++
			}
			if t.error[p][i] > t.now[i]+0.5 {
				much++
			}
		}
		d, dse := t.clustered(against)
		size := "31"
		if policy.few {
			size = fmt.Sprint(visit.DecidingNotes)
		}
		n := float64(len(t.now))
		fmt.Fprintf(w, "%s\t%s\t%.1f\t%.3f\t%.3f\t%+.3f\t%.3f\t%.1f\t%.0f %%\t%.1f %%\t%.1f %%\n", size, policy.name, t.tries[p]/n,
			m, se, d, dse, d/dse, 100*(now-mean(t.error[p]))/(now-best), 100*worse/n, 100*much/n)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	t.writeStops(out)
	fmt.Fprintf(out, "\n%d deciding notes hold %.0f %% of what 31 tell about the scores.\n", visit.DecidingNotes, 100*t.share/float64(t.shares))
	if len(t.nearness) > 0 {
		least := t.nearness[0]
		for _, x := range t.nearness {
			least = math.Min(least, x)
		}
		fmt.Fprintf(out, "Sets of four: the chosen one explains %.1f %% of what the best one does on average, %.1f %% at worst (%d visits).\n",
			100*mean(t.nearness), 100*least, len(t.nearness))
	}
	return nil
}

// writeStops says what stopping by the rule loses to making all tries.
func (t *tally) writeStops(out io.Writer) {
	for p, stops := range t.policies {
		q := slices.IndexFunc(t.policies, func(x policy) bool { return x.name == adaptedName && x.few == stops.few })
		if stops.name != stoppedName || q < 0 {
			continue
		}
		lost, much := make([]float64, len(t.now)), 0
		for i := range lost {
			lost[i] = t.regret[p][i] - t.regret[q][i]
			if lost[i] > 1 {
				much++
			}
		}
		m, se := t.clustered(lost)
		n := float64(len(t.now))
		fmt.Fprintf(out, "\nThe rule stops after %.2f of %d tries and adds %.3f +- %.3f to the regret, more than a cent in %.1f %% of the visits (%s).", t.tries[p]/n, tries, m, se, 100*float64(much)/n, notesRead(stops.few))
	}
}

func notesRead(few bool) string {
	if few {
		return fmt.Sprintf("%d notes", visit.DecidingNotes)
	}
	return "31 notes"
}
