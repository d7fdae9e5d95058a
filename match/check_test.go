package match

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// tendency is what trumpets have in common in this test: half of the harmonic
// series and the sharp combinations of valves, about 14 cents rms.
func tendency(s pitch.Slot) float64 {
	sharp := map[string]float64{"12": 11, "23": 15, "13": 30, "123": 54}[s.Valves.String()]
	return 0.7 * (pitch.HarmonicCents(s.Partial) + sharp)
}

// bay is a catalog whose engine knows the truth.
type bay struct {
	e *fakeEngine
}

func newBay() *bay {
	e := &fakeEngine{common: tendency, items: map[catalog.ID]vector{}, sd: 2}
	for i := range 6 {
		e.items[catalog.ID(fmt.Sprint("horn", i))] = wave(fmt.Sprint("horn", i), 3)
		e.items[catalog.ID(fmt.Sprint("mouthpiece", i))] = wave(fmt.Sprint("mouthpiece", i), 1.5)
		e.items[catalog.ID(fmt.Sprint("player", i))] = wave(fmt.Sprint("player", i), 2)
	}
	return &bay{e: e}
}

// session makes one up on the given slots: truth, level, slide, noise sd 3.5.
func (b *bay) session(r *rand.Rand, name string, slots []pitch.Slot) catalog.Measured {
	pick := func(kind string) catalog.ID { return catalog.ID(fmt.Sprint(kind, r.IntN(6))) }
	m := catalog.Measured{Name: name, Horn: pick("horn"), Mouthpiece: pick("mouthpiece"), Player: pick("player"), Contributor: "tide-clerk"}
	level, slide := 8*r.NormFloat64(), 10*r.NormFloat64()
	for _, s := range slots {
		cents := tendency(s) + b.e.item(m.Horn)(s) + b.e.item(m.Mouthpiece)(s) + b.e.item(m.Player)(s)
		cents += level + slide/s.Valves.Ratio() + 3.5*r.NormFloat64()
		m.Readings = append(m.Readings, catalog.MeasuredReading{Slot: s, Cents: cents})
	}
	return m
}

func flip(m catalog.Measured) catalog.Measured {
	m.Readings = slices.Clone(m.Readings)
	for i := range m.Readings {
		m.Readings[i].Cents = -m.Readings[i].Cents
	}
	return m
}

// transpose enters readings under the notes shift semitones away; those that
// leave the range are lost.
func transpose(m catalog.Measured, shift int) catalog.Measured {
	var out []catalog.MeasuredReading
	for _, r := range m.Readings {
		if s, ok := pitch.UsualSlot(r.Slot.Note()+pitch.Note(shift), 3); ok {
			out = append(out, catalog.MeasuredReading{Slot: s, Cents: r.Cents})
		}
	}
	m.Readings = out
	return m
}

func sequence(list []catalog.Measured) iter.Seq2[catalog.Measured, error] {
	return func(yield func(catalog.Measured, error) bool) {
		var shared []catalog.MeasuredReading // as a store does: valid until the next one
		for _, m := range list {
			shared = append(shared[:0], m.Readings...)
			m.Readings = shared
			if !yield(m, nil) {
				return
			}
		}
	}
}

func check(t *testing.T, e Witness, list ...catalog.Measured) []catalog.Finding {
	t.Helper()
	out, err := Check(context.Background(), e, Measurements{Sessions: sequence(list)})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func allUsual() []pitch.Slot { return pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) }

func TestCheckFindsFlipsAndShifts(t *testing.T) {
	b := newBay()
	r := rand.New(rand.NewPCG(4, 2))
	var list []catalog.Measured
	want := map[string]string{}
	for i := range 300 {
		m := b.session(r, fmt.Sprintf("day %d", i), allUsual())
		switch {
		case i%20 == 3:
			m = flip(m)
			want[m.Name] = FindSignFlipped
		case i%20 == 11:
			m = transpose(m, []int{-2, -1, 1, 2}[i/20%4])
			want[m.Name] = FindWrongKey
		}
		list = append(list, m)
	}
	got := map[string]string{}
	for _, f := range check(t, b.e, list...) {
		if f.Kind == FindFarReading {
			t.Errorf("reading of %s: %s", f.Session, f.Detail)
			continue
		}
		got[f.Session] = f.Kind
		if f.Certainty < 0.5 || f.Certainty > 1 || !strings.HasPrefix(f.Repair, "centwise session retract 'day ") || !strings.Contains(f.Repair, " --reason '") {
			t.Errorf("finding %+v", f)
		}
	}
	for name, kind := range want {
		if got[name] != kind {
			t.Errorf("%s is %s, found %q", name, kind, got[name])
		}
		delete(got, name)
	}
	if len(got) > 0 {
		t.Errorf("false alarms: %v", got)
	}
}

