package match

import (
	"cmp"
	"context"
	"fmt"
	"iter"
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
func Check(ctx context.Context, e Witness, in Measurements) ([]catalog.Finding, error) {
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
	engine   Witness
	answered func(pitch.Slot) bool
	horns    map[catalog.ID]catalog.Horn
	progress catalog.Counter
	findings []catalog.Finding
	levels   []level
	copies   copies
}

func newChecker(e Witness, in Measurements) *checker {
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
	x, err := c.expect(batch)
	if err != nil {
		return fmt.Errorf("predicting the sessions to check: %w", err)
	}
	type result struct {
		sheet    *sheet
		findings []catalog.Finding
		level    float64
		levelled bool
	}
	results := make([]result, len(batch))
	onCores(len(batch), func() func(i int) {
		return func(i int) {
			m := batch[i]
			s := newSheet(m, c.valves(m.Horn), max(minNoise, c.engine.ReadingNoiseOf(m.Contributor, m.Method)))
			full := x.full(i)
			level, ok := s.level(full)
			results[i] = result{s, s.check(full, x.common(i)), level, ok}
		}
	})
	for _, r := range results {
		c.findings = append(c.findings, r.findings...)
		c.copies.add(r.sheet)
		if r.levelled {
			c.levels = append(c.levels, level{r.sheet.Contributor, r.sheet.Method, r.level})
		}
	}
	c.progress.Add(int64(len(batch)))
	return nil
}

// minNoise is the least noise of a reading in cents: who seems steadier is so by
// chance.
const minNoise = 3.0

// expected is what is expected of the sessions of a batch.
type expected struct {
	*outlook
	whole, others []fit.Prediction
	spread        []fit.Spreads
}

func (x expected) full(i int) expectation {
	return x.outlook.expect(x.whole[i], x.others[i], x.spread[i])
}

func (x expected) common(i int) expectation { return x.expectCommon(x.whole[i], x.spread[i]) }

func (c *checker) expect(batch []catalog.Measured) (x expected, err error) {
	if x.outlook, err = newOutlook(c.engine, c.slots(batch)); err != nil {
		return x, err
	}
	setups := make([]fit.Setup, len(batch))
	for i, m := range batch {
		setups[i] = fit.Setup{Horn: m.Horn, Mouthpiece: m.Mouthpiece, Player: m.Player, Bench: m.Player == ""}
		usual, err := x.outlook.spread(c.horns[m.Horn].Transposition())
		if err != nil {
			return x, err
		}
		x.spread = append(x.spread, usual)
	}
	if x.whole, err = c.predict(setups, x.slots); err != nil {
		return x, err
	}
	for i, p := range x.whole {
		setups[i] = leaveOut(setups[i], p.Evidence)
	}
	x.others, err = c.predict(setups, x.slots)
	return x, err
}

func (c *checker) predict(setups []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error) {
	predictions, err := c.engine.PredictMany(setups, slots)
	if err == nil {
		err = usable(predictions, len(setups), len(slots))
	}
	return predictions, err
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
