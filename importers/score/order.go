package score

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// maxVisits bounds how many measures a piece has when it is played through.
const maxVisits = 100_000

var errEndless = errors.New("endless")

// visit is a measure being played.
type visit struct {
	measure int
	pass    int     // of the repeated passage it is in, from 1
	until   float64 // quarter notes; where a Fine ends the piece, else infinite
}

// bracket is an ending: measures for some passes of a repeat.
type bracket struct {
	passes []int
	group  *brackets
}

// brackets are the endings of one repeat.
type brackets struct {
	list      []*bracket
	back      bool // one of them ends with a repeat
	afterJump bool // which holds after a jump too
}

func (g *brackets) has(pass int) bool {
	return slices.ContainsFunc(g.list, func(b *bracket) bool { return slices.Contains(b.passes, pass) })
}

// endings gives each measure the ending it is in, or nil. Endings that follow
// each other belong to one repeat as long as each is for other passes.
func endings(measures []measure) []*bracket {
	out := make([]*bracket, len(measures))
	var open, before *bracket
	for i, m := range measures {
		if m.opens != nil {
			open = &bracket{passes: m.opens, group: &brackets{}}
			if before != nil && !slices.ContainsFunc(m.opens, before.group.has) {
				open.group = before.group
			}
			open.group.list = append(open.group.list, open)
		}
		out[i], before = open, open
		if open != nil && m.back != nil {
			open.group.back, open.group.afterJump = true, open.group.afterJump || m.back.afterJump
		}
		if m.closes {
			open = nil
		}
	}
	return out
}

// reading goes through a score as a player does.
type reading struct {
	measures []measure
	endings  []*bracket
	signs    map[sign][]int // see places
	at       int
	passage  int // where the repeated passage begins
	pass     int
	jumped   bool // by a D.C. or D.S.
	coda     bool // and the coda has been gone to since
	back     bool // at was reached by a repeat
	done     map[*jump]bool
	remarks  *remarks
}

// order is the order in which the measures are played.
func order(measures []measure, remarks *remarks) ([]visit, error) {
	r := &reading{measures: measures, endings: endings(measures), signs: places(measures), pass: 1, done: map[*jump]bool{}, remarks: remarks}
	var out []visit
	for steps := 0; r.at < len(measures); steps++ {
		if steps > 10*maxVisits || len(out) > maxVisits {
			return nil, errEndless
		}
		m := &measures[r.at]
		e := r.endings[r.at]
		if m.forward && !r.back && e == nil { // an ending belongs to the passage before it
			r.passage, r.pass = r.at, 1
		}
		r.back = false
		if e != nil && !r.enters(e) {
			r.advance()
			continue
		}
		v := visit{r.at, r.pass, math.Inf(1)}
		end := r.find(fine)
		if end != nil && end.at > 0 {
			v.until = end.at
		}
		out = append(out, v)
		if end != nil {
			break
		}
		r.leave()
	}
	return out, nil
}

// enters reports whether an ending is for this pass. After a jump, when repeats
// are not taken, the last one is played.
func (r *reading) enters(e *bracket) bool {
	if !r.jumped || e.group.afterJump {
		return slices.Contains(e.passes, r.pass)
	}
	last := e.group.list[len(e.group.list)-1]
	alone := len(e.group.list) == 1
	return e == last && !(alone && e.group.back)
}

// leave goes from a measure that was played to what is played next.
func (r *reading) leave() {
	m := &r.measures[r.at]
	if m.back != nil {
		if r.repeats(m.back) {
			r.at, r.pass, r.back = r.passage, r.pass+1, true
			return
		}
		if r.endings[r.at] == nil {
			defer r.section() // wherever that is
		}
	}
	if j := r.find(toCoda); j != nil && !r.coda && r.jump(j) {
		return
	}
	for _, kind := range []jumpKind{daCapo, dalSegno} {
		if j := r.find(kind); j != nil && !r.done[j] {
			r.done[j] = true
			if r.jump(j) {
				return
			}
		}
	}
	r.advance()
}

// section makes what is played next a passage of its own.
func (r *reading) section() { r.passage, r.pass = r.at, 1 }

// advance goes to the next measure.
func (r *reading) advance() {
	before := r.endings[r.at]
	r.at++
	if before != nil && (r.at == len(r.measures) || r.endings[r.at] == nil || r.endings[r.at].group != before.group) {
		r.section()
	}
}

// repeats reports whether the player goes back at the end of a passage.
func (r *reading) repeats(b *back) bool {
	if r.jumped && !b.afterJump {
		return false
	}
	next := r.pass + 1
	e := r.endings[r.at]
	switch {
	case b.times > 0 && next <= b.times:
		return true
	case e == nil:
		return b.times == 0 && next <= 2
	case e.group.has(next):
		return true
	}
	// A lone ending without a second: the next pass goes past it.
	return b.times == 0 && len(e.group.list) == 1 && r.pass == slices.Max(e.passes)
}

// find gives the jump of a kind that holds in this measure and pass. To Coda and
// Fine hold after a D.C. or D.S. only.
func (r *reading) find(kind jumpKind) *jump {
	if (kind == toCoda || kind == fine) && !r.jumped {
		return nil
	}
	for i := range r.measures[r.at].jumps {
		j := &r.measures[r.at].jumps[i]
		if j.kind == kind && (j.only == nil || slices.Contains(j.only, r.pass)) {
			return j
		}
	}
	return nil
}

// jump goes where j says, if that is there.
func (r *reading) jump(j *jump) bool {
	to := 0
	if j.kind != daCapo {
		to = r.target(j)
	}
	if to < 0 {
		r.remarks.add(fmt.Sprintf("The %s in measure %s goes to a sign that is not in the score; it was not followed.", j.kind, r.measures[r.at].number))
		return false
	}
	r.at = to
	r.section()
	r.coda = j.kind == toCoda
	r.jumped = true
	return true
}

// target is the measure that a sign stands before: the one of the same label, or
// else the only one; -1 for none. A coda is looked for behind the jump first.
func (r *reading) target(j *jump) int {
	found := r.signs[sign{coda: j.kind == toCoda, label: j.label}]
	if len(found) == 0 {
		if found = r.signs[sign{coda: j.kind == toCoda}]; len(found) != 1 {
			return -1
		}
	}
	if at, _ := slices.BinarySearch(found, r.at+1); j.kind == toCoda && at < len(found) {
		return found[at]
	}
	return found[0]
}

// places lists the measures that signs stand before, by the sign's label and under
// the label "" all of them.
func places(measures []measure) map[sign][]int {
	out := map[sign][]int{}
	for i, m := range measures {
		for _, s := range m.signs {
			before := i
			if s.at > 0 && s.at >= m.length { // on the barline after it
				before++
			}
			for _, label := range []string{s.label, ""} {
				key := sign{coda: s.coda, label: label}
				out[key] = append(out[key], before)
			}
		}
	}
	return out
}