func TestCheckSaysWhichWayTheKeyIsWrong(t *testing.T) {
	b := newBay()
	m := b.session(rand.New(rand.NewPCG(1, 1)), "spring", allUsual())
	for shift, want := range map[int]string{2: "read 2 semitones lower", -1: "read 1 semitone higher"} {
		f := check(t, b.e, transpose(m, shift))
		if len(f) != 1 || f[0].Kind != FindWrongKey || !strings.Contains(f[0].Detail, want) {
			t.Errorf("entered %+d semitones away: %+v, want %q", shift, f, want)
		}
	}
}

// Few notes need a clearer case: three notes never show a pattern.
func TestCheckIsCarefulWithFewNotes(t *testing.T) {
	b := newBay()
	r := rand.New(rand.NewPCG(8, 8))
	found := func(n int) int {
		hits := 0
		for i := range 200 {
			slots := allUsual()
			r.Shuffle(len(slots), func(i, j int) { slots[i], slots[j] = slots[j], slots[i] })
			m := b.session(r, fmt.Sprint(i), slots[:n])
			for _, f := range check(t, b.e, m) {
				if f.Kind == FindSignFlipped || f.Kind == FindWrongKey {
					t.Errorf("false alarm on %d notes: %s", n, f.Detail)
				}
			}
			for _, f := range check(t, b.e, flip(m)) {
				if f.Kind == FindSignFlipped {
					hits++
				}
			}
		}
		return hits
	}
	if n := found(5); n != 0 {
		t.Errorf("5 notes: %d flips found; there is nothing to go by", n)
	}
	if n := found(8); n < 180 || n == 200 {
		t.Errorf("8 notes: %d of 200 flips found; most are clear, some are not", n)
	}
	if n := found(20); n < 195 {
		t.Errorf("20 notes: only %d of 200 flips found", n)
	}
}

// A key can't be told from a session that is mostly alternate fingerings.
func TestCheckNeedsUsualFingeringsForAKey(t *testing.T) {
	b := newBay()
	m := transpose(b.session(rand.New(rand.NewPCG(3, 3)), "mixed", allUsual()), 2)
	if f := check(t, b.e, m); len(f) != 1 || f[0].Kind != FindWrongKey {
		t.Fatalf("found %+v", f)
	}
	for _, v := range []pitch.Valves{3, 4, 5, 6, 7} {
		for p := 4; p <= 12; p++ {
			s := pitch.Slot{Valves: v, Partial: p}
			if usual, _ := pitch.UsualSlot(s.Note(), 3); usual != s {
				m.Readings = append(m.Readings, catalog.MeasuredReading{Slot: s, Cents: b.e.common(s)})
			}
		}
	}
	for _, f := range check(t, b.e, m) {
		if f.Kind == FindWrongKey {
			t.Errorf("found %+v", f)
		}
	}
}

// The engine has learned the horn from this very session, so that as entered it
// fits; leaving that share out shows the mistake.
func TestCheckDoesNotTrustWhatTheSessionTaught(t *testing.T) {
	b := newBay()
	m := flip(b.session(rand.New(rand.NewPCG(3, 1)), "only", allUsual()))
	m.Horn = "taught"
	at := map[pitch.Slot]float64{}
	for _, r := range m.Readings {
		at[r.Slot] = r.Cents
	}
	b.e.items["taught"] = func(s pitch.Slot) float64 {
		return at[s] - tendency(s) - b.e.item(m.Mouthpiece)(s) - b.e.item(m.Player)(s)
	}
	b.e.evidence = func(s fit.Setup) fit.Evidence {
		return fit.Evidence{Pair: 1, Horn: 1, Mouthpiece: 3, Player: 3, Basis: fit.BasisMeasured}
	}
	if f := check(t, b.e, m); len(f) != 1 || f[0].Kind != FindSignFlipped {
		t.Errorf("found %+v", f)
	}
	// Also when every session with the horn has the same mistake.
	b.e.evidence = func(s fit.Setup) fit.Evidence {
		return fit.Evidence{Pair: 3, Horn: 3, Mouthpiece: 3, Player: 3, Basis: fit.BasisMeasured}
	}
	if f := check(t, b.e, m); len(f) != 1 || f[0].Kind != FindSignFlipped {
		t.Errorf("all sessions of the horn flipped: found %+v", f)
	}
}

