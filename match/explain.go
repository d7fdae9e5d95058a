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

// Explanation is a prediction of one setup that can be questioned note by note.
type Explanation struct {
	Horn       string `json:"horn"`
	Mouthpiece string `json:"mouthpiece"`
	Player     string `json:"player,omitempty"` // empty = a typical player
	Verdict
	ToleranceCents float64 `json:"tolerance_cents"`
	Temperament    string  `json:"temperament"`
	// Weighting names what the notes are weighed by: even, a register, or where
	// the weights come from.
	Weighting string `json:"weights"`
	// SlideCents is how far the tuning slide lowers open notes from where the
	// profile has its mean at nought; SlideMM is the pull that takes by the
	// length model. Negative is pushed in.
	SlideCents float64 `json:"slide_cents"`
	SlideMM    float64 `json:"slide_mm"`
	SlideStop  bool    `json:"slide_at_stop,omitempty"`

	Linked   bool         `json:"linked"`
	Basis    fit.Basis    `json:"basis"`
	Evidence EvidenceView `json:"evidence"`
	Adapter  bool         `json:"adapter,omitempty"` // shank and receiver differ
	// Impedance is the support by measured resonances, nil where this setup has
	// no impedance session.
	Impedance *ImpedanceSupport `json:"impedance,omitempty"`

	Notes []NoteLine `json:"notes"`
	// Cures and Spoils are the notes that this mouthpiece leaves clearly less,
	// or clearly more, to the lip than a typical one, the largest change first.
	Cures  []Change `json:"cures"`
	Spoils []Change `json:"spoils"`
	// Alternates are other fingerings for notes left more than the tolerance,
	// where one should be better; NoAlternate are the notes for which none is.
	Alternates  []Alternate `json:"alternates"`
	NoAlternate []string    `json:"no_alternate"`
	// Influence is what it owes to each session, nil unless that was asked for.
	Influence *Influence `json:"influence,omitempty"`
	// Words say the same, and what the prediction rests on, in sentences.
	Words []string `json:"words"`
}

// ImpedanceSupport is the harmonic support of a setup by its measured
// resonances: null when no two that it takes were measured together.
type ImpedanceSupport struct {
	Support  *float64 `json:"support"`
	Sessions int      `json:"sessions"`
}

// EvidenceView is [fit.Evidence] as commands print it: numbers of sessions.
type EvidenceView struct {
	Pair             int `json:"pair"`
	Horn             int `json:"horn"`
	HornDesign       int `json:"horn_design"`
	HornPlayers      int `json:"horn_players"`
	Mouthpiece       int `json:"mouthpiece"`
	MouthpieceDesign int `json:"mouthpiece_design"`
	Player           int `json:"player"`
}

func viewOf(e fit.Evidence) EvidenceView {
	return EvidenceView{
		Pair: e.Pair, Horn: e.Horn, HornDesign: e.HornDesign, HornPlayers: e.HornPlayers,
		Mouthpiece: e.Mouthpiece, MouthpieceDesign: e.MouthpieceDesign, Player: e.Player,
	}
}

// NoteLine is one note: Horn + Mouthpiece + Player + Pair = Cents, and
// Cents - Target - Slide - Throw = Left.
type NoteLine struct {
	Note    string `json:"note"`    // written
	Concert string `json:"concert"` // sounding
	Valves  string `json:"valves"`
	Partial int    `json:"partial"`

	Horn       float64 `json:"horn"` // with what all horns have in common
	Common     float64 `json:"common"`
	Mouthpiece float64 `json:"mouthpiece"`
	Player     float64 `json:"player"`
	Pair       float64 `json:"pair"`
	Cents      float64 `json:"cents"`
	SD         float64 `json:"sd"`
	Low        float64 `json:"low"` // 80 % interval of Cents
	High       float64 `json:"high"`

	Target float64 `json:"target"`
	Slide  float64 `json:"slide"`
	Throw  float64 `json:"throw"`
	Reach  float64 `json:"throw_reach"`
	Left   float64 `json:"left"`
	// LeftLow..LeftHigh is the 80 % interval of Left, each draw with its own best
	// slide and throws.
	LeftLow  float64 `json:"left_low"`
	LeftHigh float64 `json:"left_high"`
	Weight   float64 `json:"weight"`
	// Help is the harmonic support by the predicted deviations, HelpMeasured
	// that by measured resonances; null when unknown.
	Help         *float64 `json:"support"`
	HelpMeasured *float64 `json:"support_measured"`
	// Read is what sessions with this very setup read, null without any.
	Read *ReadNote `json:"read,omitempty"`
}

