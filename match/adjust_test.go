package match

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

func adjusted(t *testing.T, e Engine, h catalog.Horn, m catalog.Mouthpiece, c Criteria) *Adjusted {
	t.Helper()
	a, err := Adjust(e, Of{Horn: h, Mouthpiece: m}, nil, c, false)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Changes) < 10 || len(a.Notes) != 31 {
		t.Fatalf("%d changes, %d notes", len(a.Changes), len(a.Notes))
	}
	return a
}

func changeOf(t *testing.T, a *Adjusted, what string) Adjustment {
	t.Helper()
	i := slices.IndexFunc(a.Changes, func(c Adjustment) bool { return c.What == what })
	if i < 0 {
		t.Fatalf("nothing is said of %q", what)
	}
	return a.Changes[i]
}

// withThird is sharp, by so much, on every fingering with the third valve.
func withThird(cents float64) *fakeEngine {
	return &fakeEngine{items: map[catalog.ID]vector{"alder": func(s pitch.Slot) float64 {
		if s.Valves.Uses(3) {
			return cents
		}
		return 0
	}}}
}

// A third slide that is too short, on a horn without throws: the slide stays
// out. 10 cents on 13 and 123, where a pull of 1 mm takes some 1.8 cents
// (1200/ln 2 times 2 mm over 1,480 mm times 1.33 or 1.41), ask for some 5 mm.
func TestAdjustPullsTheSlideThatIsShort(t *testing.T) {
	a := adjusted(t, withThird(10), alder(), mouthpiece("Plover 16.2"), Criteria{})
	if a.Best == nil || len(a.Best.Settings) != 1 || a.Best.Settings[0].What != "valve slide 3 out" {
		t.Fatalf("best is %+v", a.Best)
	}
	near(t, "pull", a.Best.Settings[0].MM, 5, 1)
	if a.Best.ErrorCents > 0.35*a.ErrorCents || a.Best.Gain != a.ErrorCents-a.Best.ErrorCents {
		t.Errorf("%.2f cents left of %.2f, gain %.2f", a.Best.ErrorCents, a.ErrorCents, a.Best.Gain)
	}
	if !slices.Contains(a.Best.Improved, "D4") || len(a.Best.Spoilt) > 0 {
		t.Errorf("improved are %v", a.Best.Improved)
	}
	slide := changeOf(t, a, "valve slide 3 out")
	for j, n := range a.Notes {
		if uses := strings.Contains(n.Valves, "3"); uses != (slide.Cents[j] < -5) || !uses && slide.Cents[j] != 0 {
			t.Errorf("the third slide shifts %s on %s by %.2f cents", n.Note, n.Valves, slide.Cents[j])
		}
	}
}

// The same horn with a throw corrects the notes while playing; what stays out
// would be gone from the throw, so nothing is to be gained.
func TestAdjustLeavesToTheThrow(t *testing.T) {
	h := alder()
	h.Throw3MM = 20
	a := adjusted(t, withThird(15), h, mouthpiece("Plover 16.2"), Criteria{})
	if a.Best != nil {
		t.Errorf("best is %+v", a.Best.Settings)
	}
	if gain := changeOf(t, a, "valve slide 3 out").Gain; math.Abs(gain) > 0.01 {
		t.Errorf("5 mm from 20 of the throw gain %.3f cents", gain)
	}
	if said := strings.Join(a.Words, " "); !strings.Contains(said, "leave them where they are") {
		t.Error(said)
	}
	// Beyond the reach of the throw, 35 cents, what stays out lowers no further.
	a = adjusted(t, withThird(45), h, mouthpiece("Plover 16.2"), Criteria{})
	if gain := changeOf(t, a, "valve slide 3 out").Gain; gain > 1 {
		t.Errorf("5 mm from a throw of 20 gain %.3f cents", gain)
	}
}

// Settings that gain next to nothing are left alone: of this profile's best four,
// which gain 0.86 cents, two gain 0.82.
func TestAdjustLeavesAloneWhatHardlyHelps(t *testing.T) {
	e := &fakeEngine{items: map[catalog.ID]vector{"alder": wave("f", 3)}}
	a := adjusted(t, e, alder(), mouthpiece("Plover 16.2"), Criteria{})
	if len(a.Best.Settings) != 2 || a.Best.Gain < 0.75 {
		t.Errorf("gain %.3f by %+v", a.Best.Gain, a.Best.Settings)
	}
}

