package main

import (
	"bytes"
	"context"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"centwise/match/fit/simulate"
)

// fixed predicts given profiles.
type fixed struct {
	profile func(p simulate.Pair) Profile
}

func (fixed) Name() string                               { return "fixed" }
func (fixed) Fit(context.Context, *simulate.World) error { return nil }
func (f fixed) Predict(_ context.Context, pairs []simulate.Pair) ([]Profile, error) {
	out := make([]Profile, len(pairs))
	for i, p := range pairs {
		out[i] = f.profile(p)
	}
	return out, nil
}

func constantOf(x float64) []float64 {
	out := make([]float64, len(simulate.Slots))
	for j := range out {
		out[j] = x
	}
	return out
}

// Who knows the truth errs by nothing and regrets nothing, whatever constant is
// added; the intervals of width zero and of any width hold it.
func TestScoreOfTheTruth(t *testing.T) {
	w := simulate.Generate(simulate.Plain, simulate.Small, 1)
	m := fixed{func(p simulate.Pair) Profile {
		mean := w.Truth(p.Horn, p.Mouthpiece)
		for j := range mean {
			mean[j] += 17
		}
		return Profile{mean, constantOf(1e-6)}
	}}
	r, err := score(context.Background(), m, w)
	if err != nil {
		t.Fatal(err)
	}
	fifty, ninety := r.all.coverage()
	if r.all.rms() > 1e-9 || r.regret > 1e-9 || fifty != 100 || ninety != 100 {
		t.Errorf("the truth scores rms %v, regret %v, coverage %v and %v; want 0, 0, 100, 100", r.all.rms(), r.regret, fifty, ninety)
	}
	if r.chance < 0.5 {
		t.Errorf("a random pick loses %.2f cents, want more than a known pick", r.chance)
	}
}

// An error of known size and shape scores as such, and only intervals wider
// than it hold the truth.
func TestScoreOfAKnownError(t *testing.T) {
	w := simulate.Generate(simulate.Plain, simulate.Small, 1)
	m := fixed{func(p simulate.Pair) Profile {
		mean := w.Truth(p.Horn, p.Mouthpiece)
		for i, j := range simulate.Usual[:30] { // +2 and -2 by turns: nothing to shift
			mean[j] += 2 - 4*float64(i%2)
		}
		return Profile{mean, constantOf(2)}
	}}
	r, err := score(context.Background(), m, w)
	if err != nil {
		t.Fatal(err)
	}
	if want := 2 * math.Sqrt(30./31); math.Abs(r.all.rms()-want) > 1e-9 {
		t.Errorf("rms %v, want %v", r.all.rms(), want)
	}
	// 2 cents lie outside 0.674 x 2 and inside 1.645 x 2; one note of 31 is right.
	if fifty, ninety := r.all.coverage(); math.Abs(fifty-100./31) > 1e-9 || ninety != 100 {
		t.Errorf("coverage %v and %v, want %v and 100", fifty, ninety, 100./31)
	}
}

// On readings without noise, of items played often by a player without habits,
// the plain sum is right.
func TestPlainSumOfCleanReadings(t *testing.T) {
	w := simulate.Generate(simulate.Plain, simulate.Small, 1)
	horn := func(h, j int) float64 { return float64((h*7+j*3)%11) - 5 }
	piece := func(m, j int) float64 { return float64((m*5+j*2)%7) - 3 }
	w.Sessions = nil
	for h := range 11 {
		for m := range 7 {
			s := simulate.Session{Horn: h, Mouthpiece: m}
			for j := range simulate.Slots {
				s.Readings = append(s.Readings, simulate.Reading{Slot: j, Repeat: 1, Cents: horn(h, j) + piece(m, j) + float64(h-m)})
			}
			w.Sessions = append(w.Sessions, s)
		}
	}
	sum := &plainSum{}
	if err := sum.Fit(context.Background(), w); err != nil {
		t.Fatal(err)
	}
	got, err := sum.Predict(context.Background(), []simulate.Pair{{Horn: 3, Mouthpiece: 4}})
	if err != nil {
		t.Fatal(err)
	}
	want := make([]float64, len(simulate.Slots))
	for j := range want {
		want[j] = horn(3, j) + piece(4, j)
	}
	for j, x := range simulate.Centred(want) {
		if math.Abs(got[0].Mean[j]-x) > 1e-9 {
			t.Errorf("%v: %v, want %v", simulate.Slots[j], got[0].Mean[j], x)
		}
	}
}

