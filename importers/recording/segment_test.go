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

// segments hears a sound over a little noise.
func segments(t *testing.T, sound []float64) *Recording {
	t.Helper()
	hiss(sound, 0.0005, 9)
	return listen(t, wavOf(testRate, 16, sound))
}

// bFlatScale is the chromatic scale from B flat 3, A4 = 440 Hz (CRC Handbook,
// "Musical scales", rounded; from memory).
var bFlatScale = []float64{233.08, 246.94, 261.63, 277.18, 293.66, 311.13, 329.63, 349.23}

// wantNotes compares the notes that count with frequencies.
func wantNotes(t *testing.T, what string, r *Recording, hz ...float64) {
	t.Helper()
	kept := r.Kept()
	right := len(kept) == len(hz)
	for i := 0; right && i < len(hz); i++ {
		right = math.Abs(pitch.Cents(kept[i].Hz, hz[i])) < 0.5
	}
	if !right {
		t.Errorf("%s: want %v, heard\n  %s", what, hz, describe(r))
	}
}

// wantReason sees that nothing counts, for a reason.
func wantReason(t *testing.T, what string, r *Recording, reason string) {
	t.Helper()
	if len(r.Kept()) != 0 || !strings.Contains(describe(r), reason) {
		t.Errorf("%s: want nothing but %q, heard\n  %s", what, reason, describe(r))
	}
}

// The same note tongued four times, by gaps, and rooms by their decay and by how
// much stronger the direct sound is.
func TestTonguedRepeats(t *testing.T) {
	for _, hz := range []float64{164.81, 440, 932.33} {
		for _, gap := range []float64{0.02, 0.04, 0.08} {
			sound := quiet(5)
			for k := range 4 {
				sing(sound, testRate, heardNote{start: 0.3 + float64(k), seconds: 1 - gap, hz: hz, amplitude: 0.2, attack: 0.02, end: 0.02})
			}
			if gap > 0.03 {
				wantNotes(t, fmt.Sprintf("%.0f Hz, gaps of %.2f s, in a room", hz, gap), segments(t, inRoom(sound, 0.4, 6)), hz, hz, hz, hz)
			}
			wantNotes(t, fmt.Sprintf("%.0f Hz, gaps of %.2f s", hz, gap), segments(t, sound), hz, hz, hz, hz)
		}
	}
}

func TestScales(t *testing.T) {
	slurred, tongued, quick := quiet(8), quiet(10), quiet(5)
	slur(slurred, 0.3, 0.8, 0.03, bFlatScale...)
	slur(quick, 0.3, 0.5, 0.05, bFlatScale...)
	for k, hz := range bFlatScale {
		sing(tongued, testRate, heardNote{start: 0.3 + float64(k), seconds: 0.97, hz: hz, amplitude: 0.2})
	}
	wantNotes(t, "slurred in a hall", segments(t, inRoom(slurred, 0.9, 3)), bFlatScale...)
	wantNotes(t, "slurred", segments(t, slurred), bFlatScale...)
	wantNotes(t, "slurred quickly", segments(t, quick), bFlatScale...)
	wantNotes(t, "tongued in a church", segments(t, inRoom(tongued, 1.2, 0)), bFlatScale...)
}

// Vibrato as wide as it gets, in pitch and loudness, is one note.
func TestVibratoIsOneNote(t *testing.T) {
	sound := quiet(4)
	sing(sound, testRate, heardNote{start: 0.3, seconds: 3.3, hz: 440, vibrato: 40, rate: 5, amplitude: 0.2})
	for i := range sound {
		sound[i] *= math.Pow(10, 6*math.Sin(2*math.Pi*5*float64(i)/testRate)/20) // 12 dB from top to bottom
	}
	k := segments(t, sound).Kept()
	// Within a window the louder moments weigh more, and here they are the higher ones.
	if len(k) != 1 || math.Abs(pitch.Cents(k[0].Hz, 440)) > 1 || math.Abs(k[0].VibratoCents-40) > 6 || math.Abs(k[0].VibratoHz-5) > 0.1 {
		t.Errorf("heard %+v, want one note of 440 Hz with 40 cents at 5 Hz", k)
	}
}

// Clicks in a note, breath before it, hum under it, an offset: nothing of it is
// a note, and the pitch stays.
func TestNoises(t *testing.T) {
	clicks, breath, hum := quiet(3), quiet(4), quiet(4)
	sing(clicks, testRate, heardNote{start: 0.3, seconds: 2, hz: 440, amplitude: 0.2})
	for _, at := range []float64{0.1, 0.8, 1.3, 1.8, 2.7} {
		for i := range 40 {
			clicks[int(at*testRate)+i] += 0.9 * float64(1-2*(i/4%2))
		}
	}
	wantNotes(t, "clicks", segments(t, clicks), 440)
	hiss(breath[:testRate], 0.05, 3)
	sing(breath, testRate, heardNote{start: 1.2, seconds: 2, hz: 440, amplitude: 0.2})
	wantNotes(t, "breath", segments(t, breath), 440)
	for i := range hum {
		for k := 1.0; k < 6; k++ {
			hum[i] += 0.002 / k * math.Sin(2*math.Pi*50*k*float64(i)/testRate)
		}
		hum[i] += 0.2
	}
	sing(hum, testRate, heardNote{start: 0.5, seconds: 1.5, hz: 233.08, amplitude: 0.2})
	sing(hum, testRate, heardNote{start: 2.1, seconds: 1.5, hz: 277.18, amplitude: 0.2})
	wantNotes(t, "hum and an offset", segments(t, hum), 233.08, 277.18)
}

