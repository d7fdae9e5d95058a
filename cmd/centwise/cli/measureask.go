package cli

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/cmd/centwise/form"
)

// required are the options without which nothing can be measured.
func (o *measureOptions) required() (missing []string) {
	for _, r := range []struct{ flag, value string }{{"--horn", o.horn}, {"--mouthpiece", o.mouthpiece}, {"--player", o.player}} {
		if strings.TrimSpace(r.value) == "" {
			missing = append(missing, r.flag)
		}
	}
	return missing
}

// ask fills in what the flags leave open, if something that is needed is missing
// and somebody is there to be asked.
func (o *measureOptions) ask(ctx context.Context, store catalog.Store) error {
	missing := o.required()
	if len(missing) == 0 {
		return nil
	}
	asker := o.factory.Asker()
	if asker == nil {
		return usagef(`centwise measure --horn Alder --mouthpiece "Plover 16.2" --player reed-otter`, "measure needs %s", strings.Join(missing, " and "))
	}
	known, err := o.lookUp(ctx, store)
	if err != nil {
		return err
	}
	return asker.Ask(ctx, o.questions(known))
}

// holdings is what the questions choose from.
type holdings struct {
	horns       []catalog.Horn
	mouthpieces []catalog.Mouthpiece
	players     []catalog.Player
	last        catalog.Session // the last one measured; zero if there is none
	dynamics    []string
}

func (o *measureOptions) lookUp(ctx context.Context, store catalog.Store) (holdings, error) {
	var h holdings
	var err error
	if h.horns, err = store.Horns(ctx, false); err != nil {
		return h, err
	}
	if h.mouthpieces, err = store.Mouthpieces(ctx, false); err != nil {
		return h, err
	}
	if h.players, err = store.Players(ctx, false); err != nil {
		return h, err
	}
	for _, need := range []struct {
		noun string
		n    int
	}{{"horn", len(h.horns)}, {"mouthpiece", len(h.mouthpieces)}, {"player", len(h.players)}} {
		if need.n == 0 {
			return h, catalog.Errorf(catalog.NotFound, "add it first: centwise "+need.noun+" add LABEL"+o.factory.Here(), "there is no %s in the catalog", need.noun)
		}
	}
	return h, h.remember(ctx, store)
}

// remember looks for the last session, or draft if that is newer, and for the
// words that were used for loudness.
func (h *holdings) remember(ctx context.Context, store catalog.Store) error {
	sessions, err := store.Sessions(ctx, catalog.SessionFilter{})
	if err != nil {
		return err
	}
	var at time.Time
	for _, s := range sessions {
		if s.Method == catalog.MethodTuner {
			h.last, at = s.Session, s.Recorded
		}
		if s.Dynamic != "" && !slices.Contains(h.dynamics, s.Dynamic) {
			h.dynamics = append(h.dynamics, s.Dynamic)
		}
	}
	drafts, err := store.Drafts(ctx)
	if n := len(drafts); n > 0 && drafts[n-1].Started.After(at) {
		h.last = drafts[n-1].Session
	}
	return err
}

// questions fill the options that the flags leave open.
func (o *measureOptions) questions(h holdings) form.Form {
	pages := o.pages(h)
	var open []form.Page
	for _, page := range pages {
		page.Questions = slices.DeleteFunc(page.Questions, func(q form.Question) bool {
			if q.Answer == &o.rounds {
				return o.given
			}
			return *q.Answer != ""
		})
		if len(page.Questions) > 0 {
			open = append(open, page)
		}
	}
	o.preset(h)
	return form.Form{Title: "Measure a session", Pages: open}
}

// pages are all questions.
func (o *measureOptions) pages(h holdings) []form.Page {
	who := form.Page{Title: "Who plays what", Questions: o.gearQuestions(h)}
	how := form.Page{Title: "The place and the tuner", Questions: []form.Question{
		o.measure("A4", "Hz", "What the tuner is set to.", &o.a4, false, func(s *catalog.Session, v *float64) { s.A4Hz = *v }),
		o.measure("Temperature", "C", "In the room, if there is a thermometer.", &o.temperature, true, func(s *catalog.Session, v *float64) { s.TemperatureC = v }),
		o.measure("Tuning slide", "mm", "How far the main slide is pulled out, between its ferrules.", &o.slide, true, func(s *catalog.Session, v *float64) { s.SlideMM = v }),
		o.measure("Gap", "mm", "From the end of the shank to the start of the leadpipe: what a thin rod reaches from the receiver's mouth, less the length of the shank in it.", &o.gap, true, func(s *catalog.Session, v *float64) { s.GapMM = v }),
		{Name: "Loudness", Help: "How loud all notes are played, as in mf.", Answer: &o.dynamic, Optional: true, Known: h.dynamics, Check: o.checked(func(s *catalog.Session, text string) { s.Dynamic = text })},
	}}
	what := form.Page{Title: "The notes", Questions: []form.Question{
		{Name: "Rounds", Help: "How many times each note is read; three show how far readings scatter.", Answer: &o.rounds,
			Check: func(text string) error { _, err := (&measureOptions{rounds: text}).roundCount(); return err }},
		{Name: "Remark", Help: "Anything worth knowing later.", Answer: &o.remark, Optional: true, Check: o.checked(func(s *catalog.Session, text string) { s.Remark = text })},
	}}
	return []form.Page{who, how, what}
}

