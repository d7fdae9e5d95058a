package sheet

import (
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
)

// finish makes the session of a draft; false when it is not to be written.
func (p *planner) finish(d *draft) (catalog.Session, bool) {
	before := p.found.count
	s := catalog.Session{Name: d.name, Contributor: p.o.Contributor, Source: d.from.source()}
	p.setTraits(&s, d)
	p.nameGear(&s, d)
	p.number(d)
	s.Readings = d.readings
	// Rows that were refused have told what is wrong with the readings.
	if d.bad || p.found.count > before {
		return s, false
	}
	s.Normalize()
	if !p.gearKnown(d) {
		return s, false
	}
	problems := catalog.ProblemsOf(s.Validate())
	if len(problems) == 0 {
		problems = catalog.ProblemsOf(s.Fits(d.horn.rec, d.mouth.rec))
	}
	for _, q := range problems {
		p.found.add(d.problem(q))
	}
	return s, len(problems) == 0
}

// source is what a session remembers of where it came from: the name of the
// file without its folder, which is nobody else's business.
func (t *table) source() string {
	name := t.file[strings.LastIndexAny(t.file, `/\`)+1:]
	if t.sheet != "" {
		return name + " [" + t.sheet + "]"
	}
	return name
}

// problem gives a rule that the session breaks the place of its column.
func (d *draft) problem(q catalog.Problem) Problem {
	line, value := d.line, ""
	if column := slices.Index(sessionColumns[:traitCount], q.Field); column >= 0 {
		if d.traits[column] != "" {
			line, value = int(d.traitLines[column]), strings.TrimSpace(d.traits[column])
		}
		return d.from.problem(line, q.Field, value, q.What, d.hint(q))
	}
	return d.from.problem(line, q.Field, d.name, q.What, q.Hint)
}

// hint adds what an import can do to what the catalog advises.
func (d *draft) hint(q catalog.Problem) string {
	if q.Field == "mouthpiece" && d.horn != nil && d.horn.state == created && d.mouth.state != created {
		return fmt.Sprintf("%q would be made as a trumpet in Bb: list it with its receiver in a gear list first, or write yes into a column adapter", d.horn.rec.Label)
	}
	if q.Field == "mouthpiece" {
		return "choose another mouthpiece, or write yes into a column adapter"
	}
	return q.Hint
}

// setTraits reads what the columns say of the session.
func (p *planner) setTraits(s *catalog.Session, d *draft) {
	t := d.from
	for column, cell := range d.traits {
		if cell == "" {
			continue
		}
		fail := func(what, hint string) {
			p.found.add(t.problem(int(d.traitLines[column]), sessionColumns[column], strings.TrimSpace(cell), what, hint))
		}
		var err error
		switch column {
		case colContributor:
			s.Contributor = catalog.NormalLabel(catalog.ReadCell(cell))
		case colDynamic:
			s.Dynamic = catalog.ReadCell(cell)
		case colRemark:
			s.Remark = catalog.ReadCell(cell)
		case colMethod:
			s.Method = catalog.Method(strings.ToLower(strings.TrimSpace(cell)))
		case colAdapter:
			if s.Adapter, err = parseYes(cell); err != nil {
				fail(err.Error(), "write yes or no")
			}
		case colDate:
			if s.At, err = t.src.date(cell); err != nil {
				fail(err.Error(), "write year, month and day, as in 2025-03-31 or 2025-03-31T19:30")
			}
		case colA4, colTemperature, colSlide, colGap:
			v, err := parseNumber(cell, t.style)
			if err != nil {
				fail(err.Error(), numberHint(err))
				continue
			}
			setNumber(s, column, v)
		}
	}
}

func setNumber(s *catalog.Session, column int, v float64) {
	switch column {
	case colA4:
		s.A4Hz = v
	case colTemperature:
		s.TemperatureC = &v
	case colSlide:
		s.SlideMM = &v
	case colGap:
		s.GapMM = &v
	}
}

// nameGear fills in the ids, and reports what no row names. A machine that
// measures impedance needs no player.
func (p *planner) nameGear(s *catalog.Session, d *draft) {
	for _, column := range []int{colHorn, colMouthpiece, colPlayer} {
		if d.traits[column] != "" || column == colPlayer && s.Method == catalog.MethodImpedance {
			continue
		}
		p.found.add(d.from.problem(d.line, sessionColumns[column], "", fmt.Sprintf("is empty in every row of the session %q", d.name), "name the "+sessionColumns[column]))
	}
	if d.horn != nil {
		s.Horn = p.horns.id(d.horn)
	}
	if d.mouth != nil {
		s.Mouthpiece = p.mouthpieces.id(d.mouth)
		p.fitShank(d)
	}
	if cell := d.traits[colPlayer]; cell != "" {
		s.Player = p.players.id(p.players.cells[cell])
	}
}

// fitShank gives a mouthpiece that is to be made the shank for the horn that it
// is first used with.
func (p *planner) fitShank(d *draft) {
	if d.mouth.state != created || d.mouth.fitted || d.horn == nil || !d.horn.sure() {
		return
	}
	d.mouth.fitted = true
	d.mouth.rec.Shank = d.horn.rec.Receiver
}

// gearKnown is false when something that the session names is not there, which
// is reported once for all sessions.
func (p *planner) gearKnown(d *draft) bool {
	return d.horn.sure() && d.mouth.sure() && (d.traits[colPlayer] == "" || p.players.cells[d.traits[colPlayer]].sure())
}

// number counts the readings that have no number of their own, slot by slot in
// the order they came, and reports numbers that are there twice.
func (p *planner) number(d *draft) {
	order := make([]int32, len(d.readings))
	for i := range order {
		order[i] = int32(i)
	}
	slot := func(i int32) int { return int(d.readings[i].Slot.Valves)<<8 | d.readings[i].Slot.Partial }
	slices.SortStableFunc(order, func(a, b int32) int { return slot(a) - slot(b) })
	for len(order) > 0 {
		n := 1
		for n < len(order) && slot(order[n]) == slot(order[0]) {
			n++
		}
		p.numberSlot(d, order[:n])
		order = order[n:]
	}
}

func (p *planner) numberSlot(d *draft, same []int32) {
	if len(same) == 1 {
		r := &d.readings[same[0]]
		r.Repeat = max(r.Repeat, 1)
		return
	}
	taken := make(map[int]int32, len(same))
	for _, i := range same {
		r := d.readings[i]
		if r.Repeat == 0 {
			continue
		}
		if first, twice := taken[r.Repeat]; twice {
			d.bad = true
			p.found.add(d.from.problem(int(d.lines[i]), "repeat", fmt.Sprint(r.Repeat),
				fmt.Sprintf("is there twice for %s (%s) in session %q, first in line %d", r.Slot.Note(), r.Slot, d.name, d.lines[first]), "number the readings of a note 1, 2, 3, or leave the column empty"))
			continue
		}
		taken[r.Repeat] = i
	}
	next := 1
	for _, i := range same {
		r := &d.readings[i]
		if r.Repeat != 0 {
			continue
		}
		for _, used := taken[next]; used; _, used = taken[next] {
			next++
		}
		r.Repeat = next
		next++
		if r.Repeat > catalog.MaxRepeat {
			d.bad = true
			p.found.add(d.from.problem(int(d.lines[i]), "repeat", "", fmt.Sprintf("would be more than %d readings of %s in session %q", catalog.MaxRepeat, r.Slot.Note(), d.name), "use more than one session"))
			return
		}
	}
}
