package recording

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"centwise/catalog/pitch"
)

const testRate = 16000

func quiet(seconds float64) []float64 { return make([]float64, int(seconds*testRate)) }

// inRoom adds the sound of a room: noise that decays by 60 dB in a time, with as
// much energy as the direct sound less directDB.
func inRoom(sound []float64, decay, directDB float64) []float64 {
	random := rand.New(rand.NewPCG(5, 5))
	n := fastLength(len(sound) + testRate)
	response := make([]float64, n)
	energy := 0.0
	for i := 0; i < int(decay*testRate); i++ {
		response[i+80] = random.NormFloat64() * math.Pow(10, -3*float64(i)/(decay*testRate))
		energy += response[i+80] * response[i+80]
	}
	gain := math.Sqrt(math.Pow(10, -directDB/10) / energy)
	for i := range response {
		response[i] *= gain
	}
	response[0] = 1
	f := fourier.NewFFT(n)
	padded := append(append([]float64{}, sound...), make([]float64, n-len(sound))...)
	a, b := f.Coefficients(nil, padded), f.Coefficients(nil, response)
	for i := range a {
		a[i] *= b[i] / complex(float64(n), 0)
	}
	return f.Sequence(nil, a)[:len(sound)]
}

// slur is a line of notes without a stop, the pitch moving over glide seconds.
func slur(sound []float64, start, each, glide float64, hz ...float64) {
	turns := 0.0
	for i := range int(each * float64(len(hz)) * testRate) {
		t := float64(i) / testRate
		k := min(len(hz)-1, int(t/each))
		cents := 0.0
		if k > 0 {
			if into := t - float64(k)*each; into < glide {
				cents = -1200 * math.Log2(hz[k]/hz[k-1]) * (1 - into/glide)
			}
		}
		turns += hz[k] * math.Exp2(cents/1200) / testRate
		x := 0.0
		for h, a := range brassLike(hz[k]) {
			if float64(h+1)*hz[k] < 0.45*testRate {
				x += a * math.Sin(2*math.Pi*float64(h+1)*turns)
			}
		}
		at := int(start*testRate) + i
		sound[at] += 0.2 * x * min(1, t/0.03) * min(1, (each*float64(len(hz))-t)/0.05)
	}
}

func describe(r *Recording) string {
	var out []string
	for _, t := range r.Tones {
		n, c := pitch.Nearest(max(1, t.Hz), 440)
		out = append(out, fmt.Sprintf("%.2f-%.2f %s%+.1f %s %s", t.Start, t.End, n, c, t.Grade, t.Reason))
	}
	return strings.Join(out, "\n  ")
}

func TestExplore(t *testing.T) {
	scale := []float64{233.08, 246.94, 261.63, 277.18, 293.66, 311.13, 329.63, 349.23}
	show := func(name string, s []float64, others ...[]float64) {
		hiss(s, 0.0005, 9)
		r := listen(t, wavOf(testRate, 16, append([][]float64{s}, others...)...))
		fmt.Printf("%s: %d %v\n  %s\n", name, len(r.Kept()), r.Notices, describe(r))
	}
	for _, gap := range []float64{0.02, 0.04, 0.08} {
		for _, hz := range []float64{164.8, 440, 932.3} {
			s := quiet(5)
			for k := range 4 {
				sing(s, testRate, heardNote{start: 0.3 + float64(k), seconds: 1 - gap, hz: hz, amplitude: 0.2, attack: 0.02, end: 0.02})
			}
			show(fmt.Sprintf("tongued %.0f gap %.2f dry", hz, gap), append([]float64{}, s...))
			show(fmt.Sprintf("tongued %.0f gap %.2f room", hz, gap), inRoom(s, 0.4, 6))
			show(fmt.Sprintf("tongued %.0f gap %.2f big room", hz, gap), inRoom(s, 0.9, 3))
		}
	}
	s := quiet(8)
	slur(s, 0.3, 0.8, 0.03, scale...)
	show("slurred", append([]float64{}, s...))
	show("slurred room", inRoom(s, 0.9, 3))
	s = quiet(5)
	slur(s, 0.3, 0.4, 0.05, scale...)
	show("slurred quick", s)
	s = quiet(10)
	for k, hz := range scale {
		sing(s, testRate, heardNote{start: 0.3 + float64(k), seconds: 0.97, hz: hz, amplitude: 0.2})
	}
	show("tongued scale big room", inRoom(s, 1.2, 0))
	s = quiet(3)
	sing(s, testRate, heardNote{start: 0.3, seconds: 2, hz: 440, amplitude: 0.2})
	for _, at := range []float64{0.8, 1.3, 1.8} {
		for i := range 40 {
			s[int(at*testRate)+i] += 0.9 * float64(1-2*(i/4%2))
		}
	}
	show("clicks", s)
	s = quiet(4)
	hiss(s[:testRate], 0.05, 3)
	sing(s, testRate, heardNote{start: 1.2, seconds: 2, hz: 440, amplitude: 0.2})
	show("breath", s)
	s = quiet(3)
	slur(s, 0.3, 0.8, 0.7, 440, 523)
	show("slide", s)
	s = quiet(3)
	slur(s, 0.3, 0.1, 0.01, 587, 440, 440, 440, 440, 440, 440, 440, 440, 440)
	show("cracked", s)
	s = quiet(3)
	slur(s, 0.3, 0.1, 0.01, 440, 440, 440, 440, 440, 440, 440, 587, 440, 440, 440, 440, 440, 440, 440, 440, 440)
	show("split", s)
	s = quiet(3)
	sing(s, testRate, heardNote{start: 0.3, seconds: 2, hz: 440, amplitude: 0.1})
	sing(s, testRate, heardNote{start: 0.3, seconds: 2, hz: 587, amplitude: 0.1})
	show("two", s)
	for _, h := range [][]float64{{0, 1, .8, .7, .5, .3}, {0.01, 1, 0.2, 1, .2, .5}, {0, 0.05, 1, 1, .8, .6}, {1}, {0.02, 1, 0.02, .3}, {1, 0, .5, 0, .3}} {
		for _, hz := range []float64{130, 165, 196, 440, 1046} {
			s = quiet(2)
			sing(s, testRate, heardNote{start: 0.3, seconds: 1.4, hz: hz, amplitude: 0.2, harmonics: h})
			r := listen(t, wavOf(testRate, 16, s))
			off := 9999.0
			if len(r.Tones) > 0 { off = pitch.Cents(r.Tones[0].Hz, hz) }
			fmt.Printf("%v %v: %d %.3f\n", h, hz, len(r.Kept()), off)
		}
	}
}
