package match

import (
	"cmp"
	"fmt"
	"slices"

	"centwise/catalog/pitch"
	"centwise/match/tuning"
)

// heaviest is how many of the notes that count most a sentence names.
const heaviest = 3

// weightWords say which notes count, if not all alike.
func (c Criteria) weightWords(p plan) []string {
	if c.Weights == nil {
		if c.Register == "" || c.Register == tuning.RegisterEven {
			return nil
		}
		return []string{fmt.Sprintf("The %s register counts %.0f times as much as the others.", c.Register, tuning.RegisterEmphasis)}
	}
	var count, all []int // places of slots
	sum := 0.0
	for j := range p.problem.Slots() {
		if all = append(all, j); p.problem.Weight(j) > 0 {
			count = append(count, j)
			sum += p.problem.Weight(j)
		}
	}
	slices.SortStableFunc(count, func(a, b int) int { return cmp.Compare(p.problem.Weight(b), p.problem.Weight(a)) })
	var most []string
	for _, j := range count[:min(heaviest, len(count))] {
		most = append(most, fmt.Sprintf("%s (%.0f %%)", p.problem.Slots()[j].Note(), 100*p.problem.Weight(j)/sum))
	}
	out := []string{fmt.Sprintf("Notes count by the weights of %s: %d of %d count at all, most of all %s.", c.weighting(), len(count), len(all), joinAnd(most))}
	return append(out, unjudgedWords(p.unjudged)...)
}

// weightRemark says under a ranking that notes do not count alike.
func (q Question) weightRemark() []string {
	switch from := q.Criteria.weighting(); {
	case q.Criteria.Weights != nil:
		return []string{fmt.Sprintf("Notes count by the weights of %s.", from)}
	case from != string(tuning.RegisterEven):
		return []string{fmt.Sprintf("The %s register counts %.0f times as much as the others.", from, tuning.RegisterEmphasis)}
	}
	return nil
}

// unjudgedWords name notes whose weights could not be used.
func unjudgedWords(notes []pitch.Note) []string {
	if len(notes) == 0 {
		return nil
	}
	var names []string
	for _, n := range notes {
		names = append(names, n.String())
	}
	return []string{fmt.Sprintf("Not judged although they have a weight: %s. They lie outside the range, or nothing is known of how they are played.", nameSome(names))}
}
