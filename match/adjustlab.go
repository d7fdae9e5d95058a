package match

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/aircolumn"
	"centwise/match/tuning"
)

// Limits of adjustments, in mm (common practice, no source).
const (
	plainSlideMM  = 8.0 // of the first and third slide where no throw is known
	secondSlideMM = 4.0
	gapMM         = 2.0 // that shims and sleeves change, either way
)

// Shares by which shifts carried from the generic instrument to another are
// usually wrong, by simulation: other horns 1 to 8 % (leadpipe 18 %), other
// mouthpieces 1 to 10 % for slides, gap and leadpipe, 16 % for the cup, 23 to
// 29 % for the backbore, 42 % for the throat. Of a described bore it is only the
// mouthpiece that is another.
const (
	doubtSlide, doubtGap, doubtLeadpipe      = 0.05, 0.10, 0.18
	doubtCup, doubtBackbore, doubtThroat     = 0.16, 0.29, 0.42
	doubtTemperature, doubtDescribedLeadpipe = 0.02, 0.10
	warmer, narrowShare, narrowFrom, narrow  = 5.0, 0.02, 20.0, 20.0
)

// change is one adjustment that can be tried.
type change struct {
	what, unit            string
	step                  float64
	reversible, uncertain bool
	doubt                 float64
	takes                 tuning.Throws // what it takes from the throws
	edit                  func(*aircolumn.Setup)
	warmer                float64 // degrees
	narrowed              bool    // the start of the leadpipe
}

// lab is the air column that shifts are calculated with.
type lab struct {
	setup  aircolumn.Setup
	before *aircolumn.Model
	slots  []pitch.Slot
	bore   BoreSource
	words  string
	known  map[string]bool // dimensions of the mouthpiece
}

// newLab makes the air column of a setup: the horn's described bore where it has
// one that can be played, else the generic instrument of its kind and key; both
// with what is known of the mouthpiece.
func newLab(h catalog.Horn, m catalog.Mouthpiece, slots []pitch.Slot) (*lab, error) {
	generic, err := aircolumn.Generic(h.Instrument, h.Key)
	if err != nil {
		return nil, err
	}
	if h.Valves == 4 {
		first, fourth := pitch.Valves(1), pitch.Valves(1<<3)
		generic.Horn.Loops[3] = generic.Horn.Loops[0] * (fourth.Ratio() - 1) / (first.Ratio() - 1)
	}
	trouble := ""
	if h.BoreGeometry != "" {
		l, err := labOnBore(generic, h, m, slots)
		if err == nil {
			return l, nil
		}
		trouble = fmt.Sprintf("; its described bore is of no use here: %v", err)
	}
	if h.BoreMM > 0 {
		generic.Horn.BoreMM = h.BoreMM
	}
	l := &lab{setup: generic, slots: slots, bore: BoreInvented}
	if err := l.fill(m); err != nil {
		return nil, err
	}
	if _, err := l.before.Peaks(slots); err != nil {
		return nil, catalog.Errorf(catalog.Invalid, "leave out the highest notes with --range", "the air column of a generic %s in %s can't tell: %v", h.Instrument, h.Key, err)
	}
	l.words = l.inventedWords(h, m) + trouble
	return l, nil
}

// labOnBore is the lab on a horn's described bore. It fails where that can't be
// read, or lacks a resonance that is asked for.
func labOnBore(generic aircolumn.Setup, h catalog.Horn, m catalog.Mouthpiece, slots []pitch.Slot) (*lab, error) {
	bore, err := aircolumn.ReadBore(strings.NewReader(h.BoreGeometry))
	if err != nil {
		return nil, err
	}
	l := &lab{slots: slots, bore: BoreDescribed}
	gapAssumed := false
	if l.setup, gapAssumed, err = generic.Describe(bore); err != nil {
		return nil, err
	}
	if err := l.fill(m); err != nil {
		return nil, err
	}
	peaks, err := l.before.Peaks(slots)
	if err != nil {
		return nil, err
	}
	l.words = l.describedWords(h, m, gapAssumed)
	off := offKey(h, peaks)
	where := fmt.Sprintf("lies %.0f cents %s %s: check its lengths", math.Abs(off), aboveOrBelow(off), h.Key)
	switch {
	case math.Abs(off) > aircolumn.MostOffKeyCents:
		return nil, errors.New("it " + where)
	case math.Abs(off) > 100:
		l.words += ", which as described " + where
	}
	return l, nil
}