func TestRejections(t *testing.T) {
	slide, cracked, two, short, wild := quiet(3), quiet(3), quiet(3), quiet(1.5), quiet(4)
	slur(slide, 0.3, 0.8, 0.7, 440, 523)
	wantReason(t, "a slide", segments(t, slide), "the pitch slides by")
	slur(cracked, 0.3, 0.1, 0.01, 587, 440, 440, 440, 440, 440, 440, 440, 440, 440)
	wantReason(t, "a cracked attack", segments(t, cracked), "begins on another pitch")
	sing(two, testRate, heardNote{start: 0.3, seconds: 2, hz: 440, amplitude: 0.1})
	sing(two, testRate, heardNote{start: 0.3, seconds: 2, hz: 587, amplitude: 0.1})
	wantReason(t, "two notes at once", segments(t, two), "two sound at once")
	sing(short, testRate, heardNote{start: 0.3, seconds: 0.25, hz: 440, amplitude: 0.2})
	wantReason(t, "a short note", segments(t, short), "hold every note for a second or more")
	random := rand.New(rand.NewPCG(2, 2))
	var hz []float64
	for range 30 {
		hz = append(hz, pitch.Shift(440, 74*random.Float64()-37))
	}
	slur(wild, 0.3, 0.1, 0.05, hz...)
	wantReason(t, "a wavering note", segments(t, wild), "it is unsteady by")
	var flutter []float64
	for k := range 90 {
		flutter = append(flutter, 440)
		if k%4 == 2 {
			flutter[k] = 587
		}
	}
	trembling := quiet(4)
	slur(trembling, 0.3, 0.03, 0.01, flutter...)
	wantReason(t, "a note that flutters", segments(t, trembling), "the pitch jumps")
	wantReason(t, "hiss", segments(t, func() []float64 { s := quiet(2); hiss(s, 0.1, 1); return s }()), "")
}

// A note that splits in its middle: what comes before counts.
func TestSplit(t *testing.T) {
	sound := quiet(3)
	slur(sound, 0.3, 0.1, 0.01, 440, 440, 440, 440, 440, 440, 440, 587, 440, 440, 440, 440, 440, 440, 440, 440, 440)
	r := segments(t, sound)
	wantNotes(t, "a split", r, 440)
	if k := r.Kept(); len(k) == 1 && math.Abs(k[0].End-1) > 0.05 {
		t.Errorf("the note ends at %.2f s, want 1.00", k[0].End)
	}
}

// Where the fundamental fades for a moment, as the sound of a room comes and goes,
// the note goes on: it is no octave.
func TestFadingFundamental(t *testing.T) {
	for _, hz := range []float64{440, 1046.5} {
		sound, upper := quiet(3), quiet(3)
		sing(sound, testRate, heardNote{start: 0.3, seconds: 2.4, hz: hz, amplitude: 0.2, harmonics: []float64{1}})
		sing(upper, testRate, heardNote{start: 0.3, seconds: 2.4, hz: hz, amplitude: 0.2, harmonics: []float64{0, 0.9}})
		for i := range sound {
			if at := float64(i) / testRate; at > 1.2 && at < 1.5 {
				sound[i] *= 0.17
			}
			sound[i] += upper[i]
		}
		wantNotes(t, "a fading fundamental", segments(t, sound), hz)
	}
}

// What sounds on after a note, softer and a little flat, is no part of it; what is
// very soft and short is not even spoken of.
func TestEchoes(t *testing.T) {
	sound := quiet(4)
	sing(sound, testRate, heardNote{start: 0.3, seconds: 1.2, hz: 440, amplitude: 0.2, end: 0.02})
	sing(sound, testRate, heardNote{start: 1.48, seconds: 0.9, hz: pitch.Shift(440, -30), amplitude: 0.03, attack: 0.01})
	sing(sound, testRate, heardNote{start: 3, seconds: 0.22, hz: 587, amplitude: 0.006})
	r := segments(t, sound)
	wantNotes(t, "an echo", r, 440)
	if len(r.Tones) != 1 || r.Tones[0].SteadyEnd > 1.6 {
		t.Errorf("the echo is spoken of, or counts:\n  %s", describe(r))
	}
}

