package recording

import (
	"bytes"
	"context"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"

	"centwise/catalog/pitch"
)

// Two channels that are the same, shifted, of opposite sign, or of which one is
// silent or only hisses: the note is heard all the same.
func TestTwoChannels(t *testing.T) {
	sound := quiet(2)
	sing(sound, testRate, heardNote{start: 0.3, seconds: 1.4, hz: 440, amplitude: 0.2})
	opposite, shifted, nothing, soft := quiet(2), quiet(2), quiet(2), quiet(2)
	for i, x := range sound {
		opposite[i], soft[i] = -x, 0.05*x
	}
	copy(shifted[18:], sound) // half a period of 440 Hz
	noise := quiet(2)
	hiss(noise, 0.001, 2)
	for name, pair := range map[string][2][]float64{
		"same": {sound, sound}, "opposite": {sound, opposite}, "shifted": {sound, shifted}, "right silent": {sound, nothing},
		"left silent": {nothing, sound}, "left hisses": {noise, sound}, "right soft": {sound, soft},
	} {
		for container, file := range map[string][]byte{"WAV": wavOf(testRate, 16, pair[0], pair[1]), "FLAC": flacOf(t, testRate, 16, pair[0], pair[1])} {
			r := listen(t, file)
			wantNotes(t, name+" in "+container, r, 440)
			if k := r.Kept(); len(k) == 1 && math.Abs(k[0].End-k[0].Start-1.4) > 0.08 {
				t.Errorf("%s: the note lasts %.2f s, want 1.4", name, k[0].End-k[0].Start)
			}
		}
	}
}

// The sum of two channels that cancel out now and not then: no note is lost, and
// the change leaves no trace in the pitch.
func TestChannelsThatChange(t *testing.T) {
	left, right := quiet(4), quiet(4)
	sing(left, testRate, heardNote{start: 0.3, seconds: 3.4, hz: 440, amplitude: 0.2})
	for i, x := range left {
		right[i] = x * math.Cos(math.Pi*float64(i)/float64(len(left))) // from the same to the opposite
	}
	wantNotes(t, "a change", listen(t, wavOf(testRate, 16, left, right)), 440)
}

// A recorder that clips says so, spoils the grade, and hardly the pitch.
func TestClipping(t *testing.T) {
	for bits, loud := range map[int]float64{8: 2, 16: 2, 24: 2, 132: 2} {
		sound := quiet(2)
		sing(sound, testRate, heardNote{start: 0.3, seconds: 1.4, hz: 440, amplitude: loud})
		for i, x := range sound {
			sound[i] = max(-1, min(1, x))
		}
		r := listen(t, wavOf(testRate, bits, sound))
		wantNotes(t, "clipped", r, 440)
		if !strings.Contains(strings.Join(r.Notices, " "), "too loud for the recorder") || r.Kept()[0].Grade == Good || !r.Kept()[0].Clipped {
			t.Errorf("%d bits: notices %q, grade %s", bits, r.Notices, r.Kept()[0].Grade)
		}
	}
	sound := quiet(2)
	sing(sound, testRate, heardNote{start: 0.3, seconds: 1.4, hz: 440, amplitude: 0.2})
	for i := 5000; i < 25000; i += 700 {
		sound[i], sound[i+1] = 1, -1 // loud for a moment is not clipped
	}
	if r := listen(t, wavOf(testRate, 16, sound)); len(r.Notices) > 0 {
		t.Errorf("not clipped: notices %q", r.Notices)
	}
}

func TestSilence(t *testing.T) {
	for _, n := range []int{0, 1, 799, 3 * testRate} {
		r := listen(t, wavOf(testRate, 16, make([]float64, n)))
		if len(r.Tones) != 0 || !strings.Contains(strings.Join(r.Notices, " "), "holds no sustained note") || math.Abs(r.Seconds-float64(n)/testRate) > 1e-9 {
			t.Errorf("%d samples of silence: %+v", n, r)
		}
	}
}

// Levels are dB below full scale: a sine of amplitude 0.1 lies 23 dB down.
func TestLevel(t *testing.T) {
	sound := quiet(2)
	sing(sound, testRate, heardNote{start: 0.3, seconds: 1.4, hz: 440, amplitude: 0.1, harmonics: []float64{1}})
	if k := listen(t, wavOf(testRate, 16, sound)).Kept(); len(k) != 1 || math.Abs(k[0].LevelDB+23.01) > 0.1 {
		t.Errorf("heard %+v, want a level of -23", k)
	}
}

// Times are those of the sound, whatever the rate.
func TestTimes(t *testing.T) {
	for _, rate := range []int{8000, 44100, 192000} {
		sound := make([]float64, 3*rate)
		sing(sound, rate, heardNote{start: 1, seconds: 1.5, hz: 440, amplitude: 0.2})
		k := listen(t, wavOf(rate, 16, sound)).Kept()
		if len(k) != 1 || math.Abs(k[0].Start-1) > 0.025 || math.Abs(k[0].End-2.5) > 0.025 || k[0].SteadyStart < k[0].Start || k[0].SteadyEnd > k[0].End {
			t.Errorf("at %d samples a second: %+v, want 1 to 2.5 s", rate, k)
		}
	}
}

// repeated is a WAV file of a sound played over and over, made as it is read.
func repeated(sound []float64, times int) io.Reader {
	one := wavOf(testRate, 16, sound)
	head := patch(one[:44], 40, 0xff, 0xff, 0xff, 0xff)
	parts := []io.Reader{bytes.NewReader(head)}
	for range times {
		parts = append(parts, bytes.NewReader(one[44:]))
	}
	return io.MultiReader(parts...)
}

