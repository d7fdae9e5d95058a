package match

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/tuning"
)

// noisy is an engine that knows the noise of readings.
type noisy struct {
	*fakeEngine
	noise float64
}

func (n noisy) ReadingNoise() float64 { return n.noise }

// against asks from Alder, played now with a mouthpiece.
func against(label string) (*fakeEngine, Question) {
	e, q := twoWorlds()
	q.Against = &Of{Horn: alder(), Mouthpiece: mouthpiece(label)}
	return e, q
}

func pairingOf(t *testing.T, r *Ranking, mouthpiece string) Pairing {
	t.Helper()
	for _, p := range r.Pairings {
		if p.Mouthpiece == mouthpiece {
			return p
		}
	}
	t.Fatalf("no %s in the list", mouthpiece)
	return Pairing{}
}

// Errors of twoWorlds by hand: Plover 0 and 9.797959, Dunlin 7.348469 twice.
// Against Dunlin, Plover gains 7.348469 and -2.449490: 2.449490 on the mean, and
// between the two draws from -2.449490 + 0.1 x 9.797959 on.
func TestAgainstByHand(t *testing.T) {
	e, q := against("Dunlin 16.6")
	r := rank(t, e, q)
	plover, dunlin := pairingOf(t, r, "Plover 16.2"), pairingOf(t, r, "Dunlin 16.6")
	if plover.Gain == nil || dunlin.Gain != nil || !dunlin.Now || plover.Now {
		t.Fatalf("Plover %+v, Dunlin %+v", plover.Gain, dunlin.Gain)
	}
	near(t, "gain", plover.Gain.Cents, 2.449490, 1e-5)
	near(t, "low", plover.Gain.Low, -2.449490+0.9797959, 1e-5)
	near(t, "high", plover.Gain.High, 7.348469-0.9797959, 1e-5)
	near(t, "chance", plover.Gain.ChanceBetter, 0.5, 1e-12)
	a := r.Against
	if a.Horn != "Alder" || a.Mouthpiece != "Dunlin 16.6" || a.Worth || a.MeasurableCents != 0 || a.Best.Mouthpiece != "Plover 16.2" {
		t.Errorf("%+v", a)
	}
	near(t, "error now", a.ErrorCents, 7.348469, 1e-5)
	if want := "No, not by what has been measured: the difference may be nought. At best, Plover 16.2 should leave 2.4 cents less to the lip than Alder with Dunlin 16.6, which leaves 7.3 (80 % chance of -1.5 to 6.4 less; 50 % that it is better at all). A session with it would tell more."; a.Answer != want {
		t.Errorf("answer %q", a.Answer)
	}
}

func TestIsItWorthChanging(t *testing.T) {
	sure := func(e *fakeEngine) { e.worlds["Plover 16.2"] = []vector{nought, nought} } // Plover leaves 0 in both
	for name, c := range map[string]struct {
		now   string
		noise float64
		world func(*fakeEngine)
		want  string
		worth bool
	}{
		"a sure gain": {"Dunlin 16.6", 4, sure, "Yes: Plover 16.2 should leave 7.3 cents less", true},
		// Three notes read to 10 cents: 1.2816 x 10 x sqrt(2/3) = 10.46.
		"below what a session shows": {"Dunlin 16.6", 10, sure, "No: the difference is below what you can measure. At best, Plover 16.2 should leave 7.3 cents less", false},
		"the best already":           {"Plover 16.2", 4, sure, "No: nothing in the list should leave less to the lip than Alder with Plover 16.2, which leaves 0.0 cents", false},
		"not known well enough":      {"Dunlin 16.6", 0.1, func(*fakeEngine) {}, "No, not by what has been measured", false},
	} {
		e, q := against(c.now)
		c.world(e)
		a := rank(t, noisy{e, c.noise}, q).Against
		if !strings.HasPrefix(a.Answer, c.want) || a.Worth != c.worth {
			t.Errorf("%s: worth it %v, %q", name, a.Worth, a.Answer)
		}
		near(t, name+": measurable", a.MeasurableCents, 1.2815516*c.noise*math.Sqrt(2/3.), 1e-6)
	}
	e, q := against("Dunlin 16.6")
	q.Mouthpieces = q.Mouthpieces[:1]
	if a := rank(t, e, q).Against; !strings.HasPrefix(a.Answer, "There is nothing to change to") || a.Worth || a.Best != nil {
		t.Errorf("%+v", a)
	}
}

