package tuning

import (
	"math"

	"centwise/catalog/pitch"
)

// supportWidth is the misalignment, in cents, at which a resonance of quality
// about 35, usual for a trumpet, answers with 1/sqrt 2 of its peak: a resonance
// of quality Q falls to that at df/f = 1/(2Q), which is 865/Q cents.
const supportWidth = 25.0

// Support says how well a setup's own resonances carry the harmonics of a note,
// 0..1; 1 when they are exactly harmonic. The second result is false when no
// resonance on a harmonic of the note is known.
//
// A note on partial n of some valves feeds the air column at 2n, 3n, 4n ...
// times the frequency of the n-th resonance. With deviations d from equal
// temperament and s_p the equal-tempered place of partial p in semitones, that
// resonance lies 100 s_n + d_n above the fundamental, its k-th harmonic
// 1200 log2 k above it, and the resonance there is to carry it 100 s_kn + d_kn.
// With E_p = 100 s_p - 1200 log2 p the difference is
//
//	delta_k = d_kn - d_n + E_kn - E_n   (cents)
//
// A resonance of quality Q misses a tone beside its peak by the Lorentz factor
// 1/sqrt(1 + (delta/width)^2), width = 865/Q = 25 cents at Q = 35. The higher a
// harmonic the less it helps, so that
//
//	support = sum_k 1/k / sqrt(1 + (delta_k/25)^2) / sum_k 1/k,   k = 2, 3, 4, kn known.
//
// It is an index for comparing setups. It predicts no shift in cents, and since
// played notes are pulled already, deviations from playing understate the misfit.
// Only differences between deviations on the same valves count, so whatever
// moves all of these together, a tuner or a tuning slide, makes no difference.
func Support(s pitch.Slot, deviation func(pitch.Slot) (cents float64, known bool)) (support float64, known bool) {
	return SupportOf(s, func(note, harmonic pitch.Slot) (float64, bool) {
		own, ok := deviation(note)
		if !ok {
			return 0, false
		}
		d, ok := deviation(harmonic)
		return d - own, ok
	})
}

// SupportOf is [Support] from the differences between deviations, d_kn - d_n in
// cents, of which each may come from measurements of its own.
func SupportOf(s pitch.Slot, difference func(note, harmonic pitch.Slot) (cents float64, known bool)) (support float64, known bool) {
	return SupportBy(s, func(h pitch.Slot, _ int) (float64, bool) {
		d, ok := difference(s, h)
		delta := d + seriesError[h.Partial] - seriesError[s.Partial]
		return 1 / math.Hypot(1, delta/supportWidth), ok
	})
}

// SupportBy is [Support] with another answer of the resonances than the Lorentz
// factor: how much of its height the resonance of the harmonic, number k of the
// note, has left at k times the note's frequency. From a curve of impedance that
// is |Z(k f_n)| / |Z(f_kn)|.
func SupportBy(s pitch.Slot, answer func(harmonic pitch.Slot, k int) (share float64, known bool)) (support float64, known bool) {
	sum, total := 0.0, 0.0
	for _, k := range harmonics {
		h, ok := Harmonic(s, k)
		if !ok {
			continue
		}
		share, ok := answer(h, k)
		if !ok {
			continue
		}
		weight := 1 / float64(k)
		sum += weight * share
		total += weight
	}
	if total == 0 {
		return 0, false
	}
	return sum / total, true
}

// seriesError is E of every partial: equal temperament less the harmonic series.
var seriesError = func() (e [pitch.MaxPartial + 1]float64) {
	for p := 1; p < len(e); p++ {
		e[p] = -pitch.HarmonicCents(p)
	}
	return e
}()

// harmonics are the multiples of a note's frequency that Support looks at.
var harmonics = [3]int{2, 3, 4}

// Harmonic is the slot whose resonance carries the k-th harmonic of a slot;
// false when it is beyond the partials the catalog has a place for.
func Harmonic(s pitch.Slot, k int) (pitch.Slot, bool) {
	h := pitch.Slot{Valves: s.Valves, Partial: k * s.Partial}
	return h, h.Valid()
}

// MeanSupport is the mean support of the slots whose support is known; false
// when none is.
func MeanSupport(slots []pitch.Slot, deviation func(pitch.Slot) (float64, bool)) (float64, bool) {
	return MeanKnown(slots, func(s pitch.Slot) (float64, bool) { return Support(s, deviation) })
}

// MeanKnown is the mean of a value over the slots for which it is known; false
// when it is known for none.
func MeanKnown(slots []pitch.Slot, value func(pitch.Slot) (float64, bool)) (float64, bool) {
	sum, n := 0.0, 0
	for _, s := range slots {
		if v, ok := value(s); ok {
			sum += v
			n++
		}
	}
	if n == 0 {
		return 0, false
	}
	return sum / float64(n), true
}
