package protocol

import (
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Sitting is a session under way: where it is and what was taken so far. It is
// all that the lines of a draft make of its rounds, so it can be left and taken
// up again at any line.
type Sitting struct {
	rounds [][]pitch.Slot
	live   []catalog.DraftLine // lines that were not taken back
	at     int                 // notes dealt with
	taken  []taken
	doubt  []float64 // readings of the current note that were set aside
}

// Place is the note to be read next.
type Place struct {
	Round, Rounds int // counted from 1
	Number, Of    int // within the round, counted from 1
	Slot          pitch.Slot
	Again         bool // a reading of it is in doubt
}

// Resume takes up a draft with the lines that it has. Invalid: they are not
// those of its rounds.
func Resume(d catalog.Draft) (*Sitting, error) {
	s := &Sitting{rounds: d.Rounds}
	for i, l := range d.Lines {
		if err := s.Accept(l); err != nil {
			return nil, catalog.Errorf(catalog.Invalid, "go back to a backup, or discard it: centwise session drafts discard "+string(d.ID),
				"line %d of the draft, %q, does not belong there", i+1, l)
		}
	}
	return s, nil
}

// Next is the note to be read next; false when every round is through.
func (s *Sitting) Next() (Place, bool) {
	left := s.at
	for k, round := range s.rounds {
		if left < len(round) {
			return Place{Round: k + 1, Rounds: len(s.rounds), Number: left + 1, Of: len(round), Slot: round[left], Again: len(s.doubt) > 0}, true
		}
		left -= len(round)
	}
	return Place{}, false
}

// Begun reports whether a line can be taken back.
func (s *Sitting) Begun() bool { return len(s.live) > 0 }

// Answer is what an entry comes to.
type Answer struct {
	Line catalog.DraftLine // to be written down, then accepted
	Far  Far               // why the doubted readings of the line are asked for again
}

// Answer makes a line of an entry that is a Read, Skip, Keep or Undo. Nothing
// changes until the line is given to Accept. With sure set, readings are taken
// however far they are from the others. Readings in doubt before count too if a
// new one confirms them, and go if not. Invalid, with a hint: nothing is there
// to be undone, kept or read, or too much for a line.
func (s *Sitting) Answer(e Entry, sure bool) (Answer, error) {
	p, more := s.Next()
	switch {
	case e.Command == Undo && s.Begun():
		return Answer{Line: catalog.DraftLine{Kind: catalog.LineUndo}}, nil
	case e.Command == Undo:
		return Answer{}, catalog.Errorf(catalog.Invalid, "type the first reading", "there is nothing to undo")
	case !more:
		return Answer{}, catalog.Errorf(catalog.Invalid, "undo takes the last one back", "every note has been read")
	case e.Command == Skip:
		return Answer{Line: catalog.DraftLine{Kind: catalog.LineSkip, Slot: p.Slot}}, nil
	case e.Command == Keep && p.Again:
		return Answer{Line: catalog.DraftLine{Kind: catalog.LineKeep, Slot: p.Slot}}, nil
	case e.Command == Keep:
		return Answer{}, catalog.Errorf(catalog.Invalid, EntryHint, "no reading is in doubt")
	case e.Command != Read || len(e.Cents) == 0:
		return Answer{}, catalog.Errorf(catalog.Invalid, EntryHint, "no reading was given")
	}
	a := s.read(p, e.Cents, sure)
	if n := len(a.Line.Cents) + len(a.Line.Doubt); n > catalog.MaxLineReadings {
		return Answer{}, catalog.Errorf(catalog.Invalid, "write fewer, or keep takes those in doubt as they are", "with those in doubt these are %d readings of one note, more than the %d of a line", n, catalog.MaxLineReadings)
	}
	return a, nil
}

func (s *Sitting) read(p Place, cents []float64, sure bool) Answer {
	a := Answer{Line: catalog.DraftLine{Kind: catalog.LineRead, Slot: p.Slot}}
	for _, x := range s.doubt {
		if slices.ContainsFunc(cents, func(y float64) bool { return s.agree(x, y) }) {
			a.Line.Cents = append(a.Line.Cents, x)
		}
	}
	confirmed := a.Line.Cents
	for i, far := range s.far(p.Slot, p.Round-1, cents) {
		x := cents[i]
		if far == Near || sure || slices.ContainsFunc(confirmed, func(y float64) bool { return s.agree(x, y) }) {
			a.Line.Cents = append(a.Line.Cents, x)
			continue
		}
		a.Line.Doubt = append(a.Line.Doubt, x)
		a.Far = max(a.Far, far)
	}
	return a
}

// Accept moves on by a line that was written down. Invalid: the line does not
// belong to the current note; nothing changes then.
func (s *Sitting) Accept(l catalog.DraftLine) error {
	if l.Kind == catalog.LineUndo {
		return s.undo()
	}
	p, more := s.Next()
	if !more || l.Slot != p.Slot || l.Kind == catalog.LineKeep && !p.Again || l.Validate() != nil {
		return catalog.Errorf(catalog.Invalid, "", "%q is no line for this place", l)
	}
	counted := l.Cents
	if l.Kind == catalog.LineKeep {
		counted = s.doubt
	}
	for _, x := range counted {
		s.taken = append(s.taken, taken{p.Slot, p.Round - 1, x})
	}
	s.doubt = l.Doubt
	if len(l.Doubt) == 0 {
		s.at++
	}
	s.live = append(s.live, l)
	return nil
}

// undo goes back to before the last line.
func (s *Sitting) undo() error {
	if !s.Begun() {
		return catalog.Errorf(catalog.Invalid, "", "there is nothing to undo")
	}
	again := Sitting{rounds: s.rounds}
	for _, l := range s.live[:len(s.live)-1] {
		if err := again.Accept(l); err != nil {
			return err
		}
	}
	*s = again
	return nil
}

// Readings are those taken so far, numbered slot by slot in their order, as a
// session holds them. Readings in doubt are left out.
func (s *Sitting) Readings() []catalog.Reading {
	var out []catalog.Reading
	count := map[pitch.Slot]int{}
	for _, t := range s.taken {
		count[t.slot]++
		out = append(out, catalog.Reading{Slot: t.slot, Repeat: count[t.slot], Cents: t.cents})
	}
	slices.SortFunc(out, catalog.CompareReadings)
	return out
}