func TestCheckFindsFarReadings(t *testing.T) {
	b := newBay()
	m := b.session(rand.New(rand.NewPCG(5, 5)), "evening", allUsual())
	for i, r := range m.Readings {
		if r.Slot.Note().String() == "D5" {
			m.Readings[i].Cents += 60
			m.Readings = append(m.Readings, m.Readings[i])
		}
	}
	f := check(t, b.e, m)
	if len(f) != 1 || f[0].Kind != FindFarReading || f[0].Subject != "D5 (1/5)" || f[0].Session != "evening" {
		t.Fatalf("found %+v", f)
	}
	if !strings.Contains(f[0].Detail, "looks odd") || !strings.Contains(f[0].Detail, "2 readings") || f[0].Certainty > farCertainty || f[0].Repair != "centwise session show evening" {
		t.Errorf("finding %+v", f[0])
	}
	m.Name, m.ID = "", "01J0000000000000000000EVEN"
	if f := check(t, b.e, m); len(f) != 1 || f[0].Session != string(m.ID) {
		t.Errorf("a session without a name: %+v", f)
	}
	// Half of the notes far off are a matter of the session.
	for i := range m.Readings {
		if i%3 == 0 {
			m.Readings[i].Cents += math.Copysign(70, float64(i%2)-0.5)
		}
	}
	if f := check(t, b.e, m); len(f) != 1 || f[0].Kind != FindFarSession || f[0].Certainty >= 0.5 {
		t.Errorf("found %+v", f)
	}
}

// Level and slide are the session's own affair.
func TestCheckIgnoresLevelAndSlide(t *testing.T) {
	b := newBay()
	m := b.session(rand.New(rand.NewPCG(6, 1)), "noon", allUsual())
	rapid.Check(t, func(rt *rapid.T) {
		level := rapid.Float64Range(-60, 60).Draw(rt, "level")
		slide := rapid.Float64Range(-60, 60).Draw(rt, "slide")
		moved := m
		moved.Readings = slices.Clone(m.Readings)
		for i, r := range moved.Readings {
			moved.Readings[i].Cents += level + slide/r.Slot.Valves.Ratio()
		}
		if f := check(t, b.e, moved); len(f) != 0 {
			rt.Fatalf("found %+v", f)
		}
		if f := check(t, b.e, flip(moved)); len(f) != 1 || f[0].Kind != FindSignFlipped {
			rt.Fatalf("flipped: found %+v", f)
		}
	})
}

func TestCheckFindsTuners(t *testing.T) {
	b := newBay()
	r := rand.New(rand.NewPCG(7, 1))
	var list []catalog.Measured
	for i := range 60 {
		m := b.session(r, fmt.Sprint(i), allUsual())
		m.Contributor = []string{"tide-clerk", "lamp keeper", "old-buoy"}[i%3]
		if m.Contributor == "lamp keeper" {
			for j := range m.Readings {
				m.Readings[j].Cents += 60 // reads against another A
			}
		}
		list = append(list, m)
	}
	f := check(t, b.e, list...)
	if len(f) != 1 || f[0].Kind != FindTunerOff || f[0].Subject != "lamp keeper" || !strings.Contains(f[0].Detail, "20 sessions") ||
		f[0].Repair != "centwise session list --contributor 'lamp keeper'" {
		t.Errorf("found %+v", f)
	}
	for i := range list { // the other way
		if list[i].Contributor == "lamp keeper" {
			for j := range list[i].Readings {
				list[i].Readings[j].Cents -= 120
			}
		}
	}
	if f := check(t, b.e, list...); len(f) != 1 || !strings.Contains(f[0].Detail, "cents lower") {
		t.Errorf("found %+v", f)
	}
	two := slices.DeleteFunc(slices.Clone(list), func(m catalog.Measured) bool { return m.Contributor == "old-buoy" })
	if f := check(t, b.e, two...); len(f) != 0 {
		t.Errorf("of two contributors nobody can say who is off: %+v", f)
	}
	// By another method the level is another: no comparison.
	for i := range list {
		if list[i].Contributor == "lamp keeper" {
			list[i].Method = catalog.MethodImpedance
		}
	}
	if f := check(t, b.e, list...); len(f) != 0 {
		t.Errorf("another method: found %+v", f)
	}
}