// offKey is how far resonances lie from where those of the horn's key do, in
// cents, on the average.
func offKey(h catalog.Horn, peaks []aircolumn.Resonance) float64 {
	sum := 0.0
	for _, r := range peaks {
		sum += r.Cents(h.Transposition(), catalog.DefaultA4Hz) / float64(len(peaks))
	}
	return sum
}

func aboveOrBelow(cents float64) string {
	if cents < 0 {
		return "below"
	}
	return "above"
}

// fill puts what is known of the mouthpiece into the setup, and makes the model.
// Dimensions that make no mouthpiece together tell nothing.
func (l *lab) fill(m catalog.Mouthpiece) error {
	cup := l.setup.Cup
	l.known = map[string]bool{}
	for _, d := range []struct {
		dimension aircolumn.Dimension
		value     float64
	}{
		{aircolumn.Rim, m.RimMM}, {aircolumn.Throat, m.ThroatMM}, {aircolumn.ThroatLength, m.ThroatLengthMM},
		{aircolumn.BackboreExit, m.BackboreMM}, {aircolumn.CupLength, m.LengthMM}, {aircolumn.CupVolume, l.cupVolume(m)},
	} {
		if d.value > 0 {
			l.setup, l.known[d.dimension.Name] = l.setup.With(d.dimension, d.value), true
		}
	}
	if len(l.known) > 0 && l.setup.Cup.Check() != nil {
		l.setup.Cup, l.known = cup, map[string]bool{}
	}
	var err error
	l.before, err = l.model(change{})
	return err
}

// cupVolume is the volume of the cup, from its depth where that alone is known.
func (l *lab) cupVolume(m catalog.Mouthpiece) float64 {
	if m.CupCM3 > 0 || m.CupDepthMM == 0 {
		return m.CupCM3
	}
	cup := l.setup.Cup
	if m.RimMM > 0 {
		cup.RimMM = m.RimMM
	}
	return cup.CupCM3 * m.CupDepthMM / cup.DepthMM()
}

// inventedWords say what is known of an air column that is none of the horn's.
func (l *lab) inventedWords(h catalog.Horn, m catalog.Mouthpiece) string {
	var known []string
	if h.BoreMM > 0 {
		known = append(known, "the bore of "+h.Label)
	}
	if of := l.cupWords(m); of != "" {
		known = append(known, of)
	}
	text := fmt.Sprintf("an invented %s in %s", h.Instrument, h.Key)
	if known == nil {
		return text + ", as no dimension of the horn or the mouthpiece is known"
	}
	return text + " with " + joinAnd(known)
}

// cupWords name the dimensions of a mouthpiece that are known, "" for none.
func (l *lab) cupWords(m catalog.Mouthpiece) string {
	var of []string
	for _, d := range aircolumn.CupDimensions {
		if l.known[d.Name] {
			of = append(of, d.Name)
		}
	}
	if of == nil {
		return ""
	}
	return strings.Join(of, ", ") + " of " + m.Label
}

// describedWords say what is known of an air column with a described bore.
func (l *lab) describedWords(h catalog.Horn, m catalog.Mouthpiece, gapAssumed bool) string {
	gap := "its described gap"
	if gapAssumed {
		gap = "a usual gap, as none is described,"
	}
	text := fmt.Sprintf("the described bore of %s with %s of %.1f mm, and the valve loops and mouthpiece of an invented %s in %s", h.Label, gap, l.setup.Horn.GapMM, h.Instrument, h.Key)
	if of := l.cupWords(m); of != "" {
		text += " with " + of
	}
	return text
}

// model is the air column after a change.
func (l *lab) model(ch change) (*aircolumn.Model, error) {
	setup := l.setup
	if ch.edit != nil {
		ch.edit(&setup)
	}
	if err := setup.Check(); err != nil {
		return nil, err
	}
	air, err := aircolumn.MoistAir(aircolumn.DefaultTemperatureC+ch.warmer, aircolumn.DefaultHumidity)
	if err != nil {
		return nil, err
	}
	in := setup.Instrument()
	if ch.narrowed {
		from := setup.Cup.LengthMM + setup.Horn.GapMM + narrowFrom
		in = in.Narrowed(from, from+narrow, narrowShare)
	}
	return aircolumn.New(in, air)
}

// noShift is what solving leaves of a shift that is nought, in cents, and more.
const noShift = 1e-5

// shift solves the air column anew after a change.
func (l *lab) shift(ch change) ([]float64, error) {
	after, err := l.model(ch)
	if err != nil {
		return nil, err
	}
	shift, err := aircolumn.Shift(l.before, after, l.slots)
	for j, cents := range shift {
		if math.Abs(cents) < noShift {
			shift[j] = 0
		}
	}
	return shift, err
}

