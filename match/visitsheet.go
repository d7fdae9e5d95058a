package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/visit"
)

// VisitSheet is what is taken along to a visit.
type VisitSheet struct {
	Name     string   `json:"name"`
	Horn     string   `json:"horn"`
	Player   string   `json:"player"`
	Now      string   `json:"now"` // mouthpiece played now
	NowError Expected `json:"now_error"`
	// Keep says that nothing in stock is likely enough to be worth trying.
	Keep   bool           `json:"keep"`
	Advice string         `json:"advice"`
	Blind  bool           `json:"blind"` // candidates go by their letters
	Tries  []PlannedTry   `json:"tries"` // in their order
	Notes  []DecidingNote `json:"notes"` // low to high
	Times  int            `json:"times"` // that each note is played
	// Reference is the note that the horn is tuned to before each candidate.
	Reference  string         `json:"reference"`
	Explained  float64        `json:"explained"` // share of what all notes tell about the errors that these do
	Minutes    int            `json:"minutes"`   // that the tries take, rests included
	Rest       string         `json:"rest"`
	Hygiene    string         `json:"hygiene"`
	StopCents  float64        `json:"stop_cents"`
	StopChance float64        `json:"stop_chance"`
	TriesAsked int            `json:"tries_asked"`
	Considered int            `json:"considered"` // mouthpieces looked into
	LeftOut    map[string]int `json:"left_out,omitempty"`
}

