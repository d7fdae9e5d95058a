package match

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/twins"
)

// Kinds of finding that [Check] makes.
const (
	FindSignFlipped = "sign-flipped"   // sharp entered as flat
	FindWrongKey    = "wrong-key"      // entered under the notes of another key
	FindCopied      = "copied"         // the digits of another session
	FindSlideMoved  = "slide-moved"    // the level steps in the middle of a session
	FindFarReading  = "far-reading"    // one slot looks odd
	FindFarSession  = "far-session"    // a session looks odd as a whole
	FindTunerOff    = "tuner-off"      // a contributor measures higher or lower than others
	FindTwin        = twins.FindTwin   // a horn or mouthpiece entered twice
	FindTwinDesign  = twins.FindDesign // a design spelled in two ways
	FindLink        = "link"           // a link that is not in effect
)

// Measurements are what [Check] looks at: the sessions, and all gear, retired
// gear too.
type Measurements struct {
	Sessions    iter.Seq2[catalog.Measured, error]
	Horns       []catalog.Horn
	Mouthpieces []catalog.Mouthpiece
	Links       []catalog.LinkSummary
	Progress    catalog.Counter // may be nil
}

// Check looks for measurements that contradict everything else the catalog
// holds, and for gear entered twice. It changes nothing. Findings come by kind,
// the surest first.
//
// The engine may have learned from the very sessions that are checked: shares
// that rest on the session alone are left out of what is expected of it (see
// expect).
func Check(ctx context.Context, e Engine, in Measurements) ([]catalog.Finding, error) {
	c := newChecker(e, in)
	c.progress.Start("checking sessions", 0)
	defer c.progress.Done()
	if err := c.sessions(ctx, in.Sessions); err != nil {
		return nil, err
	}
	c.findings = append(c.findings, c.copies.findings()...)
	c.findings = append(c.findings, c.tuners()...)
	entered, err := EnteredTwice(ctx, e, in)
	if err != nil {
		return nil, err
	}
	c.findings = append(c.findings, entered...)
	sortFindings(c.findings)
	return c.findings, nil
}

// EnteredTwice looks for gear and designs that were entered twice, and for links
// that are not in effect. The engine may be nil: then only what is written counts.
func EnteredTwice(ctx context.Context, e Engine, in Measurements) ([]catalog.Finding, error) {
	q := twins.Question{Horns: in.Horns, Mouthpieces: in.Mouthpieces, Links: in.Links}
	q.Engine, _ = e.(twins.Engine)
	proposals, err := twins.Find(ctx, q)
	if err != nil {
		return nil, err
	}
	var out []catalog.Finding
	for _, p := range proposals {
		out = append(out, p.Finding())
	}
	for _, l := range in.Links {
		if !l.InEffect() && !l.Retired && l.Why != catalog.WhyNoAlias && l.Why != catalog.WhyNoKept {
			out = append(out, catalog.Finding{Kind: FindLink, Subject: l.AliasLabel, Certainty: 1,
				Detail: fmt.Sprintf("the link of the %s %q to %q is not in effect: %s", strings.ReplaceAll(string(l.Kind), "-", " "), l.AliasLabel, l.KeptLabel, l.Why),
				Repair: fmt.Sprintf("centwise pool unlink %s %s", l.Kind, catalog.ShellWord(l.AliasLabel))})
		}
	}
	return out, nil
}

type checker struct {
	engine   Engine
	answered func(pitch.Slot) bool
	horns    map[catalog.ID]catalog.Horn
	progress catalog.Counter
	findings []catalog.Finding
	levels   []level
	copies   copies
}

func newChecker(e Engine, in Measurements) *checker {
	c := &checker{engine: e, answered: answers(e), horns: map[catalog.ID]catalog.Horn{}, progress: in.Progress}
	if c.progress == nil {
		c.progress = catalog.NoCounter{}
	}
	for _, h := range in.Horns {
		c.horns[h.ID] = h
	}
	return c
}

// sessions checks the stream in batches.
func (c *checker) sessions(ctx context.Context, sessions iter.Seq2[catalog.Measured, error]) error {
	var batch []catalog.Measured
	for m, err := range sessions {
		if err != nil {
			return err
		}
		m.Readings = slices.Clone(m.Readings) // only valid until the next one
		if batch = append(batch, m); len(batch) == batchSize {
			if err := c.batch(ctx, batch); err != nil {
				return err
			}
			batch = batch[:0]
		}
	}
	return c.batch(ctx, batch)
}

func (c *checker) batch(ctx context.Context, batch []catalog.Measured) error {
	if err := ctx.Err(); err != nil || len(batch) == 0 {
		return err
	}
	setups := make([]fit.Setup, len(batch))
	for i, m := range batch {
		setups[i] = fit.Setup{Horn: m.Horn, Mouthpiece: m.Mouthpiece, Player: m.Player}
	}
	slots := c.slots(batch)
	predictions, err := c.engine.PredictMany(setups, slots)
	if err == nil {
		err = usable(predictions, len(setups), len(slots))
	}
	if err != nil {
		return fmt.Errorf("predicting the sessions to check: %w", err)
	}
	for i, m := range batch {
		s := newSheet(m, c.valves(m.Horn), c.noise(m.Contributor, m.Method))
		c.findings = append(c.findings, s.check(predictions[i])...)
		c.copies.add(s)
		if at, ok := s.level(predictions[i]); ok {
			c.levels = append(c.levels, level{m.Contributor, m.Method, at})
		}
	}
	c.progress.Add(int64(len(batch)))
	return nil
}

// noise is how far honest readings of a source stray in a session, in cents:
// what the engine has learned of it, if it tells, and what a day adds.
func (c *checker) noise(contributor string, method catalog.Method) float64 {
	e, ok := c.engine.(interface {
		ReadingNoiseOf(contributor string, method catalog.Method) float64
	})
	if !ok {
		return plainNoise
	}
	return max(minNoise, math.Hypot(e.ReadingNoiseOf(contributor, method), dayNoise))
}

func (c *checker) valves(horn catalog.ID) int {
	return cmp.Or(c.horns[horn].Valves, 3)
}

// slots lists what the batch was read on and the usual slots of all notes, onto
// which shifted readings are moved.
func (c *checker) slots(batch []catalog.Measured) []pitch.Slot {
	set := map[pitch.Slot]bool{}
	for _, m := range batch {
		for _, r := range m.Readings {
			set[r.Slot] = true
		}
		for _, s := range pitch.UsualSlots(0, pitch.TopUsual, c.valves(m.Horn)) {
			set[s] = true
		}
	}
	out := make([]pitch.Slot, 0, len(set))
	for s := range set {
		if c.answered(s) {
			out = append(out, s)
		}
	}
	sortSlots(out)
	return out
}

// kindOrder lists the kinds from the gravest.
var kindOrder = []string{FindSignFlipped, FindWrongKey, FindCopied, FindTwin, FindTwinDesign, FindLink, FindTunerOff, FindSlideMoved, FindFarSession, FindFarReading}

func sortFindings(list []catalog.Finding) {
	slices.SortStableFunc(list, func(a, b catalog.Finding) int {
		return cmp.Or(
			cmp.Compare(slices.Index(kindOrder, a.Kind), slices.Index(kindOrder, b.Kind)),
			cmp.Compare(b.Certainty, a.Certainty),
			cmp.Compare(a.Session, b.Session),
			cmp.Compare(a.Subject, b.Subject),
			cmp.Compare(a.Detail, b.Detail),
		)
	})
}
