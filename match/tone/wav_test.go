package tone_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
	"centwise/match/tone"
	"centwise/match/tone/tonetest"
)

// written renders a programme to a file and reads it back.
func written(t testing.TB, p tone.Programme, bits int) (tonetest.Sound, []tone.Level) {
	t.Helper()
	file, err := os.Create(filepath.Join(t.TempDir(), "x.wav"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	levels, err := tone.WriteWAV(context.Background(), file, p, bits)
	if err != nil {
		t.Fatal(err)
	}
	sound, err := tonetest.Read(file.Name())
	if err != nil {
		t.Fatal(err)
	}
	if sound.Rate != p.Rate || sound.Bits != bits {
		t.Fatalf("the file has %d samples a second of %d bits, want %d of %d", sound.Rate, sound.Bits, p.Rate, bits)
	}
	if pad := len(sound.Samples) - int(math.Round(p.Seconds()*float64(p.Rate))); pad < 0 || pad > 1 {
		t.Fatalf("the file has %d samples more than %g s", pad, p.Seconds())
	}
	return sound, levels
}

// music is a programme of the same notes in two takes, each off by some cents.
func music(rate int, seconds float64, first, second []float64) tone.Programme {
	p := tone.Programme{Rate: rate, LeadSeconds: 0.25, GapSeconds: 0.5, LUFS: -23, PeakDB: -3}
	for _, hz := range [][]float64{first, second} {
		var take tone.Take
		for i, f := range hz {
			take = append(take, tone.Note{Start: float64(i) * seconds, End: float64(i+1) * seconds, Hz: f, Dynamic: tone.Medium})
		}
		p.Takes = append(p.Takes, take)
	}
	return p
}

// Every note of both takes has the frequency it was asked to have, in the file,
// within 0.01 cent; so do its harmonics.
func TestPitchesInTheFile(t *testing.T) {
	for _, c := range []struct {
		rate, bits int
		low, high  pitch.Note
	}{
		{8000, 16, 52, 100}, {11025, 24, 52, 100}, {22050, 16, 52, 110}, {44100, 16, 40, 110}, {48000, 24, 40, 110}, {192000, 16, 58, 64},
	} {
		t.Run(fmt.Sprintf("%d samples of %d bits", c.rate, c.bits), func(t *testing.T) {
			var inTune, off []float64
			for n := c.low; n <= c.high; n += 6 {
				inTune = append(inTune, n.Hz(440))
				off = append(off, pitch.Shift(n.Hz(440), float64(n%7)*5.3-17))
			}
			const seconds = 0.8
			p := music(c.rate, seconds, inTune, off)
			sound, _ := written(t, p, c.bits)
			for k, hz := range [][]float64{inTune, off} {
				for i, want := range hz {
					at := p.Starts()[k] + float64(i)*seconds
					steady := sound.Between(at+0.03, at+seconds-0.05)
					for h := 1.0; h <= 3 && h*want < 0.45*float64(c.rate); h++ {
						got := steady.Hz(h*want, want/2) / h
						if d := pitch.Cents(got, want); !(math.Abs(d) < 0.01) {
							t.Errorf("take %d: harmonic %g of %.3f Hz is %+.4f cents off", k+1, h, want, d)
						}
					}
				}
			}
		})
	}
}

// Notes that sound together, a few cents apart, keep their frequencies, and beat
// as often a second as they differ.
func TestPairsKeepTheirPitches(t *testing.T) {
	const rate, seconds = 44100, 4.5
	low := pitch.Note(70).Hz(442)
	high := pitch.Shift(low, 12)
	take := tone.Take{{End: seconds, Hz: low, Dynamic: 0.5}, {End: seconds, Hz: high, Dynamic: 0.5}}
	sound, _ := written(t, tone.Programme{Rate: rate, Takes: []tone.Take{take}, LUFS: -23, PeakDB: -3}, 16)
	steady := sound.Between(0.05, seconds-0.05)
	for _, want := range []float64{low, high} {
		if d := pitch.Cents(steady.Hz(want, 1), want); !(math.Abs(d) < 0.1) {
			t.Errorf("%.3f Hz is %+.4f cents off", want, d)
		}
	}
}

// The takes of a file are equally loud, at the loudness that is stated, and the
// true peak is where it is said to be.
func TestLevelsInTheFile(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rate := rapid.SampledFrom([]int{8000, 11025, 22050}).Draw(rt, "rate")
		note := func(i int) float64 { return pitch.Note(rapid.IntRange(40, 95).Draw(rt, "note")).Hz(440) }
		p := music(rate, rapid.Float64Range(0.05, 0.4).Draw(rt, "seconds"), []float64{note(1), note(2)}, []float64{note(3), note(4), note(5)})
		p.LUFS = float64(rapid.IntRange(-40, tone.MaxLUFS).Draw(rt, "loudness"))
		p.PeakDB = rapid.Float64Range(-12, -1).Draw(rt, "limit")
		sound, levels := written(t, p, 24)
		limited := false
		for k, level := range levels {
			at := p.Starts()[k]
			part := sound.Between(at, at+p.Takes[k].Seconds())
			loudness, peak := tone.Loudness(part.Samples, rate)
			if math.Abs(loudness-levels[0].LUFS) > 0.1 || math.Abs(level.LUFS-levels[0].LUFS) > 1e-9 {
				rt.Errorf("take %d has loudness %v, stated %v; take 1 %v", k+1, loudness, level.LUFS, levels[0].LUFS)
			}
			if math.Abs(peak-level.PeakDB) > 0.01 || peak > p.PeakDB+0.01 {
				rt.Errorf("take %d peaks at %v, stated %v, limit %v", k+1, peak, level.PeakDB, p.PeakDB)
			}
			limited = limited || level.PeakDB > p.PeakDB-1e-6
		}
		if !limited && math.Abs(levels[0].LUFS-p.LUFS) > 1e-9 {
			rt.Errorf("loudness %v instead of %v though no peak is at the limit", levels[0].LUFS, p.LUFS)
		}
	})
}

