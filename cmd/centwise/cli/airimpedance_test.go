package cli

import (
	"math"
	"testing"
)

// A curve has two points at least, or there is nothing to draw.
func TestCurveSteps(t *testing.T) {
	for _, tc := range []struct {
		step    float64
		refused bool
	}{{1, false}, {100, false}, {101, true}, {math.Inf(1), true}, {math.NaN(), true}, {0, true}, {-1, true}, {1e-4, true}} {
		o := airImpedanceOptions{from: 50, to: 150, step: tc.step}
		if _, _, err := o.span(nil); usageOf(err, "makes no curve") != tc.refused || (err != nil) != tc.refused {
			t.Errorf("a step of %g Hz: %v", tc.step, err)
		}
	}
}
