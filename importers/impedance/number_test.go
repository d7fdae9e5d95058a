package impedance

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
)

// at makes resonances of frequencies.
func at(hz ...float64) (out []Resonance) {
	for _, f := range hz {
		out = append(out, Resonance{Hz: f, Q: 30, Height: 1})
	}
	return out
}

// inBFlat is an open trumpet in B flat; its fundamental is 116.54 Hz (B-flat 2 at
// A4 = 440 Hz, equal temperament).
var inBFlat = Fingering{Transposition: -2, A4Hz: 440, LowestHz: 50}

// series116 are the open resonances of a B-flat trumpet as near to multiples of
// 116.5 Hz as published (published values, section 1), and a first one at 85 Hz.
func series116(partials ...int) (hz []float64) {
	for _, n := range partials {
		hz = append(hz, 116.5*float64(n))
	}
	return hz
}

func valves(t testing.TB, text string) pitch.Valves {
	t.Helper()
	v, err := pitch.ParseValves(text)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestNumber(t *testing.T) {
	c := 25.0
	cold := 5.0
	for name, tc := range map[string]struct {
		hz    []float64
		f     Fingering
		want  []int
		doubt string
	}{
		"a whole series":  {append([]float64{85}, series116(2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13)...), inBFlat, []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13}, ""},
		"begun above":     {series116(3, 4, 5, 6), Fingering{Transposition: -2, A4Hz: 440, LowestHz: 300}, []int{3, 4, 5, 6}, ""},
		"partials missed": {append([]float64{85}, series116(2, 3, 5, 6, 8, 9)...), inBFlat, []int{1, 2, 3, 5, 6, 8, 9}, ""},
		"one between":     {append(series116(2, 3), 405.0, 466.2, 582.7, 699.2), inBFlat, []int{2, 3, 0, 4, 5, 6}, ""},
		// Published: a straight tube with a bell played at 93, 221, 334, 449, 571, 691 Hz
		// (section 1), some way below a trumpet's.
		"a tube with a bell": {[]float64{93, 221, 334, 449, 571, 691}, inBFlat, []int{1, 2, 3, 4, 5, 6}, ""},
		// In C with A4 = 442: 131.4 Hz. Valves 1 and 3 lower by 5 semitones and are 30
		// cents sharp: 98.46 x 1.0175 = 100.2 Hz.
		"valves 1 and 3 in C": {[]float64{70, 200.4, 300.5, 400.7, 500.9}, Fingering{Valves: valves(t, "13"), A4Hz: 442, LowestHz: 50}, []int{1, 2, 3, 4, 5}, ""},
		// Three valves are sharp by some 30 to 50 cents: 82.41 Hz and 75 cents more is
		// nothing to doubt.
		"three valves": {[]float64{172.1, 258.2, 344.2, 430.3, 516.4}, Fingering{Valves: valves(t, "123"), Transposition: -2, A4Hz: 440, LowestHz: 100}, []int{2, 3, 4, 5, 6}, ""},
		// A piccolo in B flat sounds an octave higher; its pedal is not measured.
		"piccolo": {[]float64{466, 699, 932, 1165}, Fingering{Transposition: 10, A4Hz: 440, LowestHz: 300}, []int{2, 3, 4, 5}, ""},
		// 5 C is 20 K below a player's air: 62 cents.
		"cold air": {[]float64{224, 336, 448, 560, 672}, Fingering{Transposition: -2, A4Hz: 440, TemperatureC: &cold, LowestHz: 150}, []int{2, 3, 4, 5, 6}, ""},
		"warm air, so low": {[]float64{219, 328.5, 438, 547.5, 657}, Fingering{Transposition: -2, A4Hz: 440, TemperatureC: &c, LowestHz: 150}, []int{2, 3, 4, 5, 6},
			"108 cents below where valves 0 put them: was it valves 2"},
		"wrong valves": {series116(2, 3, 4, 5, 6), Fingering{Valves: valves(t, "1"), Transposition: -2, A4Hz: 440, LowestHz: 150}, []int{2, 3, 4, 5, 6},
			"199 cents above where valves 1 put them: was it valves 0"},
		"few":                  {series116(2, 3), Fingering{Transposition: -2, A4Hz: 440, LowestHz: 150}, []int{2, 3}, "only 2 resonances could be numbered"},
		"high ones only":       {[]float64{1103, 1218, 1332}, Fingering{Transposition: -2, A4Hz: 440, LowestHz: 1050}, nil, "may be"},
		"said":                 {[]float64{1048, 1164, 1281}, Fingering{Transposition: -2, A4Hz: 440, LowestHz: 1050, First: 9}, []int{9, 10, 11}, ""},
		"said to be the pedal": {append([]float64{85}, series116(2, 3, 4)...), Fingering{Transposition: -2, A4Hz: 440, LowestHz: 50, First: 1}, []int{1, 2, 3, 4}, ""},
		"none":                 {nil, inBFlat, []int{}, "no resonance can be numbered"},
	} {
		n := Number(at(tc.hz...), tc.f)
		if tc.want != nil && !slices.Equal(n.Partials, tc.want) {
			t.Errorf("%s: partials %v, want %v (%+v)", name, n.Partials, tc.want, n)
		}
		if doubts := strings.Join(n.Doubts, "; "); tc.doubt == "" && doubts != "" || !strings.Contains(doubts, tc.doubt) {
			t.Errorf("%s: doubts %q, want %q", name, doubts, tc.doubt)
		}
	}
}

