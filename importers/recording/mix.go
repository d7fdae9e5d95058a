package recording

import "math"

// mixer makes one stream of one or two channels at the rate of the analysis.
// Usually that is their sum. Where they cancel out, or one is silent, it is the
// louder one. Windows overlap: what was mixed one way is mixed anew the other
// way, so a change of mind leaves no trace but in one frame.
type mixer struct {
	channels []channel
	follow   float64    // how fast an offset is followed, a sample
	keep     float64    // how much of the energies stays, a sample
	energy   [3]float64 // of the last second or so, by source
	source   source
	mixed    []float64
	lower    []float64
}

// channel is one channel on its way.
type channel struct {
	decimator *decimator
	offset    float64 // a microphone may lie off nought
	held      []float64
}

// source is what the mixer gives.
type source int

const (
	both source = iota
	onlyLeft
	onlyRight
)

const (
	mixSeconds  = 1.0
	offsetHz    = 10.0
	lostShare   = 0.3  // of the louder channel's energy: the sum has lost it
	foundShare  = 0.45 // and has it again
	oneIsSilent = 1e-3 // energy of one channel beside the other: its noise would only add
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

// window gives the next n samples, good until the next call; nil if they are not
// there yet.
func (m *mixer) window(n int) []float64 {
	if len(m.channels[0].held) < n {
		return nil
	}
	left := m.channels[0].held[:n]
	if len(m.channels) == 1 {
		return left
	}
	right := m.channels[1].held[:n]
	switch m.source {
	case onlyLeft:
		return left
	case onlyRight:
		return right
	}
	m.mixed = m.mixed[:0]
	for i, x := range left {
		m.mixed = append(m.mixed, (x+right[i])/2)
	}
	return m.mixed
}

// drop lets go of n samples, after weighing the channels by them.
func (m *mixer) drop(n int) {
	if len(m.channels) == 2 {
		m.weigh(m.channels[0].held[:n], m.channels[1].held[:n])
	}
	for i := range m.channels {
		c := &m.channels[i]
		c.held = c.held[:copy(c.held, c.held[n:])]
	}
}

// weigh decides which source is best.
func (m *mixer) weigh(left, right []float64) {
	for i, x := range left {
		y := right[i]
		mid := (x + y) / 2
		for s, z := range [...]float64{both: mid, onlyLeft: x, onlyRight: y} {
			m.energy[s] = m.keep*m.energy[s] + (1-m.keep)*z*z
		}
	}
	louder, softer := onlyLeft, onlyRight
	if m.energy[onlyRight] > m.energy[onlyLeft] {
		louder, softer = softer, louder
	}
	most, least := m.energy[louder], m.energy[softer]
	switch {
	case m.energy[both] < lostShare*most && least > oneIsSilent*most, least < oneIsSilent*most:
		m.source = louder
	case m.energy[both] > foundShare*most && least > 2*oneIsSilent*most:
		m.source = both
	}
}