// Limits hold: 60 cents would ask for more than any slide gives.
func TestAdjustKeepsTheLimits(t *testing.T) {
	a := adjusted(t, withThird(60), alder(), mouthpiece("Plover 16.2"), Criteria{})
	for _, s := range a.Best.Settings {
		if s.MM < s.MinMM || s.MM > s.MaxMM {
			t.Errorf("%+v", s)
		}
		if s.What == "valve slide 3 out" {
			near(t, "pull", s.MM, plainSlideMM, 0)
		}
	}
	h := alder()
	h.Throw1MM, h.Throw3MM = 4, 12
	for _, s := range adjusted(t, withThird(60), h, mouthpiece("Plover 16.2"), Criteria{NoThrows: true}).Best.Settings {
		if want, ok := map[string]float64{"valve slide 1 out": 4, "valve slide 2 out": secondSlideMM, "valve slide 3 out": 12}[s.What]; ok {
			near(t, s.What, s.MaxMM, want, 0)
		}
		if s.What == "valve slide 3 out" {
			near(t, "pull", s.MM, 12, 0)
		}
	}
}

// What is in tune has nothing to gain, and the free slide undoes its own pull.
func TestAdjustOfWhatIsInTune(t *testing.T) {
	a := adjusted(t, &fakeEngine{}, alder(), mouthpiece("Plover 16.2"), Criteria{})
	if a.Best != nil {
		t.Errorf("best is %+v", a.Best)
	}
	slide := changeOf(t, a, "tuning slide out")
	for j, cents := range slide.Cents {
		// 10 mm of path in 1,480 take 1200/ln 2 x 10/1480 = 11.7 cents off open
		// notes, less off longer tubes, by the length model.
		v, err := pitch.ParseValves(a.Notes[j].Valves)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "tuning slide, "+a.Notes[j].Note, cents, -11.7/v.Ratio(), 3.2)
	}
	if slide.ErrorCents > 1.5 {
		t.Errorf("%.2f cents are left of a pull that the slide undoes", slide.ErrorCents)
	}
	for _, c := range a.Changes {
		if c.Gain > 0 || c.Measurable != true { // no noise is known: all is measurable
			t.Errorf("%s: gain %.2f", c.What, c.Gain)
		}
	}
}

// No grid of settings is better than what the search finds, in random profiles
// and worlds.
func TestNoGridOfSettingsIsBetter(t *testing.T) {
	for seed := range uint64(6) {
		r := rand.New(rand.NewPCG(seed, 3))
		e := &fakeEngine{
			items: map[catalog.ID]vector{"alder": wave(string(rune('a'+seed)), 8)}, draws: 4,
			worlds: map[catalog.ID][]vector{"alder": {wave("p", 2), wave("q", 2), wave("r", 2), wave("s", 2)}},
		}
		h := alder()
		h.Throw1MM, h.Throw3MM = float64(r.IntN(2))*6, float64(r.IntN(2))*10
		b, err := newBench(e, Of{Horn: h, Mouthpiece: mouthpiece("Plover 16.2")}, Criteria{}, false)
		if err != nil {
			t.Fatal(err)
		}
		levers, err := b.levers()
		if err != nil {
			t.Fatal(err)
		}
		s := search{bench: b, levers: levers, at: make([]float64, len(levers)), used: slices.Repeat([]bool{true}, len(levers))}
		if err := s.descend(); err != nil {
			t.Fatal(err)
		}
		found, err := s.error()
		if err != nil {
			t.Fatal(err)
		}
		const steps = 5
		for k := range steps * steps * steps * steps {
			grid := search{bench: b, levers: levers, at: make([]float64, len(levers))}
			for i, l := range levers {
				grid.at[i] = l.min + (l.max-l.min)*float64(k%steps)/(steps-1)
				k /= steps
			}
			if e, err := grid.error(); err != nil || e < found-1e-3 {
				t.Fatalf("seed %d: %v leaves %.4f, the search finds %v with %.4f (%v)", seed, grid.at, e, s.at, found, err)
			}
		}
	}
}

// Changes of the mouthpiece are marked uncertain where its dimensions are not
// known, a backbore always; nothing that cuts metal is in a combination.
func TestAdjustMarksWhatIsUncertain(t *testing.T) {
	plain := mouthpiece("Plover 16.2")
	known := plain
	known.ThroatMM, known.ThroatLengthMM, known.BackboreMM, known.LengthMM = 3.7, 6, 9, 87
	for _, tc := range []struct {
		m      catalog.Mouthpiece
		throat bool
	}{{plain, true}, {known, false}} {
		a := adjusted(t, withThird(10), alder(), tc.m, Criteria{})
		if got := changeOf(t, a, "throat wider").Uncertain; got != tc.throat {
			t.Errorf("%+v: throat uncertain %v", tc.m, got)
		}
		if !changeOf(t, a, "backbore more open").Uncertain || changeOf(t, a, "gap wider").Uncertain {
			t.Error("the backbore's shape is never known, the gap always")
		}
		for _, c := range a.Changes {
			slide := strings.HasPrefix(c.What, "valve slide") || strings.HasPrefix(c.What, "tuning slide") || strings.HasPrefix(c.What, "gap") || c.What == "air warmer"
			if c.Reversible != slide {
				t.Errorf("%s: reversible %v", c.What, c.Reversible)
			}
		}
	}
}

