package tone

import (
	"context"
	"fmt"
	"math"
)

// Limits of a programme.
const (
	MinRate    = 8000
	MaxRate    = 192000
	MaxSeconds = 3600
	MinLUFS    = -50
	MaxLUFS    = -10
)

// Programme is takes one after the other with silence between them.
type Programme struct {
	Rate        int // samples a second, MinRate..MaxRate
	Takes       []Take
	LeadSeconds float64 // silence before the first take and after the last
	GapSeconds  float64 // silence between takes
	// LUFS is the loudness wanted of every take, MinLUFS..MaxLUFS. PeakDB is
	// the highest true peak allowed, in dB of full scale, below 0.
	LUFS, PeakDB float64
	// Progress, if set, is told of seconds of sound that were worked on. Every
	// second is worked on twice, once to measure and once to write.
	Progress func(seconds float64)
}

// Level is how loud a take comes out.
type Level struct {
	LUFS   float64 // integrated loudness, ITU-R BS.1770-4
	PeakDB float64 // true peak, dB of full scale
	gain   float64 // what the samples of the take are multiplied by
}

// Starts gives when each take starts, in s from the beginning.
func (p Programme) Starts() []float64 {
	out := make([]float64, len(p.Takes))
	at := p.LeadSeconds
	for i, t := range p.Takes {
		out[i] = at
		at += t.Seconds() + p.GapSeconds
	}
	return out
}

// Seconds is how long the whole lasts.
func (p Programme) Seconds() float64 {
	if len(p.Takes) == 0 {
		return 0
	}
	last := len(p.Takes) - 1
	return p.Starts()[last] + p.Takes[last].Seconds() + p.LeadSeconds
}

// Check finds what keeps a programme from being rendered.
func (p Programme) Check() error {
	switch {
	case p.Rate < MinRate || p.Rate > MaxRate:
		return fmt.Errorf("%d samples a second: give %d to %d", p.Rate, MinRate, MaxRate)
	case len(p.Takes) == 0:
		return fmt.Errorf("nothing to play")
	case !(p.LeadSeconds >= 0 && p.GapSeconds >= 0):
		return fmt.Errorf("silence of %g and %g s: give nought or more", p.LeadSeconds, p.GapSeconds)
	case !(p.LUFS >= MinLUFS && p.LUFS <= MaxLUFS):
		return fmt.Errorf("a loudness of %g LUFS: give %d to %d", p.LUFS, MinLUFS, MaxLUFS)
	case !(p.PeakDB < 0 && p.PeakDB >= -60):
		return fmt.Errorf("a peak of %g dB: give less than 0, at least -60", p.PeakDB)
	}
	for i, t := range p.Takes {
		if err := t.check(p.Rate); err != nil {
			return fmt.Errorf("take %d: %w", i+1, err)
		}
	}
	if s := p.Seconds(); !(s <= MaxSeconds) {
		return &TooLongError{s}
	}
	return nil
}

// TooLongError says that a programme would last longer than MaxSeconds.
type TooLongError struct{ Seconds float64 }

func (e *TooLongError) Error() string {
	return fmt.Sprintf("it would last %.0f minutes; %d is the limit", math.Ceil(e.Seconds/60), MaxSeconds/60)
}

// Levels measures the takes and says how loud they come out: all alike, at the
// loudness wanted or as much below as the limit of the peaks asks for.
func (p Programme) Levels(ctx context.Context) ([]Level, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	out := make([]Level, len(p.Takes))
	excess := 0.0 // dB
	for i, t := range p.Takes {
		raw, err := p.measure(ctx, t)
		if err != nil {
			return nil, err
		}
		change := p.LUFS - raw.LUFS
		if math.IsNaN(change) || math.IsInf(change, 0) {
			return nil, fmt.Errorf("take %d is too short or too soft to measure", i+1)
		}
		out[i] = Level{LUFS: p.LUFS, PeakDB: raw.PeakDB + change, gain: change}
		excess = max(excess, out[i].PeakDB-p.PeakDB)
	}
	for i := range out {
		l := &out[i]
		l.LUFS, l.PeakDB, l.gain = l.LUFS-excess, l.PeakDB-excess, math.Pow(10, (l.gain-excess)/20)
	}
	return out, nil
}

// measure gives loudness and peak of a take as it is made.
func (p Programme) measure(ctx context.Context, t Take) (Level, error) {
	loudness, peak := newMeter(p.Rate), &peakMeter{}
	err := newRenderer(t, p.Rate).each(ctx, func(block []float64) error {
		loudness.write(block)
		peak.write(block)
		p.progress(len(block))
		return nil
	})
	return Level{LUFS: loudness.loudness(), PeakDB: peak.level()}, err
}

func (p Programme) progress(samples int) {
	if p.Progress != nil {
		p.Progress(float64(samples) / float64(p.Rate))
	}
}

// Render gives the samples of the whole to emit, block by block, at the levels
// that [Programme.Levels] found. 1 is full scale. A block is good until emit
// returns.
func (p Programme) Render(ctx context.Context, levels []Level, emit func(block []float64) error) error {
	at := int64(0)
	for i, start := range p.Starts() {
		if err := silence(samplesIn(start, p.Rate)-at, emit); err != nil {
			return err
		}
		at = samplesIn(start, p.Rate)
		err := newRenderer(p.Takes[i], p.Rate).each(ctx, func(block []float64) error {
			for n := range block {
				block[n] *= levels[i].gain
			}
			at += int64(len(block))
			p.progress(len(block))
			return emit(block)
		})
		if err != nil {
			return err
		}
	}
	return silence(samplesIn(p.Seconds(), p.Rate)-at, emit)
}

func silence(samples int64, emit func(block []float64) error) error {
	block := make([]float64, blockSize)
	for samples > 0 {
		n := min(samples, blockSize)
		clear(block)
		if err := emit(block[:n]); err != nil {
			return err
		}
		samples -= n
	}
	return nil
}

// Loudness measures one channel of samples: its integrated loudness in LUFS and
// its true peak in dB of full scale, both -Inf for silence.
func Loudness(samples []float64, rate int) (lufs, peakDB float64) {
	loudness, peak := newMeter(rate), &peakMeter{}
	loudness.write(samples)
	peak.write(samples)
	return loudness.loudness(), peak.level()
}
