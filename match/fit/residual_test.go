package fit

import (
	"math"
	"testing"

	"centwise/catalog"

	"gonum.org/v1/gonum/mat"
)

// Fitted values are the conditional expectations of the cells without their
// reading errors, and their spreads near the exact ones, with everything in
// the model. With V the covariance of the cells and D their precisions,
//
//	E[f | y] = y - D^-1 V^-1 y,   Var[f | y] = D^-1 - D^-1 V^-1 D^-1.
//
// The spreads differ from cell to cell by more than a session's size times a
// slot's, and come from 400 draws: each within 40 %, all together within 3 %.
func TestResidualsAgainstTheLongWay(t *testing.T) {
	d := mixedShelf(4, 5, 3, 14, 8).load(t)
	const draws = 400
	e := newEngine(d, testComponents(len(d.Sources)), 5, false)
	e.startCells()
	e.refresh()
	e.spread = newCellSpread(draws, d)
	if _, err := e.conclude(t.Context(), plan{draws: draws, tolerance: 1e-10, drawTolerance: 1e-3, limit: 2000}, &Report{}, catalog.NoCounter{}); err != nil {
		t.Fatal(err)
	}
	long := newMarginal(t, e)
	var inverse mat.SymDense
	if err := long.chol.InverseTo(&inverse); err != nil {
		t.Fatal(err)
	}
	n, j := len(long.cells), e.sys.slots
	y := mat.NewVecDense(n, nil)
	for i, c := range long.cells {
		y.SetVec(i, e.y[c[0]*j+c[1]])
	}
	var solved mat.VecDense
	solved.MulVec(&inverse, y)
	fitted, sd := map[[2]int]float64{}, map[[2]int]float64{}
	for i, c := range long.cells {
		w := e.sys.d[c[0]*j+c[1]]
		fitted[c] = e.prior.of(c[0])[c[1]] + y.AtVec(i) - solved.AtVec(i)/w
		sd[c] = math.Sqrt(1/w - inverse.At(i, i)/(w*w))
	}
	near := exactNear(e, long.cells, &inverse)
	session, name, given, exact := -1, "", 0.0, 0.0
	e.residuals(func(r Residual) {
		for k, v := range r.Session.Near {
			if off := math.Abs(v - near[k]); !(off < 0.005) {
				t.Fatalf("%d semitones apart: covariance %.4f, exactly %.4f", k+1, v, near[k])
			}
		}
		if r.Session.Name != name {
			session, name = session+1, r.Session.Name
		}
		cell := [2]int{session, d.slotIndex[r.Slot]}
		if math.Abs(r.Fitted-fitted[cell]) > 1e-6 {
			t.Errorf("%s, slot %s: fitted %.9f, the long way %.9f", name, r.Slot, r.Fitted, fitted[cell])
		}
		if ratio := r.FittedSD / sd[cell]; !(math.Abs(ratio-1) < 0.4) {
			t.Errorf("%s, slot %s: spread %.3f, exactly %.3f", name, r.Slot, r.FittedSD, sd[cell])
		}
		given += r.FittedSD * r.FittedSD
		exact += sd[cell] * sd[cell]
	})
	if session+1 != d.Sessions() {
		t.Errorf("residuals of %d sessions, want %d", session+1, d.Sessions())
	}
	if ratio := given / exact; !(math.Abs(ratio-1) < 0.03) {
		t.Errorf("mean variance of fitted values is %.3f of the exact one", ratio)
	}
}

// exactNear is SessionFit.Near from the covariance of the residuals themselves,
// D^-1 V^-1 D^-1.
func exactNear(e *engine, cells [][2]int, inverse *mat.SymDense) []float64 {
	sum, pairs := make([]float64, NearSemitones), make([]float64, NearSemitones)
	for i, a := range cells {
		for k, b := range cells {
			lag := int(e.data.Slots[b[1]].Note()-e.data.Slots[a[1]].Note()) - 1
			if a[0] != b[0] || lag < 0 || lag >= NearSemitones {
				continue
			}
			w, v := e.sys.d[a[0]*e.sys.slots+a[1]], e.sys.d[b[0]*e.sys.slots+b[1]]
			noise := e.comp.SourceNoise[e.data.sessions[a[0]].source]
			sum[lag] += inverse.At(i, k) / (w * v * noise * noise)
			pairs[lag]++
		}
	}
	for k := range sum {
		sum[k] /= max(1, pairs[k])
	}
	return sum
}