// Weights w give (sum w)^2 / sum w^2 notes: 1, 1, 1 three, 2, 1, 1 16/6.
func TestEffectiveNotes(t *testing.T) {
	for want, w := range map[float64]map[pitch.Note]float64{3: {67: 1, 72: 1, 79: 1}, 16. / 6: {67: 2, 72: 1, 79: 1}, 1: {67: 5, 72: 0}} {
		p, err := Criteria{Low: 67, High: 79, Weights: w}.plan(alder(), func(pitch.Slot) bool { return true }, false)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "notes", p.notes(), want, 1e-12)
	}
}

// What a session shows, against sessions made up: readings with independent
// errors move the error of a profile by about what measurable says. A profile of
// 31 notes 6 cents off, half sharp and half flat; the slide and its stop off.
func TestMeasurableAgainstSimulation(t *testing.T) {
	const noise, sessions = 2.0, 4000
	random := rand.New(rand.NewPCG(5, 1))
	session := func() float64 {
		sum := 0.0
		for j := range 31 {
			d := 6*float64(1-2*(j%2)) + noise*random.NormFloat64()
			sum += d * d
		}
		return math.Sqrt(sum / 31)
	}
	var differences []float64
	for range sessions {
		differences = append(differences, session()-session())
	}
	spread := 0.0
	for _, d := range differences {
		spread += d * d / sessions
	}
	if got, want := z80*math.Sqrt(spread), measurable(noise, 31); math.Abs(got-want) > 0.06*want {
		t.Errorf("sessions differ by %.3f in 80 of 100 cases, measurable says %.3f", got, want)
	}
}

// Gains are of joint draws: what horn and player have in common cancels, so that
// the gain of the sure mouthpiece stays sure however little is known of the horn.
func TestGainsArePaired(t *testing.T) {
	rapid.Check(t, func(t2 *rapid.T) {
		e, hs, ms := manyPairs(1, 4, 12)
		shift := rapid.Float64Range(-20, 20).Draw(t2, "shift")
		e.items[ms[2].ID] = func(s pitch.Slot) float64 { return e.item(ms[1].ID)(s) + shift/s.Valves.Ratio() }
		e.worlds[ms[2].ID] = e.worlds[ms[1].ID]
		q := Question{FromHorn: &hs[0], Mouthpieces: ms, Against: &Of{Horn: hs[0], Mouthpiece: ms[1]}, Criteria: Criteria{NoThrows: true, Travel: unlimited()}}
		r := rank(t, e, q)
		g := pairingOf(t, r, ms[2].Label).Gain
		// The slide takes the whole difference out, draw by draw.
		if math.Abs(g.Cents) > 1e-6 || math.Abs(g.High-g.Low) > 1e-6 {
			t2.Fatalf("the same mouthpiece but for the slide gains %+v", g)
		}
		// By definition, from the errors themselves.
		other := pairingOf(t, r, ms[3].Label).Gain
		back := rank(t, e, Question{FromHorn: &hs[0], Mouthpieces: ms, Against: &Of{Horn: hs[0], Mouthpiece: ms[3]}, Criteria: q.Criteria})
		reverse := pairingOf(t, back, ms[1].Label).Gain
		if math.Abs(other.Cents+reverse.Cents) > 1e-9 || math.Abs(other.Low+reverse.High) > 1e-9 || math.Abs(other.ChanceBetter+reverse.ChanceBetter-1) > 1e-9 {
			t2.Fatalf("there %+v and back %+v", other, reverse)
		}
	})
}