// slideLimit is how far the slide of a valve, from 1, can stay pulled out.
func slideLimit(h catalog.Horn, valve int) float64 {
	limit := plainSlideMM
	switch valve {
	case 1:
		if h.Throw1MM > 0 {
			limit = h.Throw1MM
		}
	case 2:
		limit = secondSlideMM
	case 3:
		if h.Throw3MM > 0 {
			limit = h.Throw3MM
		}
	}
	return limit
}

// slideOut is the slide of a valve pulled out for good.
func slideOut(valve int, mm float64) change {
	ch := change{
		what: fmt.Sprintf("valve slide %d out", valve), unit: "mm", step: mm, reversible: true, doubt: doubtSlide,
		edit: func(s *aircolumn.Setup) { s.Horn.Loops[valve-1] += 2 * mm },
	}
	switch valve {
	case 1:
		ch.takes.FirstMM = mm
	case 3:
		ch.takes.ThirdMM = mm
	}
	return ch
}

func gapWider(mm float64) change {
	what := "gap wider"
	if mm < 0 {
		what = "gap narrower"
	}
	return change{what: what, unit: "mm", step: max(mm, -mm), reversible: true, doubt: doubtGap, edit: func(s *aircolumn.Setup) { s.Horn.GapMM += mm }}
}

// dent is the one change that shows what may be wrong, not what may be done.
const dent = "dent or dirt at the leadpipe's start"

// changes lists what is tried by itself: a usual step of each.
func (l *lab) changes(h catalog.Horn) []change {
	out := []change{{
		what: "tuning slide out", unit: "mm", step: 5, reversible: true, doubt: doubtSlide,
		edit: func(s *aircolumn.Setup) { s.Horn.SlideMM += 5 },
	}}
	for valve := 1; valve <= 3; valve++ {
		out = append(out, slideOut(valve, min(map[int]float64{1: 5, 2: 2, 3: 5}[valve], slideLimit(h, valve))))
	}
	out = append(out, gapWider(1))
	if narrower := min(1, l.setup.Horn.GapMM); narrower >= setMM {
		out = append(out, gapWider(-narrower))
	}
	out = append(out, change{what: "air warmer", unit: "degrees", step: warmer, reversible: true, doubt: doubtTemperature, warmer: warmer})
	cup := l.known[aircolumn.CupVolume.Name]
	throat := cup && l.known[aircolumn.Throat.Name] && l.known[aircolumn.ThroatLength.Name] && l.known[aircolumn.BackboreExit.Name]
	scale := func(d aircolumn.Dimension, factor float64) func(*aircolumn.Setup) {
		return func(s *aircolumn.Setup) { *d.Of(s) *= factor }
	}
	add := func(d aircolumn.Dimension, by float64) func(*aircolumn.Setup) {
		return func(s *aircolumn.Setup) { *d.Of(s) += by }
	}
	out = append(out,
		change{what: "cup larger", unit: "%", step: 5, doubt: doubtCup, edit: scale(aircolumn.CupVolume, 1.05)},
		change{what: "cup smaller", unit: "%", step: 5, doubt: doubtCup, edit: scale(aircolumn.CupVolume, 1/1.05)},
		change{what: "throat wider", unit: "mm", step: 0.1, uncertain: !throat, doubt: doubtThroat, edit: add(aircolumn.Throat, 0.1)},
		change{what: "throat longer", unit: "mm", step: 1, uncertain: !throat, doubt: doubtThroat, edit: add(aircolumn.ThroatLength, 1)},
		// The shape of a backbore is never known in numbers.
		change{what: "backbore more open", unit: "", step: 0.05, uncertain: true, doubt: doubtBackbore, edit: add(aircolumn.BackboreShape, -0.05)},
		change{what: "backbore exit wider", unit: "mm", step: 0.2, uncertain: true, doubt: doubtBackbore, edit: add(aircolumn.BackboreExit, 0.2)},
	)
	leadpipe := doubtLeadpipe
	if l.bore == BoreDescribed {
		leadpipe = doubtDescribedLeadpipe
	}
	if l.setup.Horn.HasLeadpipe() {
		out = append(out,
			change{what: "leadpipe start wider", unit: "mm", step: 0.1, doubt: leadpipe, edit: add(aircolumn.LeadpipeStart, 0.1)},
			change{what: "leadpipe longer", unit: "mm", step: 10, doubt: leadpipe, edit: add(aircolumn.LeadpipeLength, 10)})
	}
	return append(out, change{what: dent, unit: "% of the bore", step: 100 * narrowShare, doubt: leadpipe, narrowed: true})
}
