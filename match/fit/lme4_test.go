package fit

import (
	"cmp"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// crossedCase is one data set of testdata/lme4, of one slot, with what R's lme4
// makes of it (R 4.2.2, lme4 1.1-31; see the README there).
type crossedCase struct {
	data    *Data
	cents   []float64
	scalars map[string]float64
	labels  map[string][]string // per factor
	effects map[string]float64  // by factor and label
	spreads map[string]float64
}

func readCrossedCase(t *testing.T, name string) crossedCase {
	t.Helper()
	read := func(suffix string) [][]string {
		f, err := os.Open(filepath.Join("..", "..", "testdata", "lme4", name+suffix+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		rows, err := csv.NewReader(f).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		return rows[1:]
	}
	number := func(s string) float64 {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	c := crossedCase{scalars: map[string]float64{}, labels: map[string][]string{}, effects: map[string]float64{}, spreads: map[string]float64{}}
	for _, row := range read("-scalars") {
		c.scalars[row[0]] = number(row[1])
	}
	for _, row := range read("-effects") {
		c.labels[row[0]] = append(c.labels[row[0]], row[1])
		c.effects[row[0]+" "+row[1]], c.spreads[row[0]+" "+row[1]] = number(row[2]), number(row[3])
	}
	type reading struct {
		row   sessionRow
		cents float64
	}
	var readings []reading
	place := func(factor, label string) int32 { return int32(slices.Index(c.labels[factor], label)) }
	for _, row := range read("") {
		readings = append(readings, reading{sessionRow{horn: place("horn", row[0]), mouthpiece: place("mouthpiece", row[1]), player: place("player", row[2])}, number(row[3])})
	}
	slices.SortStableFunc(readings, func(a, b reading) int {
		return cmp.Or(cmp.Compare(a.row.horn, b.row.horn), cmp.Compare(a.row.mouthpiece, b.row.mouthpiece))
	})
	c.data = &Data{Slots: StandardSlots()[:1]}
	for _, r := range readings {
		c.data.sessions = append(c.data.sessions, r.row)
		c.cents = append(c.cents, r.cents)
	}
	return c
}

// scalarLevel is an effect on the one slot, its variance known.
func (c crossedCase) scalarLevel(name string, variance float64, blocks int, of func(s sessionRow) int32) *level {
	l := &level{name: name, slots: 1, p: 1, coef: [][]float64{nil}, blocks: blocks}
	for i := range int32(blocks) {
		l.rowBlock, l.rowClass = append(l.rowBlock, i), append(l.rowClass, 0)
	}
	for _, s := range c.data.sessions {
		l.sessionRow = append(l.sessionRow, of(s))
	}
	l.index()
	l.setCovariance(square{1, []float64{variance}})
	return l
}

// scalarSystem is Henderson's system for one slot with lme4's variances, no
// terms of sessions or pairs, and a normal prior on the intercept.
func (c crossedCase) scalarSystem(t *testing.T, interceptVariance float64) *system {
	t.Helper()
	d := c.data
	factor := func(name string, of func(s sessionRow) int32) *level {
		return c.scalarLevel(name, c.scalars["variance_"+name], len(c.labels[name]), of)
	}
	levels := []*level{
		c.scalarLevel("intercept", interceptVariance, 1, func(sessionRow) int32 { return 0 }),
		factor("horn", func(s sessionRow) int32 { return s.horn }),
		factor("mouthpiece", func(s sessionRow) int32 { return s.mouthpiece }),
		factor("player", func(s sessionRow) int32 { return s.player }),
	}
	s := &system{slots: 1, sessions: len(d.sessions), levels: levels}
	for _, l := range levels {
		l.first = s.unknowns
		s.unknowns += l.blocks * l.q()
	}
	s.terms = newAbsorbed(d.sessions, 1, smoothKnots)
	off := &Components{}
	off.factorSession()
	s.terms.setTerms(off, []float64{1}, make([]float64, smoothKnots))
	s.d = make([]float64, len(d.sessions))
	for i := range s.d {
		s.d[i] = 1 / c.scalars["variance_residual"]
	}
	s.terms.update(s.d)
	s.precondition()
	s.factorise()
	if s.exact == nil {
		t.Fatal("not factorised")
	}
	return s
}

// Where the models coincide - one slot, independent effects, no terms of
// sessions or pairs - the equations give lme4's intercept and effects. A flat
// prior on the intercept is a variance of 1e8 cents^2, which moves it by
// 1e-7 cents at most (intercept x its variance / 1e8); tolerance 1e-6 cents.
func TestCrossedEffectsAsInLme4(t *testing.T) {
	const flat = 1e8
	for _, name := range []string{"small", "large"} {
		for _, exact := range []bool{true, false} {
			c := readCrossedCase(t, name)
			s := c.scalarSystem(t, flat)
			if !exact {
				s.exact = nil
			}
			w := s.newWorkspace()
			b, u := make([]float64, s.unknowns), make([]float64, s.unknowns)
			s.rightHandSide(c.cents, b, w)
			if st, err := s.solve(t.Context(), b, u, 1e-13, 5000, w); err != nil || !st.Converged {
				t.Fatalf("%s: solving gave %+v, %v", name, st, err)
			}
			near := func(what string, got, want float64) {
				if !(math.Abs(got-want) <= 1e-6) {
					t.Errorf("%s (exact %v): %s is %.9f, by lme4 %.9f", name, exact, what, got, want)
				}
			}
			near("intercept", s.levels[0].chol.a[0]*u[0], c.scalars["intercept"])
			for k, factor := range []string{"horn", "mouthpiece", "player"} {
				l := s.levels[k+1]
				for i, label := range c.labels[factor] {
					near(factor+" "+label, l.chol.a[0]*u[l.first+i], c.effects[factor+" "+label])
				}
			}
		}
	}
}

// The inverse of the same matrix is the uncertainty: lme4's standard error of
// the intercept, and its conditional standard deviations, which take the
// intercept as known (here: a prior variance of 1e-10).
func TestCrossedSpreadsAsInLme4(t *testing.T) {
	for _, name := range []string{"small", "large"} {
		c := readCrossedCase(t, name)
		near := func(what string, got, want float64) {
			if !(math.Abs(got-want) <= 1e-6) {
				t.Errorf("%s: sd of %s is %.9f, by lme4 %.9f", name, what, got, want)
			}
		}
		sd := func(s *system, inverse *mat.SymDense, l *level, i int) float64 {
			return l.chol.a[0] * math.Sqrt(inverse.At(l.first+i, l.first+i))
		}
		var inverse mat.SymDense
		s := c.scalarSystem(t, 1e8)
		if err := s.exact.InverseTo(&inverse); err != nil {
			t.Fatal(err)
		}
		near("the intercept", sd(s, &inverse, s.levels[0], 0), c.scalars["intercept_se"])
		s = c.scalarSystem(t, 1e-10)
		if err := s.exact.InverseTo(&inverse); err != nil {
			t.Fatal(err)
		}
		for k, factor := range []string{"horn", "mouthpiece", "player"} {
			for i, label := range c.labels[factor] {
				near(factor+" "+label, sd(s, &inverse, s.levels[k+1], i), c.spreads[factor+" "+label])
			}
		}
	}
}
