package show

import (
	"math"
	"strings"
)

// Scale is the size in cents that reaches the end of a bar, chosen so that the
// largest of the values fits: 10, 20, 30, 50, 75, 100 or 150.
func Scale(values ...[]float64) float64 {
	largest := 0.0
	for _, list := range values {
		for _, v := range list {
			largest = max(largest, math.Abs(v))
		}
	}
	for _, s := range []float64{10, 20, 30, 50, 75, 100} {
		if largest <= s {
			return s
		}
	}
	return 150
}

// Bar draws a deviation in cents as a bar from an axis in the middle: flat to
// the left, sharp to the right, with a lighter band on to the far end of
// low..high. What passes the scale ends in a mark.
func Bar(s Style, width int, cents, low, high, scale float64) string {
	g := s.glyphs()
	half := (width - 1) / 2
	left := side(g, half, -cents, -low, scale, true)
	right := side(g, half, cents, high, scale, false)
	switch tone := ToneOf(cents); tone {
	case Flat:
		left = s.Paint(tone, left)
	case Sharp:
		right = s.Paint(tone, right)
	}
	return left + g.axis + right
}

// side draws the half of a bar on one side of the axis; value and reach count
// away from it.
func side(g glyphs, cells int, value, reach, scale float64, mirrored bool) string {
	if value < 0 {
		value = 0
	}
	halves := int(math.Round(2 * float64(cells) * min(1, value/scale)))
	solid := halves / 2
	parts := make([]string, 0, cells)
	for range solid {
		parts = append(parts, g.full)
	}
	if halves%2 == 1 {
		parts = append(parts, pick(mirrored, g.halfLeft, g.halfRight))
	}
	band := int(math.Round(float64(cells) * min(1, max(0, reach)/scale)))
	for len(parts) < band {
		parts = append(parts, g.band)
	}
	for len(parts) < cells {
		parts = append(parts, " ")
	}
	if value > scale && cells > 0 {
		parts[cells-1] = pick(mirrored, mirror(g.clip), g.clip)
	}
	if mirrored {
		for i, j := 0, len(parts)-1; i < j; i, j = i+1, j-1 {
			parts[i], parts[j] = parts[j], parts[i]
		}
	}
	return strings.Join(parts, "")
}

func pick(first bool, a, b string) string {
	if first {
		return a
	}
	return b
}

func mirror(s string) string {
	return strings.NewReplacer("›", "‹", ">", "<").Replace(s)
}
