// Package tonetest measures sound in tests, by other means than those that made
// it.
package tonetest

import (
	"bytes"
	"fmt"
	"math"
	"math/cmplx"
	"os"

	"github.com/go-audio/wav"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/dsp/window"
)

// Sound is what a WAV file of one channel holds; 1 is full scale.
type Sound struct {
	Rate, Bits int
	Samples    []float64
}

// Read decodes a WAV file of one channel.
func Read(path string) (Sound, error) {
	content, err := os.ReadFile(path) // the decoder reads files sample by sample
	if err != nil {
		return Sound{}, err
	}
	d := wav.NewDecoder(bytes.NewReader(content))
	if !d.IsValidFile() {
		return Sound{}, fmt.Errorf("not a WAV file: %w", d.Err())
	}
	buffer, err := d.FullPCMBuffer()
	if err != nil {
		return Sound{}, err
	}
	if d.NumChans != 1 || d.WavAudioFormat != 1 {
		return Sound{}, fmt.Errorf("%d channels in format %d, want one of whole numbers", d.NumChans, d.WavAudioFormat)
	}
	s := Sound{Rate: int(d.SampleRate), Bits: int(d.BitDepth), Samples: make([]float64, len(buffer.Data))}
	for i, x := range buffer.Data {
		s.Samples[i] = float64(x) / math.Exp2(float64(s.Bits-1))
	}
	return s, nil
}

// Seconds is the length of the sound.
func (s Sound) Seconds() float64 { return float64(len(s.Samples)) / float64(s.Rate) }

// Between gives the part from one time to another, in s.
func (s Sound) Between(from, to float64) Sound {
	at := func(seconds float64) int {
		return min(len(s.Samples), max(0, int(math.Round(seconds*float64(s.Rate)))))
	}
	s.Samples = s.Samples[at(from):at(to)]
	return s
}

// Hz measures the frequency of the strongest partial within reach Hz of near, by
// how far its phase moves on between two spectra a quarter of their length
// apart. The sound must be steady, and other partials eight bins away, where a
// bin is the rate over the largest power of two within 4/5 of the samples: the
// four-term Blackman-Harris window keeps them 92 dB down (F. J. Harris, Proc.
// IEEE 66(1), 1978, 51-83, table 1, from memory).
func (s Sound) Hz(near, reach float64) float64 {
	n := 1
	for 2*n+2*n/4 <= len(s.Samples) {
		n *= 2
	}
	hop := n / 4
	first, second := spectrum(s.Samples[:n]), spectrum(s.Samples[hop:hop+n])
	bin := float64(s.Rate) / float64(n)
	best := -1
	for k := max(1, int((near-reach)/bin)); k < len(first) && float64(k)*bin <= near+reach+bin; k++ {
		if best < 0 || cmplx.Abs(first[k]) > cmplx.Abs(first[best]) {
			best = k
		}
	}
	moved := cmplx.Phase(second[best]/first[best]) / (2 * math.Pi) // cycles, whole ones missing
	whole := math.Round(float64(best)*float64(hop)/float64(n) - moved)
	return (whole + moved) * float64(s.Rate) / float64(hop)
}

// Spectrum gives the amplitude of a sine at each multiple of Rate/n, n the
// largest power of two that the sound holds.
func (s Sound) Spectrum() (amplitudes []float64, bin float64) {
	n := 1
	for 2*n <= len(s.Samples) {
		n *= 2
	}
	const gain = 0.35875 // mean of the window
	for _, c := range spectrum(s.Samples[:n]) {
		amplitudes = append(amplitudes, 2*cmplx.Abs(c)/(float64(n)*gain))
	}
	return amplitudes, float64(s.Rate) / float64(n)
}

func spectrum(samples []float64) []complex128 {
	windowed := window.BlackmanHarris(append([]float64(nil), samples...))
	return fourier.NewFFT(len(windowed)).Coefficients(nil, windowed)
}