func TestCheckFindsTwins(t *testing.T) {
	a, b := horn("Alder"), horn("Alder again")
	for _, h := range []*catalog.Horn{&a, &b} {
		h.Maker, h.Model, h.Serial = "Tidewright", "Estuary", "1042"
	}
	out, err := Check(context.Background(), newBay().e, Measurements{Sessions: sequence(nil), Horns: []catalog.Horn{a, b}})
	if err != nil || len(out) != 1 || out[0].Kind != FindTwin {
		t.Errorf("found %+v, %v", out, err)
	}
}

func TestCheckOrdersByGravity(t *testing.T) {
	b := newBay()
	r := rand.New(rand.NewPCG(9, 1))
	odd := b.session(r, "odd", allUsual())
	odd.Readings[4].Cents += 80
	wrong := transpose(b.session(r, "wrong", allUsual()), 2)
	f := check(t, b.e, odd, wrong, flip(b.session(r, "flipped", allUsual())))
	var kinds []string
	for _, x := range f {
		kinds = append(kinds, x.Kind)
	}
	if want := []string{FindSignFlipped, FindWrongKey, FindFarReading}; !slices.Equal(kinds, want) {
		t.Errorf("kinds %q, want %q", kinds, want)
	}
}

func TestCheckErrors(t *testing.T) {
	b := newBay()
	broken := errors.New("disk gone")
	_, err := Check(context.Background(), b.e, Measurements{Sessions: func(yield func(catalog.Measured, error) bool) {
		yield(catalog.Measured{}, broken)
	}})
	if !errors.Is(err, broken) {
		t.Errorf("a broken store: %v", err)
	}
	m := b.session(rand.New(rand.NewPCG(1, 1)), "one", allUsual())
	stopped, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Check(stopped, b.e, Measurements{Sessions: sequence([]catalog.Measured{m})}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	b.e.fail = errors.New("no fit")
	if _, err := Check(context.Background(), b.e, Measurements{Sessions: sequence([]catalog.Measured{m})}); !errors.Is(err, b.e.fail) {
		t.Errorf("a failing engine: %v", err)
	}
}

// Sessions with hardly anything in them are passed over, not stumbled over.
func TestCheckPassesOverTinySessions(t *testing.T) {
	b := newBay()
	r := rand.New(rand.NewPCG(2, 2))
	alternates := []pitch.Slot{{Valves: 4, Partial: 4}, {Valves: 7, Partial: 9}, {Partial: 7}, {Partial: 11}}
	for _, slots := range [][]pitch.Slot{nil, allUsual()[:1], alternates, allUsual()[12:13]} {
		if f := check(t, b.e, b.session(r, "tiny", slots)); len(f) != 0 {
			t.Errorf("%v: %+v", slots, f)
		}
	}
	only := someEngine{b.e, allUsual()[:4]}
	if f := check(t, only, flip(b.session(r, "blind", allUsual()))); len(f) != 0 {
		t.Errorf("an engine with four slots: %+v", f)
	}
}

func BenchmarkCheck(b *testing.B) {
	bay := newBay()
	r := rand.New(rand.NewPCG(1, 1))
	var list []catalog.Measured
	for i := range 1000 {
		list = append(list, bay.session(r, fmt.Sprint(i), allUsual()))
	}
	for b.Loop() {
		if _, err := Check(context.Background(), bay.e, Measurements{Sessions: sequence(list)}); err != nil {
			b.Fatal(err)
		}
	}
}