// Soft sound in few bits has no direct current: its mean is far below half a
// step, which always rounding down would make.
func TestNoDirectCurrent(t *testing.T) {
	p := music(48000, 1, []float64{233.08, 311.13}, []float64{1235, 1309})
	p.LUFS = -45
	sound, _ := written(t, p, 16)
	sum := 0.0
	for _, x := range sound.Samples {
		sum += x
	}
	if mean := sum / float64(len(sound.Samples)) * 32768; math.Abs(mean) > 0.02 {
		t.Errorf("the mean is %g steps", mean)
	}
}

// Nothing but the notes sounds: nothing above the band, silence before, between
// and after.
func TestNothingBesideTheNotes(t *testing.T) {
	for _, rate := range []int{8000, 48000, 96000} {
		p := music(rate, 1, []float64{233.08, 311.13}, []float64{235, 309})
		p.LUFS = -16
		sound, _ := written(t, p, 24)
		for k, start := range p.Starts() {
			part := sound.Between(start, start+p.Takes[k].Seconds())
			amplitudes, bin := part.Between(0.1, 0.9).Spectrum()
			for i, a := range amplitudes {
				if f := float64(i) * bin; f > min(20000, 0.45*float64(rate))+8*bin && a > 1e-6 {
					t.Errorf("%d: take %d has amplitude %g at %.0f Hz", rate, k+1, a, f)
					break
				}
			}
		}
		for _, silent := range []tonetest.Sound{sound.Between(0, 0.25), sound.Between(2.25, 2.75), sound.Between(4.75, 9)} {
			if len(silent.Samples) < rate/8 {
				t.Errorf("%d: only %d samples of silence", rate, len(silent.Samples))
			}
			for _, x := range silent.Samples {
				if x != 0 {
					t.Fatalf("%d: %g where silence should be", rate, x)
				}
			}
		}
	}
}