// Residuals of readings from the model's own law, learned from as users have
// it: standardised, the good ones have mean 0 and variance 1, of each source
// too, while plain they fall short by what the fit followed. The probability
// of being good adds up to the share of good readings.
func TestResidualsOfTheModelsOwnReadings(t *testing.T) {
	const grossShare = 0.03
	d, _ := learnCase(t, 31, grossShare)
	type sums struct{ n, good, mean, square, plain float64 }
	bySource := map[Source]*sums{}
	readings, gross := 0, 0
	_, err := Run(t.Context(), d, Options{Residuals: func(r Residual) {
		if r.Slot != d.Slots[d.slot[readings]] || r.Cents != d.cents[readings] {
			t.Fatalf("residual %d is not of reading %d", readings, readings)
		}
		readings++
		s := bySource[r.Session.Source]
		if s == nil {
			s = &sums{}
			bySource[r.Session.Source] = s
		}
		z, plain := r.Standardised(), (r.Cents-r.Fitted)/r.Session.Noise
		if r.Good < 0.5 {
			gross++
			if math.Abs(plain) < 2 {
				t.Errorf("a residual of %.1f noises is taken for a gross error", plain)
			}
		}
		s.n++
		s.good += r.Good
		s.mean += r.Good * z
		s.square += r.Good * z * z
		s.plain += r.Good * plain * plain
	}})
	if err != nil {
		t.Fatal(err)
	}
	if readings != d.Readings() || len(bySource) != 2 {
		t.Fatalf("%d residuals of %d sources for %d readings of 2", readings, len(bySource), d.Readings())
	}
	for source, s := range bySource {
		mean, variance, plain := s.mean/s.good, s.square/s.good, s.plain/s.good
		t.Logf("%s: mean %.3f, variance %.3f, in noises %.3f, good %.3f", source.Contributor, mean, variance, plain, s.good/s.n)
		if !(math.Abs(mean) < 0.05) || !(math.Abs(variance-1) < 0.04) {
			t.Errorf("%s: standardised residuals have mean %.3f and variance %.3f", source.Contributor, mean, variance)
		}
		if !(plain < 0.9) {
			t.Errorf("%s: plain residuals have a variance of %.3f noises squared: the fit followed nothing", source.Contributor, plain)
		}
		if !(math.Abs(1-s.good/s.n-grossShare) < 0.01) {
			t.Errorf("%s: %.3f of the readings are good, drawn with %.3f", source.Contributor, s.good/s.n, 1-grossShare)
		}
	}
	// Of gross errors six times as wide, those beyond 2.9 noises are told: two thirds.
	if share := float64(gross) / float64(readings); !(share > grossShare/2 && share < grossShare) {
		t.Errorf("%.3f of the readings are more likely gross than good, drawn with %.3f", share, grossShare)
	}
}

// Asking for residuals makes a whole fit though one is stored, and the same
// one; without asking nothing is collected.
func TestResidualsComeWithAWholeFit(t *testing.T) {
	s := duo()
	stored := s.fit(t, Options{})
	readings := 0
	var sessions []string
	m := s.fit(t, Options{Residuals: func(r Residual) {
		readings++
		if len(sessions) == 0 || sessions[len(sessions)-1] != r.Session.Name {
			sessions = append(sessions, r.Session.Name)
		}
	}})
	if s.saves != 2 {
		t.Errorf("%d fits were stored, want 2", s.saves)
	}
	if readings != m.Report.Readings || len(sessions) != m.Report.Sessions {
		t.Errorf("%d residuals in %d sessions for %v", readings, len(sessions), m.Report)
	}
	wantSame(t, "the fit with residuals", answers(t, m, someSetups(s)), answers(t, stored, someSetups(s)))
}
