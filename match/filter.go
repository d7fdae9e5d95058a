package match

import (
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Limits are lower and upper bounds; 0 does not bound.
type Limits struct {
	Min, Max float64
}

func (l Limits) set() bool { return l.Min != 0 || l.Max != 0 }

func (l Limits) holds(x float64) bool {
	return (l.Min == 0 || x >= l.Min) && (l.Max == 0 || x <= l.Max)
}

// Filter narrows what is ranked; zero fields do not filter. Gear whose rim or
// cup is not known does not pass a bound on it.
type Filter struct {
	Key        pitch.Key          // of the horn
	Instrument catalog.Instrument // kind of horn
	Loaner     bool               // only horns that may be lent
	RimMM      Limits             // of the mouthpiece
	CupCM3     Limits             // of the mouthpiece
	Stock      string             // only mouthpieces on this stock list
	// Owner and Tag select what is looked for: mouthpieces for a horn, horns
	// for a mouthpiece, and over all pairs either of the two.
	Owner, Tag string
	// Adapter lets shank and receiver differ.
	Adapter bool
	Retired bool // include retired gear
	// Measured keeps pairings whose horn and mouthpiece were both measured,
	// Linked those that a chain of sessions connects.
	Measured, Linked bool
	// Comfort applies the comfort ranges of the player.
	Comfort bool
}

// fits reports whether a shank goes into a receiver; an unknown one is taken to.
func fits(h catalog.Horn, m catalog.Mouthpiece) bool {
	return h.Receiver == "" || m.Shank == "" || h.Receiver == m.Shank
}

func (f Filter) rejectHorn(h catalog.Horn) string {
	switch {
	case h.Retired && !f.Retired:
		return "retired"
	case f.Key != "" && h.Key != f.Key:
		return "other key"
	case f.Instrument != "" && h.Instrument != f.Instrument:
		return "other instrument"
	case f.Loaner && !h.Loaner:
		return "not a loaner"
	}
	return ""
}

func (f Filter) rejectMouthpiece(m catalog.Mouthpiece, p *catalog.Player) string {
	switch {
	case m.Retired && !f.Retired:
		return "retired"
	case f.Stock != "" && !containsFold(m.Stock, f.Stock):
		return "not in stock"
	}
	if reason := rejectSize("rim", m.RimMM, f.RimMM); reason != "" {
		return reason
	}
	if reason := rejectSize("cup", m.CupCM3, f.CupCM3); reason != "" {
		return reason
	}
	if !f.Comfort || p == nil {
		return ""
	}
	if rejectSize("rim", m.RimMM, Limits{p.RimMinMM, p.RimMaxMM}) != "" ||
		rejectSize("cup", m.CupCM3, Limits{p.CupMinCM3, p.CupMaxCM3}) != "" {
		return "outside the player's comfort or size not known"
	}
	return ""
}

func rejectSize(what string, x float64, l Limits) string {
	switch {
	case !l.set() || x != 0 && l.holds(x):
		return ""
	case x == 0:
		return what + " not known"
	default:
		return what + " outside the range"
	}
}

// rejectPair applies what concerns horn and mouthpiece together.
func (f Filter) rejectPair(h catalog.Horn, m catalog.Mouthpiece, sought side) string {
	if !fits(h, m) && !f.Adapter {
		return "shank does not fit the receiver"
	}
	horn := sought != mouthpieces
	mouthpiece := sought != horns
	if f.Owner != "" && !(horn && strings.EqualFold(h.Owner, f.Owner)) &&
		!(mouthpiece && strings.EqualFold(m.Owner, f.Owner)) {
		return "other owner"
	}
	if f.Tag != "" && !(horn && containsFold(h.Tags, f.Tag)) && !(mouthpiece && containsFold(m.Tags, f.Tag)) {
		return "tag missing"
	}
	return ""
}

func containsFold(list []string, s string) bool {
	return slices.ContainsFunc(list, func(x string) bool { return strings.EqualFold(x, s) })
}

// misspelt asks whether a list, owner or tag that no gear has was meant to be
// another one; empty if there is nothing to ask.
func (f Filter) misspelt(horns []catalog.Horn, mouthpieces []catalog.Mouthpiece) string {
	var lists, owners, tags []string
	for _, h := range horns {
		owners, tags = append(owners, h.Owner), append(tags, h.Tags...)
	}
	for _, m := range mouthpieces {
		lists, owners, tags = append(lists, m.Stock...), append(owners, m.Owner), append(tags, m.Tags...)
	}
	for _, x := range []struct {
		asked string
		known []string
	}{{f.Stock, lists}, {f.Owner, owners}, {f.Tag, tags}} {
		if x.asked == "" || containsFold(x.known, x.asked) {
			continue
		}
		if near := catalog.Near(x.asked, x.known, 1); len(near) > 0 {
			return fmt.Sprintf("did you mean %q?", near[0])
		}
	}
	return ""
}
