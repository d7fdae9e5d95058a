package tone

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
)

// What the formula says of slopes: 6 dB an octave up far below the bend; far
// above it 9 dB an octave down when loud, 15 at half that dynamic.
func TestStrengthSlopes(t *testing.T) {
	octave := func(f, dynamic float64) float64 {
		return 20 * math.Log10(strength(2*f, dynamic)/strength(f, dynamic))
	}
	near(t, "slope at 5 Hz", octave(5, 1), 6.02, 0.05)
	near(t, "slope at 500 kHz, loud", octave(500e3, 1), -9.03, 0.05)
	near(t, "slope at 500 kHz, medium", octave(500e3, 0.5), -15.05, 0.05)
	near(t, "strength at the bend", strength(bendHz, 1), math.Pow(2, -1.25), 1e-12)
}

// A tone that is blown harder is stronger in every harmonic, and the more so the
// higher the harmonic.
func TestLouderIsBrighter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		soft := rapid.Float64Range(0.01, 0.9).Draw(t, "soft")
		loud := rapid.Float64Range(soft*1.01, 1).Draw(t, "loud")
		low := rapid.Float64Range(20, 5000).Draw(t, "low")
		high := rapid.Float64Range(low*1.01, 20000).Draw(t, "high")
		gain := func(f float64) float64 { return strength(f, loud) / strength(f, soft) }
		if !(gain(low) > 1 && gain(high) > gain(low)) {
			t.Fatalf("gains %v and %v", gain(low), gain(high))
		}
	})
}

// The recurrence gives the sum of sines that it stands for.
func TestSampleIsTheSumOfItsHarmonics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		note := Note{End: 2, Hz: rapid.Float64Range(MinHz, 3000).Draw(t, "hz"), Dynamic: rapid.Float64Range(0.1, 1).Draw(t, "dynamic")}
		v := newVoice(note, 48000)
		n := rapid.OneOf(rapid.Int64Range(0, 95999), rapid.Int64Range(0, 1500), rapid.Int64Range(93500, 95999)).Draw(t, "sample")
		got, want, size := v.sample(n), 0.0, 0.0
		e := v.envelope(n)
		for k := 1.0; k*note.Hz <= 20000; k++ {
			full, dark := strength(k*note.Hz, note.Dynamic), 4*strength(k*note.Hz, note.Dynamic/4)
			a := e * (e*full + (1-e)*dark)
			want += a * math.Sin(2*math.Pi*math.Mod(k*note.Hz*float64(n)/48000, 1))
			size += a
		}
		if math.Abs(got-want) > 1e-8*size {
			t.Fatalf("sample %d is %v, want %v", n, got, want)
		}
	})
}

// A unison is twice its tone, whenever the second tone joins.
func TestUnisonsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hz := rapid.Float64Range(100, 2000).Draw(t, "hz")
		first := newVoice(Note{End: 1, Hz: hz, Dynamic: 0.5}, 8000)
		second := newVoice(Note{Start: rapid.Float64Range(0, 0.5).Draw(t, "start"), End: 1, Hz: hz, Dynamic: 0.5}, 8000)
		one, both := make([]float64, 8000), make([]float64, 8000)
		first.addTo(one, 0)
		first.addTo(both, 0)
		second.addTo(both, 0)
		for i := 5000; i < 7000; i++ {
			if math.Abs(both[i]-2*one[i]) > 1e-9 {
				t.Fatalf("sample %d is %v, and %v in unison", i, one[i], both[i])
			}
		}
	})
}

// Blocks of any size give the same samples.
func TestBlocksJoin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := newVoice(Note{Start: 0.01, End: 0.1, Hz: rapid.Float64Range(100, 2000).Draw(t, "hz"), Dynamic: 1}, 8000)
		whole, parts := make([]float64, 1000), make([]float64, 1000)
		v.addTo(whole, 0)
		for at := 0; at < len(parts); {
			n := rapid.IntRange(1, len(parts)-at).Draw(t, "block")
			v.addTo(parts[at:at+n], int64(at))
			at += n
		}
		if !slices.Equal(whole, parts) {
			t.Fatal("the samples depend on the blocks")
		}
		for i, x := range whole {
			if inside := i >= 80 && i < 800; x != 0 && !inside {
				t.Fatalf("sample %d is %v outside the note", i, x)
			}
		}
	})
}

// A note rises and falls without leaving 0..1, is full in between, and starts
// and ends near nought, however short it is.
func TestEnvelope(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := rapid.Int64Range(1, 20000).Draw(t, "samples")
		v := newVoice(Note{End: float64(length) / 48000, Hz: 440, Dynamic: 1}, 48000)
		before := 0.0
		for n := range length {
			e := v.envelope(n)
			if !(e > 0 && e <= 1) {
				t.Fatalf("%v at %d of %d", e, n, length)
			}
			if n < v.attack && e < before || n >= length-v.release && e > before {
				t.Fatalf("goes from %v to %v at %d of %d", before, e, n, length)
			}
			if n >= v.attack && n < length-v.release && e != 1 {
				t.Fatalf("%v in the middle, at %d of %d", e, n, length)
			}
			before = e
		}
	})
}

// Only what sounds is held: notes that have ended are let go.
func TestMemoryDoesNotGrow(t *testing.T) {
	var take Take
	for i := range 200 {
		take = append(take, Note{Start: float64(i) * 0.1, End: float64(i+1) * 0.1, Hz: 440, Dynamic: 0.5})
	}
	r := newRenderer(take, 8000)
	for r.next() != nil {
		if len(r.playing) > 1 {
			t.Fatalf("%d voices are held at sample %d", len(r.playing), r.at)
		}
	}
	if len(r.rest) != 0 {
		t.Errorf("%d notes were never played", len(r.rest))
	}
}

