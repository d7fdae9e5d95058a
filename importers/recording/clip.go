package recording

import "math"

// clipping finds samples at full scale in a row: the recorder could not follow.
type clipping struct {
	limit float64
	found bool
}

// inARow is how many samples at full scale are no chance.
const inARow = 3

func newClipping(f Format) clipping {
	if f.Float {
		return clipping{limit: 0.9999}
	}
	return clipping{limit: 1 - 1.5*math.Exp2(1-float64(min(f.Bits, 16)))}
}

// in tells whether a block is clipped.
func (c *clipping) in(block []float64) bool {
	row := 0
	for _, x := range block {
		if math.Abs(x) < c.limit {
			row = 0
			continue
		}
		if row++; row == inARow {
			c.found = true
			return true
		}
	}
	return false
}