// Notes join without a click: around a join no step from one sample to the next
// is larger than within the steady notes.
func TestJoinsDoNotClick(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		const rate = 16000
		seconds := rapid.Float64Range(0.15, 0.3).Draw(rt, "seconds")
		hz := func() float64 { return rapid.Float64Range(150, 1400).Draw(rt, "hz") }
		p := music(rate, seconds, []float64{hz(), hz(), hz()}, []float64{hz()})
		sound, _ := written(t, p, 16)
		steps := func(from, to float64) float64 {
			largest, part := 0.0, sound.Between(from, to).Samples
			for i := 1; i < len(part); i++ {
				largest = max(largest, math.Abs(part[i]-part[i-1]))
			}
			return largest
		}
		start := p.Starts()[0]
		steady := 0.0
		for i := range 3 {
			at := start + float64(i)*seconds
			steady = max(steady, steps(at+0.03, at+seconds-0.05))
		}
		for i := range 4 {
			at := start + float64(i)*seconds
			if join := steps(at-0.05, at+0.03); join > 1.02*steady {
				rt.Errorf("join %d has a step of %g, steady notes %g", i, join, steady)
			}
			if join := steps(at-0.001, at+0.001); join > 0.05*steady {
				rt.Errorf("join %d has a step of %g within a millisecond, steady notes %g", i, join, steady)
			}
		}
	})
}

// The header says what is in the file (RIFF/WAVE: Microsoft and IBM, "Multimedia
// Programming Interface and Data Specifications 1.0", 1991, from memory), for
// odd numbers of bytes too.
func TestHeader(t *testing.T) {
	for _, c := range []struct{ samples, bits int }{{8001, 16}, {8001, 24}, {8000, 24}} {
		file := filepath.Join(t.TempDir(), "x.wav")
		out, err := os.Create(file)
		if err != nil {
			t.Fatal(err)
		}
		take := tone.Take{{End: float64(c.samples) / 8000, Hz: 440, Dynamic: 0.5}}
		if _, err := tone.WriteWAV(context.Background(), out, tone.Programme{Rate: 8000, Takes: []tone.Take{take}, LUFS: -23, PeakDB: -3}, c.bits); err != nil {
			t.Fatal(err)
		}
		out.Close()
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		long := func(at int) int { return int(binary.LittleEndian.Uint32(b[at:])) }
		short := func(at int) int { return int(binary.LittleEndian.Uint16(b[at:])) }
		bytes := c.bits / 8
		for _, field := range []struct {
			what      string
			got, want int
		}{
			{"RIFF size", long(4), len(b) - 8}, {"format", short(20), 1}, {"channels", short(22), 1},
			{"rate", long(24), 8000}, {"bytes a second", long(28), 8000 * bytes},
			{"bytes a frame", short(32), bytes}, {"bits", short(34), c.bits}, {"data size", long(40), len(b) - 44},
			{"odd bytes", len(b) % 2, 0}, {"missing samples", max(0, c.samples-(len(b)-44)/bytes), 0}, {"samples too many", max(0, (len(b)-44)/bytes-c.samples-1), 0},
		} {
			if field.got != field.want {
				t.Errorf("%d samples of %d bits: %s is %d, want %d", c.samples, c.bits, field.what, field.got, field.want)
			}
		}
		if string(b[:4]) != "RIFF" || string(b[8:16]) != "WAVEfmt " || string(b[36:40]) != "data" {
			t.Errorf("chunks %q %q %q", b[:4], b[8:16], b[36:40])
		}
	}
}

func TestSameProgrammeSameBytes(t *testing.T) {
	var files [2][]byte
	for i := range files {
		name := filepath.Join(t.TempDir(), "x.wav")
		out, err := os.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := tone.WriteWAV(context.Background(), out, music(22050, 0.3, []float64{220, 330}, []float64{221, 329}), 16); err != nil {
			t.Fatal(err)
		}
		out.Close()
		if files[i], err = os.ReadFile(name); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(files[0], files[1]) {
		t.Error("two files of one programme differ")
	}
}

func TestStopsWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	p := music(48000, 10, []float64{220, 330}, []float64{221, 329})
	heard := 0.0
	p.Progress = func(seconds float64) {
		if heard += seconds; heard > 50 { // of 80, so while writing
			cancel()
		}
	}
	file, err := os.Create(filepath.Join(t.TempDir(), "x.wav"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if _, err := tone.WriteWAV(ctx, file, p, 16); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	if heard > 51 {
		t.Errorf("went on to %g s", heard)
	}
}

type fullDisk struct{ *os.File }

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("no room") }

func TestWriteErrorsComeBack(t *testing.T) {
	if _, err := tone.WriteWAV(context.Background(), fullDisk{}, music(8000, 0.3, []float64{220}, []float64{220}), 16); err == nil || err.Error() == "" {
		t.Errorf("error %v", err)
	}
}