// A gain that readings can't show is said to be below measurement: with noise of
// 20 cents one session before and one after show 1.28 x 20 x sqrt(2/31) = 6.5.
func TestAdjustBelowMeasurement(t *testing.T) {
	a := adjusted(t, noisy{withThird(10), 20}, alder(), mouthpiece("Plover 16.2"), Criteria{})
	near(t, "measurable", a.MeasurableCents, z80*20*math.Sqrt(2.0/31), 1e-9)
	if a.Best == nil || a.Best.Measurable || !strings.Contains(strings.Join(a.Words, " "), "below measurement: hardly worth it") {
		t.Errorf("best %+v, %v", a.Best, a.Words)
	}
}

// Every kind of horn can be asked about, four valves and odd mouthpieces too.
func TestAdjustOfOtherHorns(t *testing.T) {
	odd := mouthpiece("Wigeon")
	odd.CupCM3, odd.LengthMM = 19, 31 // no such mouthpiece: its dimensions tell nothing
	for _, h := range []catalog.Horn{
		{ID: "a", Label: "Willow", Instrument: catalog.Cornet, Key: pitch.KeyEb, Valves: 3, Receiver: catalog.ShankTrumpet, BoreMM: 11.9},
		{ID: "b", Label: "Yew", Instrument: catalog.Piccolo, Key: pitch.KeyA, Valves: 4, Receiver: catalog.ShankTrumpet},
		{ID: "c", Label: "Elm", Instrument: catalog.Flugelhorn, Key: pitch.KeyBb, Valves: 4, Receiver: catalog.ShankTrumpet},
	} {
		a, err := Adjust(withThird(5), Of{Horn: h, Mouthpiece: odd}, nil, Criteria{}, false)
		if err != nil {
			t.Errorf("%s: %v", h.Label, err)
			continue
		}
		if strings.Contains(a.Model, "Wigeon") {
			t.Errorf("%s: calculated for %s", h.Label, a.Model)
		}
	}
	wrong := mouthpiece("Wigeon")
	wrong.Shank = catalog.ShankCornet
	if _, err := Adjust(withThird(5), Of{Horn: alder(), Mouthpiece: wrong}, nil, Criteria{}, false); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("a shank that does not fit: %v", err)
	}
}

// With a session the profile is its mean readings, and notes it lacks are not
// judged.
func TestAdjustAroundASession(t *testing.T) {
	d4, c5, odd := pitch.Slot{Valves: 5, Partial: 3}, pitch.Slot{Valves: 0, Partial: 4}, pitch.Slot{Valves: 0, Partial: 5}
	m := mouthpiece("Plover 16.2")
	s := catalog.Session{Name: "bay-1", Horn: "alder", Mouthpiece: m.ID, Readings: []catalog.Reading{
		{Slot: d4, Repeat: 1, Cents: 20}, {Slot: c5, Repeat: 1, Cents: -1}, {Slot: d4, Repeat: 2, Cents: 26}, {Slot: odd, Repeat: 1, Cents: 400, Odd: true},
	}}
	a, err := Adjust(noisy{withThird(0), 3}, Of{Horn: alder(), Mouthpiece: m}, &s, Criteria{}, false)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Notes) != 2 || a.Session != "bay-1" || a.Evidence.Pair != 1 {
		t.Fatalf("%+v", a)
	}
	near(t, "D4", a.Notes[0].Cents, 23, 1e-12)
	near(t, "C5", a.Notes[1].Cents, -1, 1e-12)
	near(t, "measurable", a.MeasurableCents, z80*3, 1e-9) // two notes: sqrt(2/2)
	if !strings.Contains(a.Words[0], "by the readings of session bay-1 alone") {
		t.Error(a.Words[0])
	}
	s.Horn = "rowan"
	if _, err := Adjust(withThird(0), Of{Horn: alder(), Mouthpiece: m}, &s, Criteria{}, false); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("another horn's session: %v", err)
	}
	s.Horn, s.Readings = "alder", s.Readings[3:]
	if _, err := Adjust(withThird(0), Of{Horn: alder(), Mouthpiece: m}, &s, Criteria{}, false); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("a session without readings: %v", err)
	}
}

// A dent is something to find, not to make: nobody is told that it would gain most.
func TestAdjustAdvisesNoDent(t *testing.T) {
	a := Adjusted{Changes: []Adjustment{{What: "cup larger", Unit: "%", Step: 5, Outcome: Outcome{Gain: 0.5}}, {What: dent, Outcome: Outcome{Gain: 2}}}}
	if said := a.irreversibleWords()[0]; strings.Contains(said, "dent") || !strings.Contains(said, "cup larger by 5 %") {
		t.Error(said)
	}
	a.Changes = a.Changes[1:]
	if said := a.irreversibleWords()[0]; !strings.Contains(said, "none would help") {
		t.Error(said)
	}
}
