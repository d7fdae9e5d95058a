package match

import (
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
// 29 % for the backbore, 42 % for the throat.
const (
	doubtSlide, doubtGap, doubtLeadpipe     = 0.05, 0.10, 0.18
	doubtCup, doubtBackbore, doubtThroat    = 0.16, 0.29, 0.42
	doubtTemperature                        = 0.02
	warmer, narrowShare, narrowFrom, narrow = 5.0, 0.02, 20.0, 20.0
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
	words  string
	known  map[string]bool // dimensions of the mouthpiece
}

// newLab makes the generic instrument of the horn's kind and key, with what is
// known of horn and mouthpiece.
func newLab(h catalog.Horn, m catalog.Mouthpiece, slots []pitch.Slot) (*lab, error) {
	generic, err := aircolumn.Generic(h.Instrument, h.Key)
	if err != nil {
		return nil, err
	}
	l := &lab{setup: generic, slots: slots, known: map[string]bool{}}
	fourth := pitch.Valves(1 << 3)
	if h.Valves == 4 {
		first := pitch.Valves(1)
		l.setup.Horn.Loops[3] = generic.Horn.Loops[0] * (fourth.Ratio() - 1) / (first.Ratio() - 1)
	}
	withCup := l.describe(h, m)
	if l.before, err = l.model(change{}); err != nil && withCup {
		// Dimensions that make no mouthpiece together tell nothing.
		l.setup.Cup, l.known = generic.Cup, map[string]bool{}
		l.before, err = l.model(change{})
	}
	if err != nil {
		return nil, err
	}
	if _, err := l.before.Peaks(slots); err != nil {
		return nil, catalog.Errorf(catalog.Invalid, "leave out the highest notes with --range", "the air column of a generic %s in %s can't tell: %v", h.Instrument, h.Key, err)
	}
	l.words = l.describeWords(h, m)
	return l, nil
}

// describe puts what is known of horn and mouthpiece into the setup; true when
// that is anything of the mouthpiece.
func (l *lab) describe(h catalog.Horn, m catalog.Mouthpiece) bool {
	if h.BoreMM > 0 {
		l.setup.Horn.BoreMM = h.BoreMM
	}
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
	return len(l.known) > 0
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

func (l *lab) describeWords(h catalog.Horn, m catalog.Mouthpiece) string {
	var known []string
	if h.BoreMM > 0 {
		known = append(known, "the bore of "+h.Label)
	}
	var of []string
	for _, d := range aircolumn.CupDimensions {
		if l.known[d.Name] {
			of = append(of, d.Name)
		}
	}
	if of != nil {
		known = append(known, strings.Join(of, ", ")+" of "+m.Label)
	}
	text := fmt.Sprintf("an invented %s in %s", h.Instrument, h.Key)
	if known == nil {
		return text + ", as no dimension of the horn or the mouthpiece is known"
	}
	return text + " with " + joinAnd(known)
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

// changes lists what is tried by itself: a usual step of each.
func (l *lab) changes(h catalog.Horn) []change {
	out := []change{{
		what: "tuning slide out", unit: "mm", step: 5, reversible: true, doubt: doubtSlide,
		edit: func(s *aircolumn.Setup) { s.Horn.SlideMM += 5 },
	}}
	for valve := 1; valve <= 3; valve++ {
		out = append(out, slideOut(valve, min(map[int]float64{1: 5, 2: 2, 3: 5}[valve], slideLimit(h, valve))))
	}
	out = append(out, gapWider(1), gapWider(-1), change{what: "air warmer", unit: "degrees", step: warmer, reversible: true, doubt: doubtTemperature, warmer: warmer})
	cup := l.known[aircolumn.CupVolume.Name]
	throat := cup && l.known[aircolumn.Throat.Name] && l.known[aircolumn.ThroatLength.Name] && l.known[aircolumn.BackboreExit.Name]
	scale := func(d aircolumn.Dimension, factor float64) func(*aircolumn.Setup) {
		return func(s *aircolumn.Setup) { *d.Of(s) *= factor }
	}
	add := func(d aircolumn.Dimension, by float64) func(*aircolumn.Setup) {
		return func(s *aircolumn.Setup) { *d.Of(s) += by }
	}
	return append(out,
		change{what: "cup larger", unit: "%", step: 5, doubt: doubtCup, edit: scale(aircolumn.CupVolume, 1.05)},
		change{what: "cup smaller", unit: "%", step: 5, doubt: doubtCup, edit: scale(aircolumn.CupVolume, 1/1.05)},
		change{what: "throat wider", unit: "mm", step: 0.1, uncertain: !throat, doubt: doubtThroat, edit: add(aircolumn.Throat, 0.1)},
		change{what: "throat longer", unit: "mm", step: 1, uncertain: !throat, doubt: doubtThroat, edit: add(aircolumn.ThroatLength, 1)},
		// The shape of a backbore is never known in numbers.
		change{what: "backbore more open", unit: "", step: 0.05, uncertain: true, doubt: doubtBackbore, edit: add(aircolumn.BackboreShape, -0.05)},
		change{what: "backbore exit wider", unit: "mm", step: 0.2, uncertain: true, doubt: doubtBackbore, edit: add(aircolumn.BackboreExit, 0.2)},
		change{what: "leadpipe start wider", unit: "mm", step: 0.1, doubt: doubtLeadpipe, edit: add(aircolumn.LeadpipeStart, 0.1)},
		change{what: "leadpipe longer", unit: "mm", step: 10, doubt: doubtLeadpipe, edit: add(aircolumn.LeadpipeLength, 10)},
		change{what: "dent or dirt at the leadpipe's start", unit: "% of the bore", step: 100 * narrowShare, doubt: doubtLeadpipe, narrowed: true},
	)
}
