package recording

import "math"

// mixer brings sound to the rate of the analysis and makes one stream of it: the
// louder of two channels. Their sum is no better, and where microphones stand
// apart it loses some harmonics, so that notes seem an octave too high. Windows
// overlap: they are taken anew when the louder one changes, which leaves no trace.
type mixer struct {
	channels []channel
	follow   float64 // how fast an offset is followed, a sample
	keep     float64 // how much of the energies stays, a sample
	louder   int
	lower    []float64
}

// channel is one channel on its way.
type channel struct {
	decimator *decimator
	offset    float64 // a microphone may lie off nought
	energy    float64 // of the last second or so
	held      []float64
}

const (
	mixSeconds = 1.0
	offsetHz   = 10.0
	muchLouder = 2.0 // in energy: then the louder channel changes
)

func newMixer(channels, factor int, rate float64) mixer {
	m := mixer{follow: 1 - math.Exp(-2*math.Pi*offsetHz/rate), keep: math.Exp(-1 / (mixSeconds * rate))}
	for range channels {
		m.channels = append(m.channels, channel{decimator: newDecimator(factor)})
	}
	return m
}

// add takes in samples as recorded; right is looked at where there are two
// channels.
func (m *mixer) add(left, right []float64) {
	for i, in := range [][]float64{left, right}[:len(m.channels)] {
		c := &m.channels[i]
		m.lower = c.decimator.add(in, m.lower[:0])
		for _, x := range m.lower {
			c.offset += m.follow * (x - c.offset)
			c.held = append(c.held, x-c.offset)
		}
	}
}

// window gives the next n samples, good until the next call of add or drop; nil if
// they are not there yet.
func (m *mixer) window(n int) []float64 {
	if held := m.channels[m.louder].held; len(held) >= n {
		return held[:n]
	}
	return nil
}

// drop lets go of n samples, after weighing the channels by them.
func (m *mixer) drop(n int) {
	for i := range m.channels {
		c := &m.channels[i]
		for _, x := range c.held[:n] {
			c.energy = m.keep*c.energy + (1-m.keep)*x*x
		}
		c.held = c.held[:copy(c.held, c.held[n:])]
	}
	for i, c := range m.channels {
		if c.energy > muchLouder*m.channels[m.louder].energy {
			m.louder = i
		}
	}
}
