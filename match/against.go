package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/match/fit"
)

// Gain compares a pairing with the setup that is played now, in the same joint
// draws, so that what the two have in common does not blur the difference.
type Gain struct {
	Cents float64 `json:"cents"` // expected fall of the error; below nought: it rises
	Low   float64 `json:"low"`   // 80 % interval
	High  float64 `json:"high"`
	// ChanceBetter is the share of draws in which the error is less; draws in
	// which it is the same count half.
	ChanceBetter float64 `json:"chance_better"`
}

// Against is the setup that a ranking is compared with, and whether changing is
// worth it.
type Against struct {
	Horn       string  `json:"horn"`
	Mouthpiece string  `json:"mouthpiece"`
	ErrorCents float64 `json:"error_cents"` // expected, as that of a pairing
	Low        float64 `json:"low"`
	High       float64 `json:"high"`
	// MeasurableCents is the least difference that one session with each of two
	// setups can show, see measurable; 0 when the noise of readings is not known.
	MeasurableCents float64 `json:"measurable_cents"`
	// Best is the pairing with the greatest expected gain, nil when the list
	// holds nothing else than the setup itself.
	Best   *Pairing `json:"-"`
	Worth  bool     `json:"worth_changing"`
	Answer string   `json:"answer"`
}

// presentSetup is the setup played now, predicted and judged.
type presentSetup struct {
	horn       catalog.Horn
	mouthpiece catalog.Mouthpiece
	verdict    Verdict
	errs       []float64 // of every draw
	notes      float64   // how many notes count, see measurable
	measurable float64
}

// noiseTeller is an [Engine] that knows the noise of readings.
type noiseTeller interface {
	// ReadingNoise is the standard deviation of a good reading, in cents.
	ReadingNoise() float64
}

// presently predicts and judges the setup that a question compares with.
func (q Question) presently(e Engine) (*presentSetup, error) {
	if q.Against == nil {
		return nil, nil
	}
	now := &presentSetup{horn: q.Against.Horn, mouthpiece: q.Against.Mouthpiece}
	if !fits(now.horn, now.mouthpiece) && !q.Filter.Adapter {
		return nil, catalog.Errorf(catalog.Invalid, "name the setup that is played, or say that an adapter is used",
			"the %s shank of %s does not fit the %s receiver of %s", now.mouthpiece.Shank, now.mouthpiece.Label, now.horn.Receiver, now.horn.Label)
	}
	p, err := q.Criteria.plan(now.horn, answers(e), false)
	if err != nil {
		return nil, err
	}
	setup := fit.Setup{Horn: now.horn.ID, Mouthpiece: now.mouthpiece.ID}
	if q.Player != nil {
		setup.Player = q.Player.ID
	}
	predictions, err := e.PredictMany([]fit.Setup{setup}, p.slots)
	if err == nil {
		err = usable(predictions, 1, len(p.slots))
	}
	if err != nil {
		return nil, fmt.Errorf("predicting %s with %s, which the list is compared with: %w", now.horn.Label, now.mouthpiece.Label, err)
	}
	now.verdict, _, now.errs = p.judge(predictions[0], false)
	now.notes = p.notes()
	if n, ok := e.(noiseTeller); ok {
		now.measurable = measurable(n.ReadingNoise(), now.notes)
	}
	return now, nil
}

// notes is how many notes a plan judges by: all when they count alike, fewer the
// more unevenly they do (the effective number (sum w)^2 / sum w^2 of L. Kish,
// Survey Sampling, 1965, from memory).
func (p plan) notes() float64 {
	sum, squares := 0.0, 0.0
	for j := range p.problem.Slots() {
		w := p.problem.Weight(j)
		sum += w
		squares += w * w
	}
	return sum * sum / squares
}

// measurable is the least fall of the error, in cents, that one session with
// each of two setups would show with 90 % chance.
//
// The error is the root mean square E of what n notes leave. Readings with
// independent errors of standard deviation noise move it by dE = sum_j l_j dl_j /
// (n E) to first order, where sum_j l_j^2 = n E^2, so by noise / sqrt(n); the
// difference of two sessions has sqrt 2 times that. What else differs from day
// to day comes on top, so a smaller difference is certainly not seen.
func measurable(noise, n float64) float64 { return z80 * noise * math.Sqrt(2/n) }

// is reports whether a pairing is the setup that is played now.
func (now *presentSetup) is(p *Pairing) bool {
	return p.Horn == now.horn.Label && p.Mouthpiece == now.mouthpiece.Label
}

