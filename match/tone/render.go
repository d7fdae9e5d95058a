package tone

import (
	"context"
	"math"
)

// blockSize is how many samples are made at a time.
const blockSize = 8192

// renderer gives the samples of a take block by block. Besides the notes it
// holds only the voices that sound in the block.
type renderer struct {
	rate    int
	rest    Take // notes still to begin, by their beginnings
	playing []*voice
	at, end int64
	block   []float64
}

func newRenderer(t Take, rate int) *renderer {
	return &renderer{rate: rate, rest: t.sorted(), end: samplesIn(t.Seconds(), rate), block: make([]float64, blockSize)}
}

func samplesIn(seconds float64, rate int) int64 { return int64(math.Round(seconds * float64(rate))) }

// next gives the next block, which is good until the next call; nil at the end.
func (r *renderer) next() []float64 {
	block := r.block[:min(blockSize, r.end-r.at)]
	if len(block) == 0 {
		return nil
	}
	clear(block)
	until := r.at + int64(len(block))
	for len(r.rest) > 0 && samplesIn(r.rest[0].Start, r.rate) < until {
		r.playing = append(r.playing, newVoice(r.rest[0], r.rate))
		r.rest = r.rest[1:]
	}
	sounding := r.playing[:0]
	for _, v := range r.playing {
		v.addTo(block, r.at)
		if v.end > until {
			sounding = append(sounding, v)
		}
	}
	clear(r.playing[len(sounding):])
	r.playing, r.at = sounding, until
	return block
}

// each calls f with every block of the take until it fails or ctx ends.
func (r *renderer) each(ctx context.Context, f func(block []float64) error) error {
	for block := r.next(); block != nil; block = r.next() {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := f(block); err != nil {
			return err
		}
	}
	return nil
}