// Change compares what two setups leave to the lip on one note.
type Change struct {
	Note    string  `json:"note"`
	Valves  string  `json:"valves"`
	Typical float64 `json:"typical"` // left with a typical mouthpiece
	This    float64 `json:"this"`    // left with this one
	// Gain is the expected |Typical| - |This|, Low..High its 80 % interval.
	Gain float64 `json:"gain"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Of names the setup to explain; a nil Player is a typical one.
type Of struct {
	Horn       catalog.Horn
	Mouthpiece catalog.Mouthpiece
	Player     *catalog.Player
	Resonances *Resonances // measured with this horn and mouthpiece, nil = none
	// Sessions with this horn and mouthpiece, to show beside the prediction;
	// impedance sessions are passed over.
	Sessions []catalog.Session
}

func (o Of) setup() fit.Setup {
	s := fit.Setup{Horn: o.Horn.ID, Mouthpiece: o.Mouthpiece.ID}
	if o.Player != nil {
		s.Player = o.Player.ID
	}
	return s
}

// z80 is the normal deviate that bounds 80 %.
const z80 = 1.2815515655446004

// Explain predicts a setup and says note by note why. It fails with Invalid
// when the range or the weights leave no note, or when shank and receiver
// differ and no adapter is allowed.
func Explain(e Engine, o Of, c Criteria, adapter bool) (*Explanation, error) {
	if err := mustFit(o, adapter); err != nil {
		return nil, err
	}
	c = c.For(o.Player)
	answered := answers(e)
	plan, err := c.plan(o.Horn, answered, true)
	if err != nil {
		return nil, err
	}
	other := otherFingerings{o.Horn.Valves, answered}
	slots := other.with(plan.slots, plan.problem.Slots())
	this := o.setup()
	predictions, err := e.PredictMany([]fit.Setup{this, {Horn: this.Horn, Player: this.Player}}, slots)
	if err == nil {
		err = usable(predictions, 2, len(slots))
	}
	if err != nil {
		return nil, fmt.Errorf("predicting %s with %s and with a typical mouthpiece: %w", o.Horn.Label, o.Mouthpiece.Label, err)
	}
	p, typical := predictions[0], predictions[1]
	verdict, result, _ := plan.judge(p, true)
	x := &Explanation{
		Horn: o.Horn.Label, Mouthpiece: o.Mouthpiece.Label, Verdict: verdict,
		ToleranceCents: c.ToleranceCents, Temperament: temperamentName(c.Temperament), Weighting: c.weighting(),
		SlideCents: result.SlideCents, SlideMM: tuning.SlideMM(result.SlideCents, tuning.OpenLengthMM(o.Horn.Transposition())),
		SlideStop: result.AtStop,
		Linked:    p.Linked, Basis: p.Evidence.Basis, Evidence: viewOf(p.Evidence),
		Adapter: !fits(o.Horn, o.Mouthpiece),
		Notes:   noteLines(o.Horn, p, plan.at.of(p.Mean), result),
	}
	if o.Player != nil {
		x.Player = o.Player.Label
	}
	x.measuredSupport(o.Resonances, plan.problem.Slots())
	left := leftDraws(plan.problem, p)
	x.leftIntervals(left)
	if err := x.read(e, o, p); err != nil {
		return nil, err
	}
	x.Cures, x.Spoils = compare(plan.problem, typical, p, left)
	x.Alternates, x.NoAlternate = other.alternates(plan, p, result)
	x.Words = append(words(x, plan.missing), c.weightWords(plan)...)
	return x, nil
}

// mustFit refuses a shank that does not fit, unless an adapter is allowed.
func mustFit(o Of, adapter bool) error {
	if fits(o.Horn, o.Mouthpiece) || adapter {
		return nil
	}
	return catalog.Errorf(catalog.Invalid, "choose another mouthpiece, or say that an adapter is used",
		"the %s shank of %s does not fit the %s receiver of %s", o.Mouthpiece.Shank, o.Mouthpiece.Label, o.Horn.Receiver, o.Horn.Label)
}

// measuredSupport fills in the support by measured resonances, note by note.
func (x *Explanation) measuredSupport(r *Resonances, slots []pitch.Slot) {
	if r == nil {
		return
	}
	x.Impedance = &ImpedanceSupport{Sessions: r.Sessions, Support: r.known(slots)}
	for j, s := range slots {
		if v, ok := r.Support(s); ok {
			x.Notes[j].HelpMeasured = &v
		}
	}
}

func temperamentName(t pitch.Temperament) string {
	if t.Name == "" {
		return pitch.Equal.Name
	}
	return t.Name
}

func noteLines(h catalog.Horn, p fit.Prediction, deviation func(pitch.Slot) (float64, bool), r tuning.Result) []NoteLine {
	out := make([]NoteLine, len(r.Notes))
	for j, n := range r.Notes {
		written := n.Slot.Note()
		out[j] = NoteLine{
			Note: written.String(), Concert: (written + pitch.Note(h.Transposition())).String(),
			Valves: n.Slot.Valves.String(), Partial: n.Slot.Partial,
			Common: p.Common[j], Horn: p.Common[j] + p.Horn[j], Mouthpiece: p.Mouthpiece[j],
			Player: p.Player[j], Pair: p.Pair[j], Cents: p.Mean[j], SD: p.SD[j],
			Low: p.Mean[j] - z80*p.SD[j], High: p.Mean[j] + z80*p.SD[j],
			Target: n.Target, Slide: n.Slide, Throw: n.Throw, Reach: n.Reach, Left: n.Left, Weight: n.Weight,
		}
		if s, ok := tuning.Support(n.Slot, deviation); ok {
			out[j].Help = &s
		}
	}
	return out
}

// minChange is the least change worth a word, in cents. Tuners are read to
// about a cent.
const minChange = 1.0

// compare finds the notes on which this mouthpiece leaves clearly less or more
// than a typical one. Both are judged in the same joint draws, so that what the
// two have in common, the horn above all, does not blur the difference; a note
// is named when the 80 % interval of its gain lies on one side of nought. Left
// is what this mouthpiece leaves in every draw.
func compare(problem *tuning.Problem, typical, this fit.Prediction, left [][]float64) (cures, spoils []Change) {
	cures, spoils = []Change{}, []Change{}
	n := len(problem.Slots())
	before, after := problem.Solve(typical.Mean[:n]), problem.Solve(this.Mean[:n])
	gains := gainDraws(leftDraws(problem, typical), left)
	for j, s := range problem.Slots() {
		if problem.Weight(j) == 0 {
			continue
		}
		change := Change{
			Note: s.Note().String(), Valves: s.Valves.String(),
			Typical: before.Notes[j].Left, This: after.Notes[j].Left,
		}
		change.Gain = math.Abs(change.Typical) - math.Abs(change.This)
		change.Low, change.High = change.Gain, change.Gain
		if len(gains[j]) > 0 {
			change.Gain = mean(gains[j])
			slices.Sort(gains[j])
			change.Low, change.High = quantile(gains[j], 0.1), quantile(gains[j], 0.9)
		}
		// What is printed, the profiles' own difference, must say the same.
		shown := math.Abs(change.Typical) - math.Abs(change.This)
		switch {
		case change.Low > 0 && min(change.Gain, shown) >= minChange:
			cures = append(cures, change)
		case change.High < 0 && max(change.Gain, shown) <= -minChange:
			spoils = append(spoils, change)
		}
	}
	largest := func(a, b Change) int {
		switch d := math.Abs(b.Gain) - math.Abs(a.Gain); {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	}
	slices.SortStableFunc(cures, largest)
	slices.SortStableFunc(spoils, largest)
	return cures, spoils
}

// leftDraws gives what is left to the lip, for every slot of the problem and
// every joint draw.
func leftDraws(problem *tuning.Problem, x fit.Prediction) [][]float64 {
	n := len(problem.Slots())
	out := make([][]float64, n)
	var room tuning.Result
	for _, draw := range x.Draws {
		problem.SolveInto(&room, draw[:n])
		for j := range n {
			out[j] = append(out[j], room.Notes[j].Left)
		}
	}
	return out
}

// gainDraws gives |left before| - |left after| for every slot and every joint
// draw.
func gainDraws(before, after [][]float64) [][]float64 {
	out := make([][]float64, len(before))
	for j := range before {
		for k := range min(len(before[j]), len(after[j])) {
			out[j] = append(out[j], math.Abs(before[j][k])-math.Abs(after[j][k]))
		}
	}
	return out
}

// leftIntervals fills in the intervals of what is left. That of the expected
// profile lies within: where a throw reaches, draws may all leave nought.
func (x *Explanation) leftIntervals(left [][]float64) {
	for j := range x.Notes {
		n := &x.Notes[j]
		n.LeftLow, n.LeftHigh = n.Left, n.Left
		if len(left[j]) > 0 {
			sorted := slices.Sorted(slices.Values(left[j]))
			n.LeftLow, n.LeftHigh = min(n.Left, quantile(sorted, 0.1)), max(n.Left, quantile(sorted, 0.9))
		}
	}
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}