// compare fills in the gains of a list. Pairings that are pooled, because
// nothing tells them apart, have the gain of them all together.
func (now *presentSetup) compare(list []Pairing) {
	if now == nil {
		return
	}
	pooled := map[group][]float64{}
	own := make([][]float64, len(list))
	for i := range list {
		p := &list[i]
		if p.Now = now.is(p); p.Now {
			continue
		}
		gains := make([]float64, len(p.errs))
		for k, e := range p.errs {
			gains[k] = now.errs[k] - e
		}
		if own[i] = gains; p.group != (group{}) {
			pooled[p.group] = append(pooled[p.group], gains...)
		}
	}
	of := map[group]*Gain{}
	for g, gains := range pooled {
		of[g] = gainOf(gains)
	}
	for i := range list {
		switch p := &list[i]; {
		case p.Now:
		case p.group != (group{}):
			p.Gain = of[p.group]
		default:
			p.Gain = gainOf(own[i])
		}
	}
}

// gainOf sums up the gains of all draws.
func gainOf(gains []float64) *Gain {
	g := &Gain{Cents: mean(gains)}
	for _, x := range gains {
		switch {
		case x > 0:
			g.ChanceBetter++
		case x == 0:
			g.ChanceBetter += 0.5
		}
	}
	g.ChanceBetter /= float64(len(gains))
	slices.Sort(gains)
	g.Low, g.High = quantile(gains, 0.1), quantile(gains, 0.9)
	return g
}

// answer says whether changing is worth it, for a list whose gains are known.
func (now *presentSetup) answer(list []Pairing, sought side) *Against {
	if now == nil {
		return nil
	}
	a := &Against{
		Horn: now.horn.Label, Mouthpiece: now.mouthpiece.Label,
		ErrorCents: now.verdict.ErrorCents, Low: now.verdict.Low, High: now.verdict.High, MeasurableCents: now.measurable,
	}
	for i := range list {
		if g := list[i].Gain; g != nil && (a.Best == nil || g.Cents > a.Best.Gain.Cents) {
			best := list[i]
			a.Best = &best
		}
	}
	a.Answer, a.Worth = a.verdict(now.notes, sought)
	return a
}

// verdict puts the answer into words. Changing is worth it when the 80 % interval
// of the best gain lies above nought and the gain is one that could be measured.
func (a *Against) verdict(notes float64, sought side) (text string, worth bool) {
	now := fmt.Sprintf("%s with %s", a.Horn, a.Mouthpiece)
	if a.Best == nil {
		return fmt.Sprintf("There is nothing to change to: the list holds only %s.", now), false
	}
	g, name := a.Best.Gain, a.Best.named(sought, a.Horn, a.Mouthpiece)
	less := fmt.Sprintf("%s should leave %.1f cents less to the lip than %s, which leaves %.1f (80 %% chance of %.1f to %.1f less; %s that it is better at all)",
		name, g.Cents, now, a.ErrorCents, g.Low, g.High, likely(g.ChanceBetter))
	switch {
	case g.Cents <= 0:
		return fmt.Sprintf("No: nothing in the list should leave less to the lip than %s, which leaves %.1f cents.", now, a.ErrorCents), false
	case g.Cents < a.MeasurableCents:
		return fmt.Sprintf("No: the difference is below what you can measure. At best, %s; a session with each, of %s, shows no less than %.1f.", less, sessionOf(notes), a.MeasurableCents), false
	case g.Low <= 0:
		return fmt.Sprintf("No, not by what has been measured: the difference may be nought. At best, %s. A session with it would tell more.", less), false
	}
	return fmt.Sprintf("Yes: %s.", less), true
}

// likely says a chance in words: a few hundred draws make nothing certain.
func likely(chance float64) string {
	switch {
	case chance > 0.99:
		return "more than 99 %"
	case chance < 0.01:
		return "less than 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*chance)
}

// sessionOf says how many notes a session has, about.
func sessionOf(notes float64) string { return Count(int(math.Round(notes)), "note") }

// named names a pairing by what differs from the setup played now.
func (p *Pairing) named(sought side, horn, mouthpiece string) string {
	switch {
	case sought == mouthpieces && p.Horn == horn:
		return p.Mouthpiece
	case sought == horns && p.Mouthpiece == mouthpiece:
		return p.Horn
	}
	return fmt.Sprintf("%s with %s", p.Horn, p.Mouthpiece)
}