// Echo of the note before is not a cracked attack, nor a note.
func TestEchoIsNoCrack(t *testing.T) {
	sound := quiet(5)
	sing(sound, testRate, heardNote{start: 0.3, seconds: 1.5, hz: 440, amplitude: 0.2})
	sing(sound, testRate, heardNote{start: 1.86, seconds: 0.16, hz: 440, amplitude: 0.06, attack: 0.02})
	sing(sound, testRate, heardNote{start: 2.02, seconds: 1.5, hz: 587.33, amplitude: 0.2})
	wantNotes(t, "an echo", segments(t, sound), 440, 587.33)
}

// A neighbour who plays 34 dB more softly is left out, with the reason.
func TestFaintNotes(t *testing.T) {
	sound := quiet(8)
	for k := range 4 {
		sing(sound, testRate, heardNote{start: 0.3 + 1.5*float64(k), seconds: 1, hz: bFlatScale[k], amplitude: 0.2})
	}
	sing(sound, testRate, heardNote{start: 6.3, seconds: 1, hz: 440, amplitude: 0.004})
	r := segments(t, sound)
	wantNotes(t, "a neighbour", r, bFlatScale[:4]...)
	if !strings.Contains(describe(r), "softer than the other notes") {
		t.Errorf("the neighbour is not spoken of:\n  %s", describe(r))
	}
}

// Fundamentals that small microphones lose, harmonics that are missing, pure
// tones: no octave errors.
func TestWeakHarmonics(t *testing.T) {
	for _, harmonics := range [][]float64{
		{0, 1, .8, .7, .5, .3}, {0.01, 1, 0.2, 1, 0.2, 0.5}, {0, 0.05, 1, 1, 0.8, 0.6}, {1}, {1, 0, 0.5, 0, 0.3}, {0.06, 1, 0.06, 0.5}, {0.3, 0.3, 0.3, 1, 0.3, 0.3},
	} {
		for _, hz := range []float64{123.47, 164.81, 196, 440, 1046.5} {
			if harmonics[0] == 0.06 && hz < 2*lowestOctave {
				continue // beside an octave that is 24 dB stronger hum can't be told from it
			}
			sound := quiet(2)
			sing(sound, testRate, heardNote{start: 0.3, seconds: 1.4, hz: hz, amplitude: 0.15, harmonics: harmonics})
			wantNotes(t, fmt.Sprintf("harmonics %v of %.1f Hz", harmonics, hz), segments(t, sound), hz)
		}
	}
}

// Partials that are not quite harmonic, as microphones and rooms may make them
// seem: the pitch is that of those that say most, within a third of their spread.
func TestInharmonicPartials(t *testing.T) {
	const hz, stretch = 233.08, 3.0 // cents an octave
	sound := quiet(2)
	for i := range sound[testRate/5 : 9*testRate/5] {
		for k, a := range brassLike(hz) {
			f := hz * float64(k+1) * math.Exp2(stretch*math.Log2(float64(k+1))/1200)
			if f < 0.45*testRate {
				sound[testRate/5+i] += 0.2 * a * math.Sin(2*math.Pi*f*float64(i)/testRate+float64(k))
			}
		}
	}
	kept := segments(t, sound).Kept()
	if len(kept) != 1 || pitch.Cents(kept[0].Hz, hz) < 0 || pitch.Cents(kept[0].Hz, hz) > 3*stretch || kept[0].SpreadCents > 1 {
		t.Errorf("stretched by %g cents an octave: heard %+v", stretch, kept)
	}
}

// A drift within a note is reported, and the middle counts; a scoop at the
// beginning is left out.
func TestDrift(t *testing.T) {
	sound := quiet(4)
	sing(sound, testRate, heardNote{start: 0.5, seconds: 2, hz: 440, drift: 10, amplitude: 0.2})
	r := segments(t, sound)
	wantNotes(t, "a drift", r, 440)
	if k := r.Kept(); len(k) == 1 && math.Abs(k[0].DriftCents-9.4) > 0.7 { // 94 % of the note are its steady part
		t.Errorf("drift heard as %.1f cents, want 9.4", k[0].DriftCents)
	}
	scoop := quiet(4)
	hz := []float64{pitch.Shift(440, -45)}
	for range 9 {
		hz = append(hz, 440)
	}
	slur(scoop, 0.3, 0.3, 0.3, hz...)
	wantNotes(t, "a scoop", segments(t, scoop), 440)
	slow := quiet(4)
	hz = hz[:0]
	for k := range 24 {
		hz = append(hz, pitch.Shift(440, -4*max(0, 12-float64(k))))
	}
	slur(slow, 0.3, 0.1, 0.1, hz...)
	if k := segments(t, slow).Kept(); len(k) != 1 || math.Abs(pitch.Cents(k[0].Hz, 440)) > 2.5 || k[0].SteadyStart < 0.9 {
		t.Errorf("a note that finds its pitch in a second: heard %+v, want 440 Hz from then on", k)
	}
}
