package pitch

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Valves is a set of pressed valves: bit 0 is the first valve, bit 3 the fourth.
type Valves uint8

const allValves = 4

// valveSemitones is what each valve lowers, in semitones. The fourth valve of
// four-valve trumpets and piccolos adds a perfect fourth (common practice, no source).
var valveSemitones = [allValves]int{2, 1, 3, 5}

// ThreeValveCombinations lists the combinations of three valves from the
// shortest to the longest tube; 12 comes before its alternate 3.
var ThreeValveCombinations = []Valves{0, v2, v1, v1 | v2, v3, v2 | v3, v1 | v3, v1 | v2 | v3}

const (
	v1 Valves = 1 << iota
	v2
	v3
	v4
)

var valveJoints = strings.NewReplacer("-", "", "+", "", " ", "")

// ParseValves reads pressed valves as digits, "0" for none: 0, 2, 13, 123, 24.
// The order of the digits does not matter; a dash or plus between them is read too.
func ParseValves(text string) (Valves, error) {
	s := strings.TrimSpace(text)
	if strings.ContainsAny(s, "-+ ") {
		s = valveJoints.Replace(s)
	}
	if s == "0" {
		return 0, nil
	}
	var v Valves
	for _, c := range s {
		if c < '1' || c > '0'+allValves || v&(1<<(c-'1')) != 0 {
			return 0, fmt.Errorf("%q is not a fingering: write the pressed valves as digits, as in 13, or 0 for none", text)
		}
		v |= 1 << (c - '1')
	}
	if v == 0 {
		return 0, fmt.Errorf("the fingering is empty: write the pressed valves as digits, as in 13, or 0 for none")
	}
	return v, nil
}

// String gives the pressed valves as digits, "0" when none is.
func (v Valves) String() string {
	if v == 0 {
		return "0"
	}
	var b strings.Builder
	for i := range allValves {
		if v.Uses(i + 1) {
			b.WriteByte(byte('1' + i))
		}
	}
	return b.String()
}

// Uses reports whether the given valve, counted from 1, is pressed.
func (v Valves) Uses(valve int) bool { return v&(1<<(valve-1)) != 0 }

// Semitones is how far the combination lowers the open instrument, nominally.
func (v Valves) Semitones() int {
	sum := 0
	for i, s := range valveSemitones {
		if v.Uses(i + 1) {
			sum += s
		}
	}
	return sum
}

// Ratio is r(v), the effective length of the combination relative to the open
// instrument: 2^(s/12), s the semitones lowered.
func (v Valves) Ratio() float64 { return math.Exp2(float64(v.Semitones()) / 12) }

// MaxPartial is the highest partial that has a place in the catalog.
const MaxPartial = 12

// Slot is one way to produce a note: a valve combination and the number of the
// partial sounded, 1 being the pedal.
type Slot struct {
	Valves  Valves
	Partial int
}

// partialSemitones is the equal-tempered position of each partial above the
// first, in semitones.
var partialSemitones = [MaxPartial + 1]int{0, 0, 12, 19, 24, 28, 31, 34, 36, 38, 40, 42, 43}

const openPedal Note = 48 // written C3

// Valid reports whether the partial is within 1..[MaxPartial] and the valves exist.
func (s Slot) Valid() bool {
	return s.Partial >= 1 && s.Partial <= MaxPartial && s.Valves < 1<<allValves
}

// Note is the written note that the slot is used for.
func (s Slot) Note() Note {
	return openPedal + Note(partialSemitones[s.Partial]-s.Valves.Semitones())
}

// String writes the slot as fingering/partial, as in 13/3.
func (s Slot) String() string { return fmt.Sprintf("%s/%d", s.Valves, s.Partial) }

// Compare orders slots by note, then by partial, then by valves.
func (s Slot) Compare(t Slot) int {
	if d := int(s.Note() - t.Note()); d != 0 {
		return d
	}
	if d := s.Partial - t.Partial; d != 0 {
		return d
	}
	return int(s.Valves) - int(t.Valves)
}

// ParseSlot reads fingering/partial, as in 13/3 or 0/2.
func ParseSlot(text string) (Slot, error) {
	fingering, partial, ok := strings.Cut(text, "/")
	if !ok {
		return Slot{}, fmt.Errorf("%q is not a slot: write fingering/partial, as in 13/3", text)
	}
	v, err := ParseValves(fingering)
	if err != nil {
		return Slot{}, err
	}
	p, err := ParsePartial(partial)
	if err != nil {
		return Slot{}, err
	}
	return Slot{v, p}, nil
}