// The order in which notes are listed does not matter.
func TestOrderOfNotes(t *testing.T) {
	take := Take{{0, 0.2, 300, 1}, {0.1, 0.3, 400, 1}, {0.05, 0.4, 500, 0.5}}
	turned := slices.Clone(take)
	slices.Reverse(turned)
	a, b := newRenderer(take, 8000).next(), newRenderer(turned, 8000).next()
	if len(a) != 3200 {
		t.Fatalf("%d samples", len(a))
	}
	for i := range a {
		near(t, "sample", b[i], a[i], 1e-12)
	}
}

func TestCheck(t *testing.T) {
	good := func() Programme {
		return Programme{Rate: 48000, Takes: []Take{{{0, 1, 440, 0.5}}}, LUFS: -23, PeakDB: -3}
	}
	if err := good().Check(); err != nil {
		t.Fatal(err)
	}
	note := func(n Note) func(*Programme) { return func(p *Programme) { p.Takes[0][0] = n } }
	for _, c := range []struct {
		say   string
		spoil func(*Programme)
	}{
		{"7999 samples a second", func(p *Programme) { p.Rate = 7999 }},
		{"192001 samples a second", func(p *Programme) { p.Rate = 192001 }},
		{"nothing to play", func(p *Programme) { p.Takes = nil }},
		{"take 2: a take has no notes", func(p *Programme) { p.Takes = append(p.Takes, nil) }},
		{"silence of", func(p *Programme) { p.GapSeconds = math.NaN() }},
		{"silence of", func(p *Programme) { p.LeadSeconds = -1 }},
		{"a loudness of -9 LUFS", func(p *Programme) { p.LUFS = -9 }},
		{"a loudness of", func(p *Programme) { p.LUFS = math.NaN() }},
		{"a peak of 0 dB", func(p *Programme) { p.PeakDB = 0 }},
		{"note 1: it lasts from 1 to 1 s", note(Note{1, 1, 440, 1})},
		{"it lasts from -1 to 1 s", note(Note{-1, 1, 440, 1})},
		{"it lasts from 0 to +Inf s", note(Note{0, math.Inf(1), 440, 1})},
		{"its dynamic is 0", note(Note{0, 1, 440, 0})},
		{"its dynamic is 1.1", note(Note{0, 1, 440, 1.1})},
		{"its frequency is 19 Hz", note(Note{0, 1, 19, 1})},
		{"its frequency is NaN Hz", note(Note{0, 1, math.NaN(), 1})},
		{"20001 Hz is too high", note(Note{0, 1, 20001, 1})},
		{"it would last 61 minutes; 60 is the limit", func(p *Programme) { p.Takes[0][0].End = 3000; p.LeadSeconds = 301 }},
	} {
		p := good()
		c.spoil(&p)
		if err := p.Check(); err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("error %v, want %q", err, c.say)
		}
		if _, err := p.Levels(context.Background()); err == nil {
			t.Errorf("%s: rendered all the same", c.say)
		}
	}
	p := good()
	p.Rate, p.Takes[0][0].Hz = 8000, 3601
	if err := p.Check(); err == nil || !strings.Contains(err.Error(), "3601 Hz is too high for 8000 samples a second: take a rate of 8003 or more") {
		t.Errorf("error %v", err)
	}
	p.Rate = 8003
	if err := p.Check(); err != nil {
		t.Errorf("the rate that the message gave: %v", err)
	}
	p.GapSeconds, p.Takes[0][0].End, p.LeadSeconds = 0, 1, 3600
	var long *TooLongError
	if err := p.Check(); !errors.As(err, &long) || long.Seconds != 7201 {
		t.Errorf("error %v", err)
	}
}

func TestPatterns(t *testing.T) {
	notes := func(p Pattern, tonic, low, high string) string {
		l, err := pitch.ParseNote(low)
		if err != nil {
			t.Fatal(err)
		}
		h, err := pitch.ParseNote(high)
		if err != nil {
			t.Fatal(err)
		}
		got, err := p.On(tonic, l, h)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, n := range got {
			names = append(names, n.String())
		}
		return strings.Join(names, " ")
	}
	// Scales and triads as in any primer of music.
	for _, c := range []struct {
		pattern                Pattern
		tonic, low, high, want string
	}{
		{Scale, "C", "G3", "C5", "G3 A3 B3 C4 D4 E4 F4 G4 A4 B4 C5"},
		{Scale, "Eb", "Eb4", "Eb5", "Eb4 F4 G4 Ab4 Bb4 C5 D5 Eb5"},
		{Arpeggio, "D", "F#3", "A5", "F#3 A3 D4 F#4 A4 D5 F#5 A5"},
		{Chromatic, "C", "B3", "D4", "B3 C4 C#4 D4"},
		{Arpeggio, "B", "C4", "D4", ""},
	} {
		if got := notes(c.pattern, c.tonic, c.low, c.high); got != c.want {
			t.Errorf("on %s from %s: %s, want %s", c.tonic, c.low, got, c.want)
		}
	}
	if _, err := Scale.On("H", 60, 72); err == nil {
		t.Error("a scale on H")
	}
}

func BenchmarkRender(b *testing.B) {
	const seconds = 10
	take := Take{{0, seconds, 233.08, 0.5}}
	for b.Loop() {
		r := newRenderer(take, 48000)
		for r.next() != nil {
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/seconds*1000, "ms/s-of-sound")
}