// Hours take no more memory than minutes, but for the notes: what is allocated
// grows by less than 4 kB a note, and hardly without notes.
func TestMemoryIsFlat(t *testing.T) {
	noise, notes := quiet(5), quiet(5)
	hiss(noise, 0.01, 4)
	for k := range 4 {
		sing(notes, testRate, heardNote{start: 0.2 + 1.2*float64(k), seconds: 1, hz: bFlatScale[k], amplitude: 0.2})
	}
	live := func() float64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.GC() // what the first one found dead is swept by now
		runtime.ReadMemStats(&m)
		return float64(m.HeapAlloc)
	}
	held := func(sound []float64, times int) float64 {
		before := live()
		r, err := Listen(context.Background(), repeated(sound, times), "long.wav", nil)
		if err != nil {
			t.Fatal(err)
		}
		after := live()
		runtime.KeepAlive(r)
		runtime.KeepAlive(sound)
		return after - before
	}
	if grown := held(noise, 24) - held(noise, 2); grown > 64<<10 {
		t.Errorf("22 more stretches of noise hold %.0f bytes more", grown)
	}
	if grown := (held(notes, 24) - held(notes, 2)) / (22 * 4); grown > 4<<10 {
		t.Errorf("a note holds %.0f bytes, want less than 4 kB", grown)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	held(noise, 24)
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 4<<20 {
		t.Errorf("two minutes of noise allocate %d bytes in all", used)
	}
}

// A note without an end is taken in pieces.
func TestDroneWithoutEnd(t *testing.T) {
	sound := make([]float64, 75*8000)
	sing(sound, 8000, heardNote{start: 0, seconds: 75, hz: 440, amplitude: 0.2, harmonics: []float64{1, 0.5}})
	r := listen(t, wavOf(8000, 8, sound))
	if n := len(r.Kept()); n != 2 || math.Abs(pitch.Cents(r.Kept()[1].Hz, 440)) > 0.05 {
		t.Errorf("75 s of one note: heard\n  %s", describe(r))
	}
}

// Whatever a file holds, there is no panic, and what is heard makes sense.
func FuzzListen(f *testing.F) {
	sound := make([]float64, 14000)
	sing(sound, 8000, heardNote{start: 0.1, seconds: 0.6, hz: 440, amplitude: 0.5})
	sing(sound, 8000, heardNote{start: 0.8, seconds: 0.8, hz: 587, amplitude: 0.5, vibrato: 20, rate: 5})
	for _, bits := range []int{8, 16, 24, 132} {
		f.Add(wavOf(8000, bits, sound))
	}
	f.Add(wavOf(8000, 8, sound, sound))
	f.Add(extensible(wavOf(8000, 16, sound), 1))
	f.Add(rf64(wavOf(8000, 8, sound)))
	f.Add(otherChunks(wavOf(192000, 8, sound)))
	f.Add(flacOf(f, 8000, 8, sound, sound))
	f.Add(flacOf(f, 44100, 16, sound)[:9000])
	f.Add(patch(wavOf(8000, 164, sound[:3000]), 100, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f))
	f.Fuzz(func(t *testing.T, file []byte) {
		if len(file) > 1<<18 {
			return
		}
		r, err := Listen(context.Background(), bytes.NewReader(file), "fuzz", nil)
		if err != nil {
			return
		}
		before := 0.0
		for _, x := range r.Tones {
			for _, v := range []float64{x.Hz, x.ErrorCents, x.SpreadCents, x.DriftCents, x.VibratoCents, x.VibratoHz, x.LevelDB} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("a tone has a number that is none: %+v", x)
				}
			}
			if x.Start < before || x.End <= x.Start || x.End > r.Seconds+0.05 || (x.Grade == Rejected) != (x.Reason != "") {
				t.Fatalf("a tone makes no sense: %+v after %v s of %v", x, before, r.Seconds)
			}
			if x.Grade != Rejected && (x.Hz < lowestHz/2 || x.Hz > highestHz || x.SteadyEnd <= x.SteadyStart) {
				t.Fatalf("a note makes no sense: %+v", x)
			}
			before = x.Start
		}
	})
}

// benchmarkSound is a minute of notes as people record them.
func benchmarkSound(rate int) []float64 {
	sound := make([]float64, 60*rate)
	for k := range 30 {
		sing(sound, rate, heardNote{start: 2 * float64(k), seconds: 1.8, hz: 165 * math.Exp2(float64(k)/12), vibrato: 8, rate: 5.5, amplitude: 0.2})
	}
	hiss(sound, 0.001, 6)
	return sound
}

func benchmarkListen(b *testing.B, file []byte) {
	for b.Loop() {
		if n := len(listen(b, file).Kept()); n != 30 {
			b.Fatalf("%d notes", n)
		}
	}
	b.ReportMetric(60*float64(b.N)/b.Elapsed().Seconds(), "x-real-time")
}

func BenchmarkListenWAV(b *testing.B) {
	sound := benchmarkSound(44100)
	benchmarkListen(b, wavOf(44100, 16, sound, sound))
}

func BenchmarkListenFLAC(b *testing.B) {
	sound := benchmarkSound(44100)
	benchmarkListen(b, flacOf(b, 44100, 16, sound, sound))
}

func BenchmarkListenHighRate(b *testing.B) {
	sound := benchmarkSound(192000)
	benchmarkListen(b, wavOf(192000, 24, sound))
}
