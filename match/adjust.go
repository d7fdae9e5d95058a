package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/tuning"
)

// Adjusted says what adjustments would make of a setup: of its profile as it is
// predicted, readings with the setup included, or as one session read it.
type Adjusted struct {
	Horn       string `json:"horn"`
	Mouthpiece string `json:"mouthpiece"`
	Player     string `json:"player,omitempty"` // empty = a typical player
	// Session is whose readings are the profile; empty for the prediction.
	Session string `json:"session,omitempty"`
	Verdict        // as it is
	// MeasurableCents is the least fall of the error that one session before and
	// one after can show; 0 when the noise of readings is not known.
	MeasurableCents float64      `json:"measurable_cents"`
	Basis           fit.Basis    `json:"basis"`
	Evidence        EvidenceView `json:"evidence"`
	Weighting       string       `json:"weights"`
	// Bore is whose bore the shifts are calculated for.
	Bore BoreSource `json:"bore"`
	// Model says in words what air column the shifts are calculated for.
	Model   string       `json:"model"`
	Notes   []AdjustNote `json:"notes"`
	Changes []Adjustment `json:"changes"`
	// Best is the best combination of reversible adjustments within limits; null
	// when none helps.
	Best  *Combination `json:"best"`
	Words []string     `json:"words"`
}

// BoreSource is where the bore of an air column comes from.
type BoreSource string

// Sources of bores.
const (
	BoreDescribed BoreSource = "described" // of the horn, as somebody measured it
	BoreInvented  BoreSource = "invented"  // of an invented instrument of its kind and key
)

// AdjustNote is a note as it is.
type AdjustNote struct {
	Note    string  `json:"note"` // written
	Valves  string  `json:"valves"`
	Partial int     `json:"partial"`
	Cents   float64 `json:"cents"`
	Left    float64 `json:"left"`
}

// Outcome is what an adjustment leads to.
type Outcome struct {
	Cents      []float64 `json:"cents"`       // shift of each note, + up
	Left       []float64 `json:"left"`        // of each note, after the best slide and throws
	ErrorCents float64   `json:"error_cents"` // expected, after the best slide and throws
	Gain       float64   `json:"gain_cents"`  // by how much the error falls
	// Measurable tells whether one session before and one after would show it.
	Measurable bool     `json:"measurable"`
	Improved   []string `json:"improved"` // notes that are left clearly less
	Spoilt     []string `json:"spoilt"`   // notes that are left clearly more
}

// Adjustment is one adjustment by itself.
type Adjustment struct {
	What string  `json:"what"`
	Step float64 `json:"step"`
	Unit string  `json:"unit"`
	// Reversible adjustments can be undone by hand.
	Reversible bool `json:"reversible"`
	// Uncertain shifts depend on dimensions that are not known; Doubt is the
	// share by which shifts are usually wrong.
	Uncertain bool    `json:"uncertain"`
	Doubt     float64 `json:"doubt"`
	Outcome
}

// Combination is several reversible adjustments together.
type Combination struct {
	Settings []Setting `json:"settings"`
	Outcome
}

// Setting is where one adjustment of a combination is to stand.
type Setting struct {
	What  string  `json:"what"`
	MM    float64 `json:"mm"` // + out, or wider
	MinMM float64 `json:"min_mm"`
	MaxMM float64 `json:"max_mm"`
}

// bench is a setup on which adjustments are tried.
type bench struct {
	horn     catalog.Horn
	criteria Criteria
	answered func(pitch.Slot) bool
	slots    []pitch.Slot
	profile  fit.Prediction // on the slots
	plan     plan           // as it is
	before   tuning.Result
	verdict  Verdict
	least    float64 // measurable
	lab      *lab
}

