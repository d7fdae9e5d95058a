package simulate

import (
	"math"

	"centwise/catalog/pitch"
)

// Slots are the 45 slots that simulated sessions may read: seven valve
// combinations with the partials 2, 3, 4, 5, 6 and 8, and the open partials 7,
// 9 and 10. Every vector over slots in this package is in this order.
var Slots = func() []pitch.Slot {
	var out []pitch.Slot
	for _, text := range []string{"0", "2", "1", "12", "23", "13", "123"} {
		v, err := pitch.ParseValves(text)
		if err != nil {
			panic("simulate: " + err.Error())
		}
		for _, partial := range []int{2, 3, 4, 5, 6, 8} {
			out = append(out, pitch.Slot{Valves: v, Partial: partial})
		}
	}
	for _, partial := range []int{7, 9, 10} {
		out = append(out, pitch.Slot{Partial: partial})
	}
	return out
}()

// Usual gives the places in [Slots] of the 31 usual notes F#3..C6, upwards.
var Usual = func() []int {
	var out []int
	for _, s := range pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) {
		out = append(out, slotIndex[s])
	}
	return out
}()

// Throwless gives the places of the usual notes without the valves 13 and 123,
// whose slides are thrown while playing: 27 notes, on which setups are ranked.
var Throwless = func() []int {
	var out []int
	for _, j := range Usual {
		if v := Slots[j].Valves; !v.Uses(1) || !v.Uses(3) {
			out = append(out, j)
		}
	}
	return out
}()

var slotIndex = func() map[pitch.Slot]int {
	index := make(map[pitch.Slot]int, len(Slots))
	for j, s := range Slots {
		index[s] = j
	}
	return index
}()

// SlotIndex is the place of s in [Slots]; false if it has none.
func SlotIndex(s pitch.Slot) (int, bool) {
	j, ok := slotIndex[s]
	return j, ok
}

// Coordinates of the slots: height is the log frequency and series the log
// partial, both scaled to 0..1 over the slots; shorter is 1/r(v).
var height, series, shorter = func() (h, s, r []float64) {
	low, high := math.Inf(1), math.Inf(-1)
	var o []float64 // octaves above the open second partial
	for _, slot := range Slots {
		x := float64(slot.Note()-pitch.Slot{Partial: 2}.Note()) / 12
		o = append(o, x)
		low, high = min(low, x), max(high, x)
		s = append(s, math.Log2(float64(slot.Partial)/2)/math.Log2(5))
		r = append(r, 1/slot.Valves.Ratio())
	}
	for _, x := range o {
		h = append(h, (x-low)/(high-low))
	}
	return h, s, r
}()

// SlideShape is the effect on each slot of a pull of the tuning slide that
// moves the open notes by one cent: 1/r(v).
func SlideShape() []float64 { return append([]float64(nil), shorter...) }

// Centred is v with its mean over the 31 usual notes removed: the relative
// profile, which is all that can be known of a setup.
func Centred(v []float64) []float64 {
	out := make([]float64, len(v))
	mean := meanAt(v, Usual)
	for j, x := range v {
		out[j] = x - mean
	}
	return out
}

func meanAt(v []float64, at []int) float64 {
	sum := 0.0
	for _, j := range at {
		sum += v[j]
	}
	return sum / float64(len(at))
}

// Spread is the root mean square of v over the places at, after the best
// constant shift.
func Spread(v []float64, at []int) float64 {
	mean, sum := meanAt(v, at), 0.0
	for _, j := range at {
		sum += (v[j] - mean) * (v[j] - mean)
	}
	return math.Sqrt(sum / float64(len(at)))
}
