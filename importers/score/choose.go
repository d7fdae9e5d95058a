package score

import (
	"fmt"
	"strconv"
	"strings"

	"centwise/catalog"
)

// Choose finds the part that which names: its id, its name in any case, its
// number in the file, or a piece of its name that no other has. Empty chooses the
// only part of the trumpet family, or else the only part with notes. It gives the
// index in Parts; the error lists the parts that could be meant.
func (s *Score) Choose(which string) (int, error) {
	which = strings.TrimSpace(which)
	if which == "" {
		return s.evident()
	}
	for _, matches := range []func(Listing) bool{
		func(l Listing) bool { return l.ID == which },
		func(l Listing) bool { return strings.EqualFold(l.Name, which) },
		func(l Listing) bool { return strconv.Itoa(l.Number) == which },
		func(l Listing) bool { return contains(l.Name, which) },
	} {
		found := s.where(matches)
		if len(found) == 1 {
			return found[0], s.playable(found[0])
		}
		if len(found) > 1 {
			return 0, invalid("choose one by its number: "+s.among(found), "%s: several parts are meant by %q", s.File, which)
		}
	}
	hint := "it has " + s.among(s.where(func(Listing) bool { return true }))
	var names []string
	for _, l := range s.Parts {
		names = append(names, l.Name)
	}
	if near := catalog.Near(which, names, 1); len(near) == 1 {
		hint = fmt.Sprintf("did you mean %q? %s", near[0], hint)
	}
	return 0, catalog.Errorf(catalog.NotFound, hint, "%s has no part %q", s.File, which)
}

// evident is the part that needs no choosing.
func (s *Score) evident() (int, error) {
	for _, fits := range []func(Listing) bool{
		func(l Listing) bool { return l.Trumpet && !l.Percussion && l.Notes > 0 },
		func(l Listing) bool { return !l.Percussion && l.Notes > 0 },
	} {
		found := s.where(fits)
		if len(found) == 1 {
			return found[0], nil
		}
		if len(found) > 1 {
			return 0, invalid("choose one by its number or name: "+s.among(found), "%s has several parts that may be meant", s.File)
		}
	}
	return 0, invalid(exportAgain, "%s has no part with pitched notes", s.File)
}

func (s *Score) playable(index int) error {
	if l := s.Parts[index]; l.Percussion {
		return invalid("choose another part", "%s: %s is percussion", s.File, l.label())
	}
	return nil
}

func (s *Score) where(fits func(Listing) bool) []int {
	var out []int
	for i, l := range s.Parts {
		if fits(l) {
			out = append(out, i)
		}
	}
	return out
}

// among lists parts for a message.
func (s *Score) among(indices []int) string {
	const most = 12
	var out []string
	for _, i := range indices[:min(most, len(indices))] {
		out = append(out, s.Parts[i].label())
	}
	if more := len(indices) - most; more > 0 {
		out = append(out, fmt.Sprintf("%d more", more))
	}
	return strings.Join(out, ", ")
}

// label is a part in a message, as in: 2 "Cornet" (P2).
func (l Listing) label() string {
	if l.Name == "" {
		return fmt.Sprintf("part %d (%s)", l.Number, l.ID)
	}
	return fmt.Sprintf("part %d %q (%s)", l.Number, l.Name, l.ID)
}

func contains(text, part string) bool {
	return strings.Contains(strings.ToLower(text), strings.ToLower(part))
}

// trumpetNames are what instruments of the family are called in scores, in the
// languages of most scores and with usual abbreviations (common practice, no
// source).
var trumpetNames = []string{"trumpet", "trompet", "tromba", "trompette", "trombe", "cornet", "kornett", "flugel", "flügel", "fliscorn", "tpt", "trpt"}

// trumpetSounds are the beginnings of MusicXML's standard sound ids for the
// family (MusicXML 4.0, sounds.xml; from memory).
var trumpetSounds = []string{"brass.trumpet", "brass.cornet", "brass.flugelhorn"}

// General MIDI level 1 programs, counted from 1: trumpet and muted trumpet
// (MIDI Manufacturers Association, General MIDI; from memory).
const (
	programTrumpet      = 57
	programMutedTrumpet = 60
)

// trumpetNamed reports whether a name or sound id is one of the family. A cornetto
// has no valves and is none.
func trumpetNamed(text string) bool {
	t := strings.ToLower(text)
	for _, sound := range trumpetSounds {
		if strings.HasPrefix(t, sound) {
			return true
		}
	}
	for _, name := range trumpetNames {
		at := strings.Index(t, name)
		if at >= 0 && !strings.HasPrefix(t[at:], "cornetto") {
			return true
		}
	}
	return false
}