// ParsePartial reads the number of a partial, 1 to [MaxPartial].
func ParsePartial(text string) (int, error) {
	s := strings.TrimSpace(text)
	p := 0
	for _, c := range s {
		if c < '0' || c > '9' || p > MaxPartial {
			p = 0
			break
		}
		p = 10*p + int(c-'0')
	}
	if p < 1 || p > MaxPartial {
		return 0, fmt.Errorf("%q is not a partial: use a whole number from 1 to %d", text, MaxPartial)
	}
	return p, nil
}

// HarmonicCents is the position of harmonic n relative to the nearest
// equal-tempered note used for it, in cents: 1200 log2 n minus that note's
// distance from the fundamental (n = 5: -13.69; 11: -48.68). n is 1..MaxPartial.
func HarmonicCents(n int) float64 {
	return 1200*math.Log2(float64(n)) - 100*float64(partialSemitones[n])
}

// usualFingerings gives, for each partial in use, the combinations that are the
// usual slot of a note (common practice, no source). Three valves.
var usualFingerings = []struct {
	partial int
	valves  []string
}{
	{2, []string{"123", "13", "23", "12", "1", "2", "0"}},
	{3, []string{"123", "13", "23", "12", "1", "2", "0"}},
	{4, []string{"23", "12", "1", "2", "0"}},
	{5, []string{"12", "1", "2", "0"}},
	{6, []string{"1", "2", "0"}},
	{8, []string{"23", "12", "1", "2", "0"}},
	{10, []string{"12", "1", "2", "0"}},
	{12, []string{"1", "2", "0"}},
}

// fourthValveFor replaces long combinations by the fourth valve where one is
// fitted, and lowFour are the notes below the three-valve range, downwards from
// F3 (common practice, no source).
var (
	fourthValveFor = map[Valves]Valves{v1 | v3: v4, v1 | v2 | v3: v2 | v4}
	lowFour        = []Valves{v1 | v4, v1 | v2 | v4, v2 | v3 | v4, v1 | v3 | v4, v1 | v2 | v3 | v4}
)

var usualSlots = func() (table [allValves + 1]map[Note]Slot) {
	table[3], table[4] = map[Note]Slot{}, map[Note]Slot{}
	for _, row := range usualFingerings {
		for _, text := range row.valves {
			v, err := ParseValves(text)
			if err != nil {
				panic("pitch: " + err.Error())
			}
			s := Slot{v, row.partial}
			table[3][s.Note()] = s
			if short, ok := fourthValveFor[v]; ok {
				s.Valves = short
			}
			table[4][s.Note()] = s
		}
	}
	for _, v := range lowFour {
		s := Slot{v, 2}
		table[4][s.Note()] = s
	}
	return table
}()

// Lowest and highest notes that have a usual slot, and the default range in
// which setups are judged: F#3..C6, 31 notes.
const (
	RangeLow  Note = 54 // F#3
	RangeHigh Note = 84 // C6
	TopUsual  Note = 91 // G6
)

// UsualSlot is the usual way to play a written note on an instrument with three
// or four valves. The second result is false when the note has none.
func UsualSlot(n Note, valves int) (Slot, bool) {
	s, ok := usualSlots[max(3, min(valves, allValves))][n]
	return s, ok
}

// UsualSlots lists the usual slots of the notes low..high, upwards.
func UsualSlots(low, high Note, valves int) []Slot {
	var out []Slot
	for n := low; n <= high; n++ {
		if s, ok := UsualSlot(n, valves); ok {
			out = append(out, s)
		}
	}
	return out
}

// SlotsFor lists every slot that gives a written note, partials 2 and up, on
// three or four valves: the usual one first, then by rising tube length.
func SlotsFor(n Note, valves int) []Slot {
	var out []Slot
	usual, known := UsualSlot(n, valves)
	for v := range Valves(1) << max(3, min(valves, allValves)) {
		for p := 2; p <= MaxPartial; p++ {
			if s := (Slot{v, p}); s.Note() == n && !(known && s == usual) {
				out = append(out, s)
			}
		}
	}
	slices.SortFunc(out, func(a, b Slot) int {
		if d := a.Valves.Semitones() - b.Valves.Semitones(); d != 0 {
			return d
		}
		return int(a.Valves) - int(b.Valves)
	})
	if known {
		out = append([]Slot{usual}, out...)
	}
	return out
}
