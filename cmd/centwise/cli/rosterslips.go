package cli

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/tuning"
)

// slipsOf makes the loan slips of a plan.
func slipsOf(e match.Engine, r *match.Roster, q match.RosterQuestion, class *classList, names map[string]string) (show.LoanSlips, error) {
	out := show.LoanSlips{}
	for _, l := range r.Lines {
		s := &class.students[slices.IndexFunc(class.students, func(s match.Student) bool { return s.Player.Label == l.Student })]
		of, err := setupOf(l, s, q)
		if err != nil {
			return out, err
		}
		x, err := match.Explain(e, of, s.Criteria, q.Adapter)
		if err != nil {
			return out, err
		}
		slip := show.LoanSlip{Student: l.Student, Name: names[l.Student], Horn: l.Horn, Design: designOf(of.Horn.Maker, of.Horn.Model, of.Horn.Serial), Mouthpiece: l.Mouthpiece, Own: l.Own,
			Tune: tuneWords(x), Slides: throwWords(x, of.Horn), Watch: watchWords(x)}
		if !l.Own {
			slip.PieceDesign = designOf(of.Mouthpiece.Maker, of.Mouthpiece.Model, of.Mouthpiece.Serial)
		}
		out.Slips = append(out.Slips, slip)
	}
	return out, nil
}

// setupOf finds the gear of a line.
func setupOf(l match.RosterLine, s *match.Student, q match.RosterQuestion) (match.Of, error) {
	of := match.Of{Player: &s.Player}
	horns := q.Horns
	if q.WhatIf != nil {
		horns = slices.Concat(horns, q.WhatIf.Add)
	}
	h := slices.IndexFunc(horns, func(h catalog.Horn) bool { return h.Label == l.Horn })
	m := slices.IndexFunc(q.Spares, func(m match.Spare) bool { return m.Mouthpiece.Label == l.Mouthpiece })
	switch {
	case h >= 0 && l.Own:
		of.Horn, of.Mouthpiece = horns[h], *s.Own
	case h >= 0 && m >= 0:
		of.Horn, of.Mouthpiece = horns[h], q.Spares[m].Mouthpiece
	default:
		return of, fmt.Errorf("the plan gives %s with %s, which it was not asked about", l.Horn, l.Mouthpiece)
	}
	return of, nil
}

func designOf(maker, model, serial string) string {
	text := strings.TrimSpace(maker + " " + model)
	if serial != "" {
		text = strings.TrimPrefix(text+", number "+serial, ", ")
	}
	return text
}

// tuningNotes are those that bands tune to, written, by what is likeliest: open
// notes in the middle.
var tuningNotes = []string{"C5", "G4", "C4", "E5"}

// tuneWords say where to set the tuning slide: so that an open note reads what
// it does when the notes as a whole are best.
func tuneWords(x *match.Explanation) string {
	for _, name := range tuningNotes {
		at := slices.IndexFunc(x.Notes, func(n match.NoteLine) bool { return n.Note == name && n.Valves == "0" })
		if at < 0 {
			continue
		}
		n := x.Notes[at]
		reads := "in tune"
		if c := math.Round(n.Cents - n.Slide); c != 0 {
			reads = show.Signed(c, 0) + " cents"
		}
		return fmt.Sprintf("Warm up, then set the tuning slide so that %s (a tuner says %s) reads %s: the notes as a whole are best there.", n.Note, n.Concert, reads)
	}
	return "Warm up, then set the tuning slide so that the notes in the middle are in tune as a whole."
}

// A throw is worth a line from leastThrow cents on, and a note is watched from
// leastWatched on; a slip has room for so many of each.
const (
	leastThrow, leastWatched = 5.0, 5.0
	slipLines                = 6
)

// throwWords say how far valve slides are to be extended.
func throwWords(x *match.Explanation, h catalog.Horn) []string {
	var out []string
	_, length := tuning.ForHorn(h)
	for _, n := range largest(x.Notes, func(n match.NoteLine) float64 { return n.Throw }, leastThrow) {
		valves, err := pitch.ParseValves(n.Valves)
		if err != nil {
			continue // every note has a fingering
		}
		third, first := slideWays(tuning.SlideMM(n.Throw, length*valves.Ratio()), valves, h)
		var ways []string
		for _, way := range []struct {
			slide string
			mm    float64
		}{{"third", third}, {"first", first}} {
			if math.Round(way.mm) > 0 {
				ways = append(ways, fmt.Sprintf("%s slide out by %.0f mm", way.slide, way.mm))
			}
		}
		out = append(out, fmt.Sprintf("%s, %s: %s", n.Note, show.Fingering(valves), strings.Join(ways, ", ")))
	}
	return out
}

// slideWays shares a way between the slides of the valves that are pressed: the
// third takes what it can.
func slideWays(mm float64, valves pitch.Valves, h catalog.Horn) (third, first float64) {
	if valves.Uses(3) {
		third = min(mm, h.Throw3MM)
	}
	return third, mm - third
}

// watchWords name the notes left to the lip, and better fingerings.
func watchWords(x *match.Explanation) []string {
	var out []string
	for _, n := range largest(x.Notes, func(n match.NoteLine) float64 { return math.Abs(n.Left) }, leastWatched) {
		text := fmt.Sprintf("%s: about %.0f cents sharp, bring it down", n.Note, n.Left)
		if n.Left < 0 {
			text = fmt.Sprintf("%s: about %.0f cents flat, bring it up", n.Note, -n.Left)
		}
		at := slices.IndexFunc(x.Alternates, func(a match.Alternate) bool { return a.Note == n.Note && a.Sure() })
		if at >= 0 {
			if valves, err := pitch.ParseValves(x.Alternates[at].Valves); err == nil {
				text += ", or try it on " + show.Fingering(valves)
			}
		}
		out = append(out, text)
	}
	return out
}

// largest are the notes that count and have at least so much of something, the
// most first, as many as a slip has room for, then upwards.
func largest(notes []match.NoteLine, size func(match.NoteLine) float64, least float64) []match.NoteLine {
	var at []int
	for i, n := range notes {
		if n.Weight > 0 && size(n) >= least {
			at = append(at, i)
		}
	}
	slices.SortStableFunc(at, func(a, b int) int { return cmp.Compare(size(notes[b]), size(notes[a])) })
	at = at[:min(len(at), slipLines)]
	slices.Sort(at)
	var out []match.NoteLine
	for _, i := range at {
		out = append(out, notes[i])
	}
	return out
}