// preset puts the last answers where the flags say nothing. The temperature is
// asked anew: it is never the same.
func (o *measureOptions) preset(h holdings) {
	set := func(to *string, text string) {
		if *to == "" {
			*to = text
		}
	}
	number := func(x *float64) string {
		if x == nil {
			return ""
		}
		return strconv.FormatFloat(*x, 'f', -1, 64)
	}
	for _, x := range h.horns {
		if x.ID == h.last.Horn {
			set(&o.horn, x.Label)
		}
	}
	for _, x := range h.mouthpieces {
		if x.ID == h.last.Mouthpiece {
			set(&o.mouthpiece, x.Label)
		}
	}
	for _, x := range h.players {
		if x.ID == h.last.Player {
			set(&o.player, x.Label)
		}
	}
	pitch := h.last.Pitch()
	set(&o.a4, number(&pitch))
	set(&o.slide, number(h.last.SlideMM))
	set(&o.gap, number(h.last.GapMM))
	set(&o.dynamic, h.last.Dynamic)
	set(&o.contributor, h.last.Contributor)
}

func (o *measureOptions) gearQuestions(h holdings) []form.Question {
	labels := func(n int, at func(int) string) []string {
		out := make([]string, n)
		for i := range out {
			out[i] = at(i)
		}
		return out
	}
	horns := labels(len(h.horns), func(i int) string { return h.horns[i].Label })
	mouthpieces := labels(len(h.mouthpieces), func(i int) string { return h.mouthpieces[i].Label })
	players := labels(len(h.players), func(i int) string { return h.players[i].Label })
	return []form.Question{
		{Name: "Horn", Help: "Its label in the catalog.", Answer: &o.horn, Known: horns, Check: labelKnown("horn", horns)},
		{Name: "Mouthpiece", Help: "Its label in the catalog.", Answer: &o.mouthpiece, Known: mouthpieces, Check: func(text string) error {
			if err := labelKnown("mouthpiece", mouthpieces)(text); err != nil {
				return err
			}
			return o.fits(h, text)
		}},
		{Name: "Player", Help: "The player's handle in the catalog.", Answer: &o.player, Known: players, Check: labelKnown("player", players)},
		{Name: "Contributor", Help: "The handle of who reads the tuner and types.", Answer: &o.contributor, Optional: true, Check: o.checked(func(s *catalog.Session, text string) { s.Contributor = text })},
	}
}

// labelKnown checks a label.
func labelKnown(noun string, have []string) func(string) error {
	return func(text string) error {
		if slices.ContainsFunc(have, func(l string) bool { return catalog.Fold(l) == catalog.Fold(text) }) {
			return nil
		}
		missing := catalog.Missing(noun, text, have)
		return fmt.Errorf("%s; %s", missing.What, missing.Hint)
	}
}

// fits checks shank and receiver before anything is played.
func (o *measureOptions) fits(h holdings, mouthpiece string) error {
	for _, horn := range h.horns {
		for _, m := range h.mouthpieces {
			if catalog.Fold(horn.Label) == catalog.Fold(o.horn) && catalog.Fold(m.Label) == catalog.Fold(mouthpiece) {
				return problemOnly((catalog.Session{Adapter: o.adapter}).Fits(horn, m))
			}
		}
	}
	return nil
}

// measure asks for a measure; its check is the catalog's.
func (o *measureOptions) measure(name, unit, help string, answer *string, optional bool, set func(*catalog.Session, *float64)) form.Question {
	return form.Question{Name: name, Unit: unit, Help: help, Answer: answer, Optional: optional, Check: func(text string) error {
		v, err := parseNumber(text, unit)
		if err != nil {
			return err
		}
		var s catalog.Session
		set(&s, &v)
		return factsOnly(s)
	}}
}

// checked checks a text as part of a session.
func (o *measureOptions) checked(set func(*catalog.Session, string)) func(string) error {
	return func(text string) error {
		var s catalog.Session
		set(&s, text)
		s.Normalize()
		return factsOnly(s)
	}
}

// factsOnly is what is wrong with the facts of a session that has no name, no
// gear and no readings yet.
func factsOnly(s catalog.Session) error {
	for _, p := range catalog.ProblemsOf(s.Validate()) {
		if !slices.Contains([]string{"session", "horn", "mouthpiece", "player", "readings"}, p.Field) {
			return fmt.Errorf("it %s; %s", p.What, p.Hint)
		}
	}
	return nil
}

// problemOnly is the first problem without the record that has it.
func problemOnly(err error) error {
	for _, p := range catalog.ProblemsOf(err) {
		return fmt.Errorf("%s; %s", p.What, p.Hint)
	}
	return err
}
