package pitch

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Tube of a B-flat trumpet: open 148 cm; the valves add 17.9, 8.6 and 27.8 cm.
// HyperPhysics (Georgia State University), "Trumpet", after Backus 1976, The
// Acoustical Foundations of Music; seen second-hand.
var handbookTrumpet = LengthModel{OpenMM: 1480, ValvesMM: [4]float64{179, 86, 278, 0}}

// Sharpness table derived from those lengths and from exactly tuned single
// valves by cents = 1200 log2((L + sum)/L); pull = half of the missing tube.
func TestSharpnessOfCombinations(t *testing.T) {
	exact := ExactSlides(1480)
	for fingering, want := range map[string]struct{ lowered, sharp, pull, exactSharp, exactPull float64 }{
		"2":   {97.8, 2.2, 1, 0, 0},
		"1":   {197.7, 2.3, 1, 0, 0},
		"3":   {298.0, 2.0, 1, 0, 0},
		"12":  {285.2, 14.8, 7.5, 10.6, 5.4},
		"23":  {380.7, 19.3, 10.3, 15.5, 8.3},
		"13":  {465.9, 34.1, 19.3, 30.3, 17.1},
		"123": {541.1, 58.9, 35.0, 53.6, 31.9},
	} {
		v := mustValves(t, fingering)
		near := func(what string, got, want, tolerance float64) {
			if math.Abs(got-want) > tolerance {
				t.Errorf("%s: %s is %.3f, the table has %.1f", fingering, what, got, want)
			}
		}
		pullDigits := 0.051 // one decimal printed
		if want.pull == 1 { // printed as whole millimetres
			pullDigits = 0.5
		}
		near("lowered by", handbookTrumpet.LoweredCents(v), want.lowered, 0.051)
		near("sharp by", handbookTrumpet.SharpCents(v), want.sharp, 0.051)
		near("pull", handbookTrumpet.PullMM(v), want.pull, pullDigits)
		near("sharp by, exact valves", exact.SharpCents(v), want.exactSharp, 0.051)
		near("pull, exact valves", exact.PullMM(v), want.exactPull, 0.051)
	}
}

// Exactly tuned single slides for 148 cm: 8.80, 18.12, 28.00 cm (derived).
func TestExactSlides(t *testing.T) {
	m := ExactSlides(1480)
	for i, want := range []float64{181.2, 88.0, 280.0} {
		if math.Abs(m.ValvesMM[i]-want) > 0.05 {
			t.Errorf("valve %d adds %.2f mm, want %.1f", i+1, m.ValvesMM[i], want)
		}
	}
}

// Just-ratio slides (2: 1/15, 1: 1/8, 3: 1/5 of the open tube) lower by these
// whole cents: J. Monzo 2003, as tabulated in the Xenharmonic wiki, "Trumpet".
func TestJustRatioSlides(t *testing.T) {
	m := LengthModel{OpenMM: 1, ValvesMM: [4]float64{1. / 8, 1. / 15, 1. / 5}}
	for fingering, want := range map[string]float64{"2": 112, "1": 204, "12": 304, "3": 316, "23": 409, "13": 487, "123": 572} {
		if got := m.LoweredCents(mustValves(t, fingering)); math.Round(got) != want {
			t.Errorf("%s lowers by %.2f cents, the table has %.0f", fingering, got, want)
		}
	}
}

// Tube provided per 100 in. at 6 % a semitone, two decimals: James Madison
// University brass pedagogy, 2016.
func TestSixPercentSlides(t *testing.T) {
	m := LengthModel{OpenMM: 100, ValvesMM: [4]float64{12.36, 6, 19.1}}
	for fingering, want := range map[string]float64{"12": 18.36, "23": 25.1, "13": 31.46, "123": 37.46} {
		if got := m.LengthMM(mustValves(t, fingering)) - 100; math.Abs(got-want) > 0.005 {
			t.Errorf("%s adds %.2f, the source has %.2f", fingering, got, want)
		}
	}
}

// The main tuning slide of a 148 cm tube: 2.34 cents a millimetre, 23.2 cents
// for ten (derived).
func TestMainTuningSlide(t *testing.T) {
	for pull, want := range map[float64]float64{1: -2.34, 10: -23.2} {
		if got := handbookTrumpet.PulledCents(0, pull); math.Abs(got-want) > 0.05 {
			t.Errorf("pulling %.0f mm changes the open notes by %.2f cents, want %.2f", pull, got, want)
		}
	}
}

// The pull that the model names does bring the combination into tune, and a pull
// that moves open notes by t moves a combination by about t / r(v).
func TestPullBringsIntoTune(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := LengthModel{OpenMM: rapid.Float64Range(600, 2000).Draw(t, "open")}
		for i := range m.ValvesMM {
			m.ValvesMM[i] = m.OpenMM * rapid.Float64Range(0.05, 0.4).Draw(t, "valve")
		}
		v := Valves(rapid.IntRange(1, 15).Draw(t, "valves"))
		if left := m.SharpCents(v) + m.PulledCents(v, m.PullMM(v)); math.Abs(left) > 1e-9 {
			t.Fatalf("%s is still %v cents off after the pull", v, left)
		}
		exact := ExactSlides(m.OpenMM)
		single := Valves(1) << rapid.IntRange(0, 3).Draw(t, "single")
		open, pressed := exact.PulledCents(0, 1), exact.PulledCents(single, 1)
		if math.Abs(pressed-open/single.Ratio()) > 0.01 { // second order in 1 mm / 600 mm
			t.Fatalf("1 mm moves open notes by %v and %s by %v, not by 1/r", open, single, pressed)
		}
	})
}
