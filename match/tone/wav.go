package tone

import (
	"context"
	"fmt"
	"io"
	"math"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
)

const pcm = 1 // the format of whole-number samples in a WAV header

// WriteWAV measures and writes a programme as a WAV file of one channel with 16
// or 24 bits a sample, rounded without dither, and gives the levels of its takes.
// Sound is made block by block, so memory does not grow with its length; w is at
// its beginning.
func WriteWAV(ctx context.Context, w io.WriteSeeker, p Programme, bits int) ([]Level, error) {
	if bits != 16 && bits != 24 {
		return nil, fmt.Errorf("%d bits a sample: give 16 or 24", bits)
	}
	levels, err := p.Levels(ctx)
	if err != nil {
		return nil, err
	}
	encoder := wav.NewEncoder(w, p.Rate, bits, 1, pcm)
	buffer := &audio.IntBuffer{Format: &audio.Format{NumChannels: 1, SampleRate: p.Rate}, SourceBitDepth: bits}
	scale := float64(int64(1) << (bits - 1))
	samples := 0
	err = p.Render(ctx, levels, func(block []float64) error {
		buffer.Data = buffer.Data[:0]
		for _, x := range block {
			buffer.Data = append(buffer.Data, int(math.RoundToEven(x*scale)))
		}
		samples += len(block)
		return encoder.Write(buffer)
	})
	if err != nil {
		return nil, err
	}
	if samples*bits/8%2 == 1 {
		// A chunk has an even number of bytes, which the encoder does not see to.
		buffer.Data = append(buffer.Data[:0], 0)
		if err := encoder.Write(buffer); err != nil {
			return nil, err
		}
	}
	return levels, encoder.Close()
}