// Deviations are from the written note's equal-tempered pitch: by hand, partial 5
// of the open horn in B flat is written E5, sounding D5 at 587.33 Hz; 582.5 Hz lie
// 14.3 cents below.
func TestCents(t *testing.T) {
	if got := inBFlat.Cents(582.5, 5); math.Abs(got+14.3) > 0.05 {
		t.Errorf("%.2f cents", got)
	}
}

// However the resonances stray from the series, by up to 35 cents each and 60 all
// together, six from the second on are numbered right, with the pedal's or not.
func TestNumberProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SampledFrom(pitch.ThreeValveCombinations).Draw(t, "valves")
		f := Fingering{Valves: v, Transposition: rapid.IntRange(-3, 10).Draw(t, "transposition"), A4Hz: rapid.Float64Range(435, 445).Draw(t, "a4")}
		base := f.slotHz(1)
		shift := rapid.Float64Range(-60, 60).Draw(t, "shift")
		var hz []float64
		var want []int
		if rapid.Bool().Draw(t, "pedal") {
			hz, want = append(hz, pitch.Shift(base, rapid.Float64Range(-700, -300).Draw(t, "pedal's place"))), append(want, 1)
			f.LowestHz = base / 3
		} else {
			f.LowestHz = 1.5 * base
		}
		for n := 2; n <= 7; n++ {
			hz = append(hz, pitch.Shift(base*float64(n), shift+rapid.Float64Range(-35, 35).Draw(t, fmt.Sprint("off ", n))))
			want = append(want, n)
		}
		if got := Number(at(hz...), f); !slices.Equal(got.Partials, want) {
			t.Fatalf("partials %v, want %v", got.Partials, want)
		}
	})
}

// The simulated trumpet is numbered right on every fingering, from its curve.
func TestNumberTrumpet(t *testing.T) {
	for text, add := range map[string]float64{"0": 0, "2": 88, "12": 275, "123": 555} {
		frequencies := grid(50, 1000, 2)
		c := mustRead(t, asComplex(frequencies, lanternTrumpet(add).sweep(frequencies, 0.003, 3)))
		found, _, _ := c.Resonances()
		n := Number(found, Fingering{Valves: valves(t, text), Transposition: -2, A4Hz: 440, LowestHz: c.Hz[0]})
		for i, p := range n.Partials {
			if p != i+1 {
				t.Errorf("valves %s: partials %v", text, n.Partials)
				break
			}
		}
		if len(n.Doubts) > 0 || len(n.Partials) < 7 {
			t.Errorf("valves %s: %+v", text, n)
		}
	}
}

func TestReadList(t *testing.T) {
	for name, text := range map[string]string{
		"commas": "file,valves\nopen.csv,0\n a b.csv ,13\n", "semicolons": "\ufeffValves;File\r\n0;open.csv\r\n13;a b.csv\r\n", "tabs": "file\tremark\tvalves\nopen.csv\t\t0\na b.csv\tx\t1-3\n",
	} {
		got, err := ReadList("list.csv", strings.NewReader(text))
		if want := []ListEntry{{"open.csv", 0}, {"a b.csv", valves(t, "13")}}; err != nil || !slices.Equal(got, want) {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
	for text, want := range map[string]string{
		"": "list.csv:1: names no file", "file,valves\n": "names no file", "a,b\n": "list.csv:1: the columns file and valves",
		"file,valves\nopen.csv,9\n": "list.csv:2:", "file,valves\n\nopen.csv\n": "list.csv:3: file or valves is missing", "file,valves\n\"x,0\n": "list.csv:",
	} {
		if _, err := ReadList("list.csv", strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}