// The variance of an entry less the mean, for independent entries, against the
// general formula.
func TestCentredVariance(t *testing.T) {
	n := len(simulate.Slots)
	variance := make([]float64, n)
	for j := range variance {
		variance[j] = 1 + float64(j%5)
	}
	got := centredVariance(variance)
	k := float64(len(simulate.Usual))
	all := 0.0
	for _, j := range simulate.Usual {
		all += variance[j]
	}
	usual := map[int]bool{}
	for _, j := range simulate.Usual {
		usual[j] = true
	}
	for j, v := range variance {
		want := v + all/(k*k)
		if usual[j] { // (1 - 1/k)^2 v + the others over k^2
			want = (1-1/k)*(1-1/k)*v + (all-v)/(k*k)
		}
		if math.Abs(got[j]-want) > 1e-12 {
			t.Errorf("slot %d: %v, want %v", j, got[j], want)
		}
	}
}

func TestParse(t *testing.T) {
	o, err := parse([]string{"-kind", "harder", "-sizes", "small, large", "-seeds", "4,5", "-methods", "sum,bound"}, io.Discard)
	if err != nil || o.kind != simulate.Harder || len(o.sizes) != 2 || o.sizes[1] != simulate.Large || o.seeds[1] != 5 || len(o.methods) != 2 {
		t.Errorf("parsed %+v, %v", o, err)
	}
	for _, args := range [][]string{{"-kind", "nice"}, {"-sizes", "tiny"}, {"-seeds", "one"}, {"-methods", "guess"}, {"small"}} {
		if _, err := parse(args, io.Discard); err == nil || !strings.Contains(err.Error(), args[len(args)-1]) {
			t.Errorf("%v: error %v, want one that names the value", args, err)
		}
	}
}

func TestRunPrintsATable(t *testing.T) {
	o, err := parse([]string{"-sizes", "small", "-seeds", "1,2", "-methods", "mean,sum"}, io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := run(context.Background(), o, &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"plain, small", "mean only", "plain sum", "seed 2:", "regret", "by stratum"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the table lacks %q:\n%s", want, out.String())
		}
	}
}

func TestWriteCatalogs(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new")
	o, err := parse([]string{"-sizes", "small", "-seeds", "1", "-kind", "harder", "-csv", dir}, io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	if err := run(context.Background(), o, io.Discard, io.Discard); err != nil {
		t.Fatal(err)
	}
	w := simulate.Generate(simulate.Harder, simulate.Small, 1)
	pairs := 0
	for _, s := range simulate.Strata {
		pairs += len(w.HeldOut[s])
	}
	for name, rows := range map[string]int{
		"gear":     len(w.Horns) + len(w.Mouthpieces) + len(w.Players),
		"sessions": w.Readings(), "pairs": pairs, "truth": pairs * len(simulate.Slots),
	} {
		data, err := os.ReadFile(filepath.Join(dir, "harder-small-1-"+name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(data, []byte("\n")) - 1; n != rows {
			t.Errorf("%s has %d rows, want %d", name, n, rows)
		}
	}
}

func TestReadLme4Effects(t *testing.T) {
	w := simulate.Generate(simulate.Plain, simulate.Small, 1)
	m := &lme4{w: w}
	const effects = "slot,factor,level,effect,variance\n" +
		"0,intercept,,3,0.5\n0,horn,H0001,2,1\n0,horn,*,0,9\n0,mouthpiece,M0001,-1,2\n0,mouthpiece,*,0,4\n"
	if err := m.read(strings.NewReader(effects)); err != nil {
		t.Fatal(err)
	}
	seen, err := m.Predict(context.Background(), []simulate.Pair{{Horn: 0, Mouthpiece: 0}, {Horn: 0, Mouthpiece: 1}})
	if err != nil {
		t.Fatal(err)
	}
	// Only slot 0 has effects, and it is a usual note: mean 4 or 5 less its 1/31.
	for i, want := range []float64{4 * 30. / 31, 5 * 30. / 31} {
		if got := seen[i].Mean[0]; math.Abs(got-want) > 1e-12 {
			t.Errorf("pair %d: %v, want %v", i, got, want)
		}
	}
	for i, want := range []float64{3.5, 5.5} { // a level without readings has the factor's variance
		if got := seen[i].SD[0]; math.Abs(got-math.Sqrt(want)*30/31) > 1e-12 {
			t.Errorf("pair %d: sd %v, want %v", i, got, math.Sqrt(want)*30/31)
		}
	}
	if err := m.read(strings.NewReader("slot,factor,level,effect,variance\n0,horn,H1,x,1\n")); err == nil || !strings.Contains(err.Error(), "row 2") {
		t.Errorf("a bad number gives %v, want an error that names row 2", err)
	}
}