// Adjust works out what adjustments of a setup would do to every note: shifts
// from the air column of the horn's described bore, or of a generic instrument,
// with what is known of the mouthpiece, laid on the predicted profile, judged after the best slide and
// throws. With a session its mean readings are the profile, and only notes that
// it has are judged. It fails as [Explain] does, for a session with another
// setup, and when the air column has no resonance for a note of the range.
func Adjust(e Engine, o Of, session *catalog.Session, c Criteria, adapter bool) (*Adjusted, error) {
	out := &Adjusted{Horn: o.Horn.Label, Mouthpiece: o.Mouthpiece.Label}
	if session != nil {
		if session.Horn != o.Horn.ID || session.Mouthpiece != o.Mouthpiece.ID {
			return nil, catalog.Errorf(catalog.Invalid, "centwise session show "+catalog.ShellWord(session.Name), "session %q is not with %s and %s", session.Name, o.Horn.Label, o.Mouthpiece.Label)
		}
		measured, err := asMeasured(e, *session)
		if err != nil {
			return nil, err
		}
		e, out.Session, adapter = measured, session.Name, adapter || session.Adapter
	}
	b, err := newBench(e, o, c, adapter)
	if err != nil {
		return nil, err
	}
	out.Verdict, out.MeasurableCents = b.verdict, b.least
	out.Basis, out.Evidence = b.profile.Evidence.Basis, viewOf(b.profile.Evidence)
	out.Weighting, out.Bore, out.Model = b.criteria.weighting(), b.lab.bore, b.lab.words
	if o.Player != nil {
		out.Player = o.Player.Label
	}
	for _, n := range b.before.Notes {
		out.Notes = append(out.Notes, AdjustNote{n.Slot.Note().String(), n.Slot.Valves.String(), n.Slot.Partial, n.Deviation, n.Left})
	}
	for _, ch := range b.lab.changes(o.Horn) {
		shift, err := b.lab.shift(ch)
		if err != nil {
			return nil, fmt.Errorf("what %s does: %w", ch.what, err)
		}
		outcome, err := b.outcome(shift, ch.takes)
		if err != nil {
			return nil, err
		}
		out.Changes = append(out.Changes, Adjustment{ch.what, ch.step, ch.unit, ch.reversible, ch.uncertain, ch.doubt, outcome})
	}
	if out.Best, err = b.best(); err != nil {
		return nil, err
	}
	out.Words = out.words()
	return out, nil
}

// newBench predicts and judges the setup as it is.
func newBench(e Engine, o Of, c Criteria, adapter bool) (*bench, error) {
	if err := mustFit(o, adapter); err != nil {
		return nil, err
	}
	b := &bench{horn: o.Horn, criteria: c.For(o.Player), answered: answers(e)}
	var err error
	if b.plan, err = b.criteria.plan(o.Horn, b.answered, false); err != nil {
		return nil, err
	}
	b.slots = b.plan.problem.Slots()
	predictions, err := e.PredictMany([]fit.Setup{o.setup()}, b.slots)
	if err == nil {
		err = usable(predictions, 1, len(b.slots))
	}
	if err != nil {
		return nil, fmt.Errorf("predicting %s with %s: %w", o.Horn.Label, o.Mouthpiece.Label, err)
	}
	b.profile = predictions[0]
	b.verdict, b.before, _ = b.plan.judge(b.profile, false)
	if n, ok := e.(noiseTeller); ok {
		b.least = measurable(n.ReadingNoise(), b.plan.notes())
	}
	b.lab, err = newLab(o.Horn, o.Mouthpiece, b.slots)
	return b, err
}

// planTaking is the plan when slides that stay pulled out take from the throws.
func (b *bench) planTaking(takes tuning.Throws) (plan, error) {
	h := b.horn
	h.Throw1MM = max(0, h.Throw1MM-takes.FirstMM)
	h.Throw3MM = max(0, h.Throw3MM-takes.ThirdMM)
	return b.criteria.plan(h, b.answered, false)
}

// shifted is the profile moved by a shift in every draw.
func (b *bench) shifted(shift []float64) fit.Prediction {
	p := b.profile
	p.Mean = plus(p.Mean, shift)
	p.Draws = make([][]float64, len(b.profile.Draws))
	for k, d := range b.profile.Draws {
		p.Draws[k] = plus(d[:len(shift)], shift)
	}
	return p
}

func plus(a, b []float64) []float64 {
	out := make([]float64, len(b))
	for j := range b {
		out[j] = a[j] + b[j]
	}
	return out
}

// outcome judges the profile after a shift.
func (b *bench) outcome(shift []float64, takes tuning.Throws) (Outcome, error) {
	plan, err := b.planTaking(takes)
	if err != nil {
		return Outcome{}, err
	}
	verdict, result, _ := plan.judge(b.shifted(shift), false)
	out := Outcome{Cents: shift, ErrorCents: verdict.ErrorCents, Gain: b.verdict.ErrorCents - verdict.ErrorCents, Improved: []string{}, Spoilt: []string{}}
	out.Measurable = b.least == 0 || math.Abs(out.Gain) >= b.least
	type moved struct {
		note string
		by   float64
	}
	var list []moved
	for j, n := range result.Notes {
		out.Left = append(out.Left, n.Left)
		if n.Weight > 0 {
			list = append(list, moved{n.Slot.Note().String(), math.Abs(b.before.Notes[j].Left) - math.Abs(n.Left)})
		}
	}
	slices.SortStableFunc(list, func(x, y moved) int { return sign(math.Abs(y.by) - math.Abs(x.by)) })
	for _, m := range list {
		switch {
		case m.by >= minChange:
			out.Improved = append(out.Improved, m.note)
		case m.by <= -minChange:
			out.Spoilt = append(out.Spoilt, m.note)
		}
	}
	return out, nil
}

func sign(x float64) int {
	switch {
	case x < 0:
		return -1
	case x > 0:
		return 1
	}
	return 0
}
