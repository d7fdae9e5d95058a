package match

import (
	"math"
	"slices"

	"centwise/match/fit"
	"centwise/match/tuning"
)

// NoteCents names a written note and a size in cents.
type NoteCents struct {
	Note  string  `json:"note"`
	Cents float64 `json:"cents"`
}

// Verdict is the judgement of one setup.
type Verdict struct {
	// ErrorCents is the expected error: the root mean square, over the joint
	// draws, of what is left to the lip after the best slide and throws of each
	// draw. So it holds the uncertainty of the prediction too.
	ErrorCents float64 `json:"error_cents"`
	// Low and High bound the error with 80 % chance: its 10 % and 90 % quantiles.
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	// TypicalSD is the standard deviation of the profile on a typical note: the
	// median over the notes.
	TypicalSD float64 `json:"typical_sd"`
	// ChanceTolerable is the chance that the error is within the tolerance.
	ChanceTolerable float64 `json:"chance_tolerable"`
	// Support is the mean harmonic support of the notes, null when unknown.
	Support *float64 `json:"support"`
	// Worst, Sharpest and Flattest are what the expected profile leaves to the lip.
	Worst    NoteCents `json:"worst"`
	Sharpest NoteCents `json:"sharpest"`
	Flattest NoteCents `json:"flattest"`
	// Beyond counts the notes left more than 5, 10 and 15 cents out.
	Beyond [3]int `json:"beyond_5_10_15"`
}

// wideCents is the half width of the typical 80 % interval above which a profile
// is said to be uncertain: horn, mouthpiece and player that are not known at
// all give about 10 cents, well measured ones less than 5.
const wideCents = 6.0

// Wide gives the half width of the 80 % interval of a typical note, and whether
// it is so wide that the profile is a first guess.
func (v Verdict) Wide() (halfWidthCents float64, wide bool) {
	half := z80 * v.TypicalSD
	return half, half > wideCents
}

// judge gives the verdict on a prediction whose first slots are the problem's,
// and the error of every draw. A prediction without draws is taken for certain.
func (p plan) judge(x fit.Prediction, support bool) (Verdict, tuning.Result, []float64) {
	var result tuning.Result
	verdict, errs := p.judgeInto(&result, x, support)
	return verdict, result, errs
}

// judgeInto is judge into a result whose memory it uses again.
func (p plan) judgeInto(result *tuning.Result, x fit.Prediction, support bool) (Verdict, []float64) {
	n := len(p.problem.Slots())
	p.problem.SolveInto(result, x.Mean[:n])
	errs := make([]float64, len(x.Draws))
	p.problem.Errors(errs, x.Draws)
	if len(errs) == 0 {
		errs = []float64{result.ErrorCents}
	}
	v := summary(errs, p.tolerance)
	at := func(j int) NoteCents {
		note := result.Notes[j]
		return NoteCents{note.Slot.Note().String(), note.Left}
	}
	v.Worst, v.Sharpest, v.Flattest = at(result.Worst), at(result.Sharpest), at(result.Flattest)
	v.Beyond = result.Beyond
	v.TypicalSD = median(x.SD[:n])
	if support {
		if mean, ok := tuning.MeanSupport(p.problem.Slots(), p.at.of(x.Mean)); ok {
			v.Support = &mean
		}
	}
	return v, errs
}

// summary gives the part of a verdict that rests on the errors of the draws.
func summary(errs []float64, tolerance float64) Verdict {
	var room [256]float64
	sorted := append(room[:0], errs...)
	slices.Sort(sorted)
	v := Verdict{Low: quantile(sorted, 0.1), High: quantile(sorted, 0.9)}
	within, _ := slices.BinarySearchFunc(sorted, tolerance, func(e, tolerance float64) int {
		if e <= tolerance {
			return -1
		}
		return 1
	})
	v.ChanceTolerable = float64(within) / float64(len(errs))
	sum := 0.0
	for _, e := range sorted {
		sum += e * e
	}
	v.ErrorCents = math.Sqrt(sum / float64(len(errs)))
	return v
}

// quantile is the q-quantile of sorted values, interpolated between the order
// statistics (definition 7 of Hyndman & Fan 1996, from memory).
func quantile(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
