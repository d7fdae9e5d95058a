package catalog

import (
	"reflect"
	"slices"
)

// Redaction says what of a record stays at home.
type Redaction struct {
	// Drop names the fields to leave out, by kind of record.
	Drop map[string][]string
	// Replace gives a text as it may leave, with pseudonyms for handles. It is
	// applied to labels, names, contributors and free text.
	Replace func(text string) string
	// Sign, if set, gives the names of contributors as they may leave, in place of
	// Replace; empty for one that stays at home.
	Sign func(name string) string
}

// signatures are the fields that say who did something.
var signatures = []string{"contributor", "retracted_by"}

// Redacted is the record as it may leave, with what was dropped or replaced
// listed as withheld. The record itself stays as it is. Only soft fields can be
// withheld: the others are what makes the record.
func (p Pooled) Redacted(r Redaction) Pooled {
	switch {
	case p.Horn != nil:
		s := exchangedHorns.redact(*p.Horn, r)
		p.Horn = &s
	case p.Mouthpiece != nil:
		s := exchangedMouthpieces.redact(*p.Mouthpiece, r)
		p.Mouthpiece = &s
	case p.Player != nil:
		s := exchangedPlayers.redact(*p.Player, r)
		p.Player = &s
	case p.Link != nil:
		s := exchangedLinks.redact(*p.Link, r)
		p.Link = &s
	case p.Session != nil:
		s := whole(exchangedSessions.redact(flat(*p.Session), r))
		p.Session = &s
	}
	return p
}

func (x *exchange[T]) redact(s Shared[T], r Redaction) Shared[T] {
	withheld := slices.Clone(s.Withheld)
	for _, f := range slices.Concat(x.fields, x.later) {
		at := f.of(&s.Record)
		if !f.soft || slices.Contains(s.Withheld, f.name) || reflect.ValueOf(at).Elem().IsZero() {
			continue
		}
		before := wordOf(at)
		if slices.Contains(r.Drop[x.kind], f.name) {
			reflect.ValueOf(at).Elem().SetZero()
		} else if r.Sign != nil && slices.Contains(signatures, f.name) {
			replaceText(at, r.Sign)
		} else if r.Replace != nil {
			replaceText(at, r.Replace)
		}
		if wordOf(at) != before {
			withheld = append(withheld, f.name)
		}
	}
	slices.Sort(withheld)
	s.Withheld = withheld
	return s
}

// replaceText rewrites a text, or every entry of a list; other fields are left
// alone.
func replaceText(at any, replace func(string) string) {
	switch t := at.(type) {
	case *string:
		*t = replace(*t)
	case *[]string:
		list := slices.Clone(*t)
		for i := range list {
			list[i] = replace(list[i])
		}
		*t = normalList(list)
	}
}
