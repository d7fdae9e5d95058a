package catalog

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"centwise/catalog/pitch"
)

// Weights say how much each written note counts; only their proportions
// matter, and a note that is missing does not count. Nil is none: every note
// counts alike.
//
// They are a player's wish about judging and no measurement: digests leave them
// out, so that new weights make no fit stale.
type Weights map[pitch.Note]float64

// Weights other than nought lie within these limits.
const (
	MinWeight = 1e-6
	MaxWeight = 1e9
)

// String writes the weights upwards, as in "C4=12.5 D4=3". [ParseWeights] reads
// it back without loss.
func (w Weights) String() string {
	parts := make([]string, 0, len(w))
	for _, n := range slices.Sorted(maps.Keys(w)) {
		parts = append(parts, n.String()+"="+strconv.FormatFloat(w[n], 'f', -1, 64))
	}
	return strings.Join(parts, " ")
}

// ParseWeights reads notes with their weights, as in "C4=12.5 D4=3"; empty is
// nil. Invalid: a note is there twice, in whatever spelling, something is no note
// or no number, or [Weights.Validate] finds something.
func ParseWeights(text string) (Weights, error) {
	var w Weights
	for _, part := range strings.Fields(text) {
		name, figures, ok := strings.Cut(part, "=")
		if !ok {
			return nil, Errorf(Invalid, "write the note, = and a number, as in C4=12.5", "%q is not a weight", part)
		}
		n, err := pitch.ParseNote(name)
		if err != nil {
			return nil, Errorf(Invalid, "write it as in F#3=2 or Bb4=2", "%q is not a note", name)
		}
		x, err := strconv.ParseFloat(figures, 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, Errorf(Invalid, "write a number with a decimal point, as in C4=12.5", "the weight of %s is %q", name, figures)
		}
		if _, twice := w[n]; twice {
			return nil, Errorf(Invalid, "keep one", "%s has two weights", n)
		}
		if w == nil {
			w = Weights{}
		}
		w[n] = x + 0 // -0 becomes 0
	}
	for _, p := range w.problems("") {
		return nil, Errorf(Invalid, p.Hint, "%s %s", p.Field, p.What)
	}
	return w, nil
}

// Validate checks that every note has a fingering and every weight is nought or
// within [MinWeight]..[MaxWeight], and that some note counts. Nil is valid. The
// error is an [*Error] of kind Invalid holding [Problems].
func (w Weights) Validate() error { return w.problems("weights").Err() }

func (w Weights) problems(record string) Problems {
	var out Problems
	sum := 0.0
	for _, n := range slices.Sorted(maps.Keys(w)) {
		if p := WeightProblem(n, w[n]); p != nil {
			p.Record = record
			out = append(out, *p)
		}
		sum += w[n]
	}
	if w != nil && sum == 0 {
		out = append(out, Problem{record, "weights", "are all nought", "give one above nought to the notes that are to count"})
	}
	return out
}

// WeightProblem says what is wrong with the weight of a written note, without a
// record; nil for nothing.
func WeightProblem(n pitch.Note, x float64) *Problem {
	bad := func(hint, format string, args ...any) *Problem {
		return &Problem{Field: "weights", What: fmt.Sprintf("of %s ", n) + fmt.Sprintf(format, args...), Hint: hint}
	}
	if _, ok := pitch.UsualSlot(n, 4); !ok {
		return bad("leave the note out, or check the transposition", "stands for nothing: the note has no fingering in the catalog")
	}
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		return bad("write a number", "is not a finite number")
	case x < 0:
		return bad("write 0 for a note that does not count", "is %s, below nought", figure(x))
	case x > 0 && x < MinWeight || x > MaxWeight:
		return bad("only proportions matter: write 0, or make all of them larger or smaller", "is %s, outside %g..%g", figure(x), MinWeight, MaxWeight)
	}
	return nil
}
