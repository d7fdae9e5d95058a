package tuning

import (
	"fmt"
	"slices"
	"strings"

	"centwise/catalog/pitch"
)

// Weights say how much each written note counts. Only their proportions
// matter. A nil Weights counts every note alike; in any other, a note that is
// missing does not count.
type Weights map[pitch.Note]float64

// Of is the weight of a note.
func (w Weights) Of(n pitch.Note) float64 {
	if w == nil {
		return 1
	}
	return w[n]
}

// Register is a part of the written range that a player may care most about.
type Register string

// The registers: up to F#4 on the second and third partial, G4 to F#5 on the
// third to sixth, G5 and above (common practice, no source).
const (
	RegisterEven   Register = "even"
	RegisterLow    Register = "low"
	RegisterMiddle Register = "middle"
	RegisterHigh   Register = "high"
)

// Registers lists the presets in the order of the range, even first.
var Registers = []Register{RegisterEven, RegisterLow, RegisterMiddle, RegisterHigh}

// RegisterEmphasis is how many times a note of the preferred register counts;
// the others count once, so that no note may be forgotten.
const RegisterEmphasis = 3.0

var registerTops = map[Register]pitch.Note{RegisterLow: 66, RegisterMiddle: 78, RegisterHigh: 127}

// ParseRegister reads the name of a preset.
func ParseRegister(text string) (Register, error) {
	r := Register(strings.ToLower(strings.TrimSpace(text)))
	if !slices.Contains(Registers, r) {
		return "", fmt.Errorf("%q is not a register: use even, low, middle or high", text)
	}
	return r, nil
}

// registerOf is the register a note lies in.
func registerOf(n pitch.Note) Register {
	for _, r := range Registers[1:] {
		if n <= registerTops[r] {
			return r
		}
	}
	return RegisterHigh
}

// Emphasis gives the weights of a preset for the notes low..high: 3 within the
// register, 1 elsewhere; nil (even) for RegisterEven and "".
func Emphasis(r Register, low, high pitch.Note) Weights {
	if r == RegisterEven || r == "" {
		return nil
	}
	w := Weights{}
	for n := low; n <= high; n++ {
		w[n] = 1
		if registerOf(n) == r {
			w[n] = RegisterEmphasis
		}
	}
	return w
}
