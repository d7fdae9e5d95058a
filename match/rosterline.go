package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/match/fit"
	"centwise/match/tuning"
)

// roster turns a plan into an answer.
func (d *desk) roster(p *rosterPlan) (*Roster, error) {
	r := &Roster{Fairest: d.q.Fairest, ChangeCents: d.q.ChangeCents, Proof: p.proof, Unserved: d.unserved(p), Lines: []RosterLine{}, Spare: []string{}}
	others := d.runnerUps(p)
	var gains classGains
	for i, h := range p.horn {
		if h < 0 {
			continue
		}
		line, gain, err := d.line(i, h, p.extra[i])
		if err != nil {
			return nil, err
		}
		line.RunnerUp = others[i]
		gains.add(gain)
		r.add(line)
	}
	if len(r.Lines) > 0 {
		r.MeanCents /= float64(len(r.Lines))
	}
	r.Gain = gains.sum()
	for h, x := range d.horns {
		if !p.rules.gone[h] && !slices.Contains(p.horn, h) {
			r.Spare = append(r.Spare, x.Label)
		}
	}
	r.Notes = d.notes(r)
	return r, nil
}

func (r *Roster) add(line RosterLine) {
	r.Lines = append(r.Lines, line)
	r.MeanCents += line.ErrorCents
	if line.ErrorCents > r.WorstCents {
		r.WorstCents, r.WorstOf = line.ErrorCents, line.Student
	}
	if line.Moved {
		r.Moved++
	}
}

// line judges what a student gets, and against what they play now; the gains are
// of every draw, nil when nothing is played now.
func (d *desk) line(i, h, extra int) (RosterLine, []float64, error) {
	s, horn, mouthpiece := d.students[i], d.horns[h], d.mouthpiece(i, extra)
	x, err := d.judgePair(i, *horn, *mouthpiece)
	if err != nil {
		return RosterLine{}, nil, err
	}
	line := RosterLine{
		Student: s.Player.Label, Horn: horn.Label, Mouthpiece: mouthpiece.Label, Own: extra == 0,
		Verdict: x.verdict, Basis: x.prediction.Evidence.Basis, Linked: x.prediction.Linked, Weighting: s.Criteria.For(&s.Player).weighting(),
		Sessions: d.sessions[i], PairSessions: x.prediction.Evidence.Pair,
	}
	if s.NowHorn != nil {
		line.NowHorn, line.Moved = s.NowHorn.Label, s.NowHorn.ID != horn.ID
	}
	if s.NowMouthpiece != nil {
		line.NowMouthpiece = s.NowMouthpiece.Label
	}
	if s.NowHorn == nil || s.NowMouthpiece == nil {
		return line, nil, nil
	}
	now, err := d.judgePair(i, *s.NowHorn, *s.NowMouthpiece)
	if err != nil {
		return RosterLine{}, nil, err
	}
	line.NowCents = &now.verdict.ErrorCents
	gains := make([]float64, len(x.errs))
	for k := range gains {
		gains[k] = now.errs[k] - x.errs[k]
	}
	line.Gain = gainOf(slices.Clone(gains))
	return line, gains, nil
}

// judgedPair is a pair as a student plays it.
type judgedPair struct {
	plan       plan
	prediction fit.Prediction
	verdict    Verdict
	result     tuning.Result
	errs       []float64
}

func (d *desk) judgePair(i int, h catalog.Horn, m catalog.Mouthpiece) (x judgedPair, err error) {
	s := d.students[i]
	if x.plan, err = s.Criteria.For(&s.Player).plan(h, answers(d.e), false); err != nil {
		return x, err
	}
	setup := Of{Horn: h, Mouthpiece: m, Player: d.judged[i]}.setup()
	predictions, err := d.e.PredictMany([]fit.Setup{setup}, x.plan.slots)
	if err == nil {
		err = usable(predictions, 1, len(x.plan.slots))
	}
	if err != nil {
		return x, fmt.Errorf("predicting %s with %s for %s: %w", h.Label, m.Label, s.Player.Label, err)
	}
	x.prediction = predictions[0]
	x.verdict, x.result, x.errs = x.plan.judge(x.prediction, false)
	return x, nil
}

// classGains gathers the gains of students, draw by draw.
type classGains struct {
	students int
	total    []float64 // of every draw
	worse    float64
}

func (g *classGains) add(gains []float64) {
	if gains == nil {
		return
	}
	if g.total == nil {
		g.total = make([]float64, len(gains))
	}
	g.students++
	for k, x := range gains {
		g.total[k] += x
		if x < -WorseOffCents {
			g.worse += 1 / float64(len(gains))
		}
	}
}

func (g *classGains) sum() *ClassGain {
	if g.students == 0 {
		return nil
	}
	for k := range g.total {
		g.total[k] /= float64(g.students)
	}
	return &ClassGain{Students: g.students, Gain: *gainOf(g.total), WorseOff: g.worse}
}

// notes say what a plan can't say by itself.
func (d *desk) notes(r *Roster) []string {
	var out, never, unknown []string
	for i, s := range d.students {
		switch {
		case s.Player.ID == "":
			unknown = append(unknown, s.Player.Label)
		case d.sessions[i] == 0:
			never = append(never, s.Player.Label)
		}
	}
	if len(unknown) > 0 {
		out = append(out, fmt.Sprintf("Not in the catalog, so judged as a typical player: %s.", nameSome(unknown)))
	}
	if len(never) > 0 {
		out = append(out, fmt.Sprintf("Nobody has measured %s: one session each, with what they play now, nearly doubles what a plan can gain for them.", nameSome(never)))
	}
	switch {
	case len(r.Lines) == 0:
	case r.Fairest && r.Proof.Exact:
		out = append(out, "No plan leaves the worst student better off.")
	case r.Fairest && r.Proof.WorstBoundCents == 0:
		out = append(out, "That no plan leaves the worst student better off was searched for, not proved.")
	case r.Fairest:
		out = append(out, fmt.Sprintf("The worst student could be left with %.1f cents at best, changes counted: that the mouthpieces go further was searched for, not proved.", r.Proof.WorstBoundCents))
	case r.Proof.Exact:
		out = append(out, "No plan has a smaller total: this was proved.")
	default:
		out = append(out, fmt.Sprintf("The best plan may be better by %s cents a student at most.", upward(r.Proof.LostCents)))
	}
	var unlinked []string
	for _, l := range r.Lines {
		if !l.Linked {
			unlinked = append(unlinked, l.Student)
		}
	}
	if len(unlinked) > 0 {
		out = append(out, fmt.Sprintf("No chain of sessions links horn and mouthpiece of %s: their errors rest on what is usual.", nameSome(unlinked)))
	}
	return out
}

// upward rounds a bound so that it stays one: up, to the hundredth of a cent.
func upward(x float64) string { return fmt.Sprintf("%.2f", math.Ceil(100*x)/100) }