// Expected is an error that is expected, in cents, with its 80 % interval.
type Expected struct {
	Cents float64 `json:"cents"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// PlannedTry is one candidate of the plan.
type PlannedTry struct {
	Number       int       `json:"number"`
	Code         string    `json:"code"`
	Mouthpiece   string    `json:"mouthpiece"`
	Control      bool      `json:"control"` // the own mouthpiece once more
	Error        Expected  `json:"error"`
	ChanceBetter float64   `json:"chance_better"` // than what is played now
	GainCents    float64   `json:"gain_cents"`    // what trying it adds to the best expected
	Basis        fit.Basis `json:"basis"`
	Sessions     int       `json:"sessions"` // with the mouthpiece
	Linked       bool      `json:"linked"`
}

// DecidingNote is one of the few notes to play.
type DecidingNote struct {
	Note      string       `json:"note"` // written
	Fingering string       `json:"fingering"`
	Partial   int          `json:"partial"`
	Sounds    string       `json:"sounds"` // what the tuner calls it
	Listen    string       `json:"listen"`
	Now       float64      `json:"now_cents"` // what the present setup should show
	Windows   []NoteWindow `json:"windows"`   // of the candidates of the plan, in their order
}

// NoteWindow is what the tuner should show of a note of a candidate once the
// reference note is tuned, in cents.
type NoteWindow struct {
	Code       string  `json:"code"`
	Expected   float64 `json:"expected"`
	Low        float64 `json:"low"`
	High       float64 `json:"high"`
	Difference float64 `json:"difference"` // from the present setup
	// Decides is the window that would put the candidate ahead of the present
	// setup by this note alone, as in "above +3"; empty where it can't.
	Decides string `json:"decides,omitempty"`
}

const (
	restAdvice    = "Rest two minutes after each mouthpiece, longer after high notes. Stop when your lips are sore: a sore lip judges wrong. A mouthpiece change takes days to settle."
	hygieneAdvice = "Wash and disinfect every mouthpiece before it goes to your lips, and again when you hand it back."
)

// sheet lays a plan out.
func (s *visitState) sheet(steps []visit.Step) *VisitSheet {
	standings := s.before
	out := &VisitSheet{
		Name: s.kept.Name, Horn: s.horn.Label, Player: s.player.Label, Now: s.mouthpieces[0].Label, NowError: expectedOf(standings[0]),
		Blind: s.kept.Blind, Tries: []PlannedTry{}, Times: s.kept.Times, Rest: restAdvice, Hygiene: hygieneAdvice,
		StopCents: s.kept.Cents, StopChance: s.kept.Chance, TriesAsked: s.kept.Tries, Considered: len(s.mouthpieces) - 1,
	}
	out.Minutes = int(math.Ceil(float64(s.kept.Planned) * MinutesPerTry(len(s.kept.Notes))))
	gains := map[int]float64{}
	for _, step := range steps {
		gains[step.Setup] = step.GainCents
	}
	var setups []int
	for i, c := range s.kept.Candidates[:s.kept.Planned] {
		at := s.setups[c.Code]
		setups = append(setups, at)
		x := s.joint.Setups[at]
		out.Tries = append(out.Tries, PlannedTry{
			Number: i + 1, Code: c.Code, Mouthpiece: s.mouthpieces[at].Label, Control: at == 0, Error: expectedOf(standings[at]),
			ChanceBetter: s.visit.Better(at, 0, 0), GainCents: gains[at], Basis: x.Evidence.Basis, Sessions: x.Evidence.Mouthpiece, Linked: x.Linked,
		})
	}
	reference := s.reference()
	out.Reference = s.noteName(reference)
	if len(setups) > 0 {
		all := make([]int, len(s.plan.problem.Slots()))
		for j := range all {
			all[j] = j
		}
		out.Explained = s.visit.Explained(setups, s.notes) / math.Max(1e-12, s.visit.Explained(setups, all))
	}
	for _, j := range s.notes {
		out.Notes = append(out.Notes, s.decidingNote(j, reference))
	}
	s.advise(out)
	return out
}

func expectedOf(x visit.Standing) Expected { return Expected{x.ErrorCents, x.Low, x.High} }

// reference is the note that the horn is tuned to: open, in the middle of the
// range; C5 on most instruments.
func (s *visitState) reference() int {
	best, away := 0, math.Inf(1)
	for j, slot := range s.plan.problem.Slots() {
		d := math.Abs(float64(slot.Note() - 72))
		if slot.Valves != 0 {
			d += 100
		}
		if d < away {
			best, away = j, d
		}
	}
	return best
}

func (s *visitState) slot(j int) pitch.Slot { return s.plan.problem.Slots()[j] }

func (s *visitState) noteName(j int) string { return s.slot(j).Note().String() }

func (s *visitState) decidingNote(j, reference int) DecidingNote {
	slot := s.slot(j)
	n := DecidingNote{
		Note: slot.Note().String(), Fingering: slot.Valves.String(), Partial: slot.Partial,
		Sounds: (slot.Note() + pitch.Note(s.horn.Transposition())).String(),
	}
	n.Now = s.visit.Window(0, j, reference).Expected
	var differences []float64
	for _, c := range s.kept.Candidates[:s.kept.Planned] {
		if s.setups[c.Code] == 0 {
			continue
		}
		w := s.visit.Window(s.setups[c.Code], j, reference)
		x := NoteWindow{Code: c.Code, Expected: w.Expected, Low: w.Low, High: w.High, Difference: w.Difference}
		if w.Decides {
			x.Decides = fmt.Sprintf("below %+.0f", w.Limit)
			if w.Above {
				x.Decides = fmt.Sprintf("above %+.0f", w.Limit)
			}
		}
		n.Windows = append(n.Windows, x)
		differences = append(differences, w.Difference)
	}
	n.Listen = listenFor(n.Now, differences)
	return n
}

// listenFor says what to listen for on a note: where it lies now, and which way
// the candidates should move it.
func listenFor(now float64, differences []float64) string {
	const small = 1.0 // cents that nobody hears
	text := fmt.Sprintf("%s with yours", place(now))
	if len(differences) == 0 {
		return text + "."
	}
	slices.Sort(differences)
	low, high := differences[0], differences[len(differences)-1]
	switch {
	case low > -small && high < small:
		return text + "; hardly moves with any candidate: a check that the tuning still holds."
	case low >= -small:
		return fmt.Sprintf("%s; goes up with the candidates, by %.0f cents at most: does it lift away from a drone, or settle into it?", text, high)
	case high <= small:
		return fmt.Sprintf("%s; comes down with the candidates, by %.0f cents at most: does it sink below a drone, or settle into it?", text, -low)
	}
	return fmt.Sprintf("%s; candidates pull it both ways, %+.0f to %+.0f cents: which of them leave it alone with a drone, without help from your lip?", text, low, high)
}

func place(cents float64) string {
	switch rounded := math.Round(cents); {
	case rounded > 0:
		return fmt.Sprintf("%.0f sharp", rounded)
	case rounded < 0:
		return fmt.Sprintf("%.0f flat", -rounded)
	}
	return "in tune"
}

// advise says whether to go at all.
func (s *visitState) advise(out *VisitSheet) {
	done, rival, chance := s.visit.Done(nil, nil, visit.Rule{Cents: s.kept.Cents, Chance: s.kept.Chance})
	out.Keep = done
	switch {
	case rival < 0 || len(out.Tries) == 0:
		out.Advice = fmt.Sprintf("Keep what you have: nothing in this stock is expected to be better than %s.", out.Now)
	case done:
		out.Advice = fmt.Sprintf("Keep what you have: of %s looked into, none has more than a %.0f %% chance of leaving %.1f cents less than %s. The tries below are for curiosity.",
			Count(out.Considered, "mouthpiece"), 100*math.Max(chance, s.kept.Chance), out.StopCents, out.Now)
	default:
		better := 0.0
		for _, t := range out.Tries {
			better += t.GainCents
		}
		out.Advice = fmt.Sprintf("Worth a visit: the best of these tries is expected to leave %.1f cents less than %s, which leaves %.1f. The candidate with the best chance of saving more than %.1f cents has %.0f %%.",
			better, out.Now, out.NowError.Cents, out.StopCents, 100*chance)
	}
}