// The best is the pairing with the greatest gain, wherever the order puts it; a
// draw in which nothing changes counts half.
func TestBestGain(t *testing.T) {
	e, hs, ms := manyPairs(2, 8, 9)
	for _, key := range []SortKey{SortError, SortWorst} {
		r := rank(t, e, Question{Horns: hs, Mouthpieces: ms, Sort: key, Against: &Of{Horn: hs[0], Mouthpiece: ms[3]}})
		for _, p := range r.Pairings {
			if p.Gain != nil && p.Gain.Cents > r.Against.Best.Gain.Cents {
				t.Errorf("by %s: %s with %s gains %g, the best %g", key, p.Horn, p.Mouthpiece, p.Gain.Cents, r.Against.Best.Gain.Cents)
			}
		}
	}
	if g := gainOf([]float64{3, 0, -1, 0}); g.ChanceBetter != 0.5 || g.Cents != 0.5 {
		t.Errorf("%+v", g)
	}
}

// From a mouthpiece the horns are named, over all pairs both; another horn's
// setup may be what is played now.
func TestAgainstFromEverySide(t *testing.T) {
	e, hs, ms := manyPairs(3, 3, 9)
	now := &Of{Horn: hs[0], Mouthpiece: ms[0]}
	for name, q := range map[string]Question{
		"horn": {FromHorn: &hs[0], Mouthpieces: ms, Against: now}, "mouthpiece": {FromMouthpiece: &ms[0], Horns: hs, Against: now},
		"pairs": {Horns: hs, Mouthpieces: ms, Against: now}, "another horn": {FromHorn: &hs[1], Mouthpieces: ms, Against: now},
	} {
		r := rank(t, e, q)
		named := r.Against.Best.named(q.sought(), hs[0].Label, ms[0].Label)
		want := map[string]string{"horn": r.Against.Best.Mouthpiece, "mouthpiece": r.Against.Best.Horn}[name]
		if want == "" {
			want = r.Against.Best.Horn + " with " + r.Against.Best.Mouthpiece
		}
		if named != want {
			t.Errorf("%s: the best is called %q, want %q", name, named, want)
		}
		for _, p := range r.Pairings {
			if p.Now != (p.Horn == hs[0].Label && p.Mouthpiece == ms[0].Label) || p.Now != (p.Gain == nil) {
				t.Errorf("%s: %s with %s: now %v, gain %v", name, p.Horn, p.Mouthpiece, p.Now, p.Gain)
			}
		}
	}
	wrong := ms[0]
	wrong.Shank = catalog.ShankCornet
	q := Question{Horns: hs, Mouthpieces: ms, Against: &Of{Horn: hs[0], Mouthpiece: wrong}}
	if _, err := Rank(t.Context(), e, q); catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), "does not fit") {
		t.Errorf("error %v", err)
	}
}

// Pairings that nothing tells apart share their gain.
func TestGainsArePooled(t *testing.T) {
	e, hs, ms := manyPairs(1, 4, 9)
	e.evidence = func(s fit.Setup) fit.Evidence {
		if s.Mouthpiece == ms[0].ID {
			return fit.Evidence{Horn: 3, Mouthpiece: 2, HornPlayers: 2, Basis: fit.BasisMeasured}
		}
		return fit.Evidence{Horn: 3, HornPlayers: 2, Basis: fit.BasisPrior}
	}
	for _, m := range ms[1:] {
		e.items[m.ID] = nought
	}
	r := rank(t, e, Question{FromHorn: &hs[0], Mouthpieces: ms, Against: &Of{Horn: hs[0], Mouthpiece: ms[0]}})
	first := pairingOf(t, r, ms[1].Label)
	for _, m := range ms[2:] {
		if p := pairingOf(t, r, m.Label); p.Alike != 3 || *p.Gain != *first.Gain {
			t.Errorf("%s gains %+v, %s %+v", m.Label, p.Gain, ms[1].Label, first.Gain)
		}
	}
	// The one that is played now is no part of what the others gain.
	r = rank(t, e, Question{FromHorn: &hs[0], Mouthpieces: ms, Against: &Of{Horn: hs[0], Mouthpiece: ms[1]}})
	if a, b := pairingOf(t, r, ms[2].Label).Gain, pairingOf(t, r, ms[3].Label).Gain; *a != *b || a.ChanceBetter == 0.5 || pairingOf(t, r, ms[1].Label).Gain != nil {
		t.Errorf("%+v, %+v", a, b)
	}
}

func unlimited() *tuning.Travel { return &tuning.Travel{MinCents: math.Inf(-1), MaxCents: math.Inf(1)} }
