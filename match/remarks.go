package match

import (
	"fmt"
	"iter"
	"slices"

	"centwise/catalog/pitch"
)

// remarks are the sentences that belong under lists in order of rank.
func (q Question) remarks(lists iter.Seq[[]Pairing], missing []pitch.Note) []string {
	t := q.censusOf(lists)
	if !t.known {
		return append([]string{
			"Nobody has measured any of this gear, or other gear of its design: the list rests on dimensions and on what all trumpets have in common, and says little. One session makes a beginning.",
		}, missingWords(missing)...)
	}
	out := append(q.weightRemark(), q.unknownWords(t)...)
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if t.alike > 0 {
		add("%d of %s share a rank: the catalog knows nothing that tells them apart, so they stand in order of label only.", t.alike, Count(t.pairings, "pairing"))
	}
	if t.unlinked > 0 {
		add("%d of %s %s not linked: no chain of sessions connects horn and mouthpiece, so their sum rests on what is usual. One session that joins the two parts links them.",
			t.unlinked, Count(t.pairings, "pairing"), isAre(t.unlinked))
	}
	if t.wide > 0 {
		add("%d of %s %s uncertain by more than plus or minus %.0f cents on a typical note (80 %% interval): take their places in the list as a first guess, which every session can change.",
			t.wide, Count(t.pairings, "profile"), isAre(t.wide), wideCents)
	}
	if t.pairings > 1 && q.each == pairs && q.Sort == SortError && t.first.ChanceBest < 0.5 {
		add("The first of the list has a chance of %.0f %% of being the best: try several before you decide.", 100*t.first.ChanceBest)
	}
	return append(out, missingWords(missing)...)
}

// census counts what there is to say of lists.
type census struct {
	first                           *Pairing
	pairings, unlinked, alike, wide int
	known                           bool     // some of the gear was measured, or its design
	unmeasured                      []string // candidates that no session has, in the order of the list
}

func (q Question) censusOf(lists iter.Seq[[]Pairing]) census {
	var t census
	noted := map[string]bool{}
	note := func(label string, sessions int, asked bool) {
		if sessions == 0 && !asked && !noted[label] {
			noted[label] = true
			t.unmeasured = append(t.unmeasured, label)
		}
	}
	for list := range lists {
		t.pairings += len(list)
		for i := range list {
			p := &list[i]
			if t.first == nil {
				t.first = p
			}
			t.known = t.known || !unknownHorn(p.EvidenceOf) || !unknownMouthpiece(p.EvidenceOf)
			if !p.Linked && p.HornSessions > 0 && p.Sessions > 0 {
				t.unlinked++
			}
			if p.Alike > 0 {
				t.alike++
			}
			if _, w := p.Wide(); w {
				t.wide++
			}
			note(p.Horn, p.HornSessions, q.FromHorn != nil)
			note(p.Mouthpiece, p.Sessions, q.FromMouthpiece != nil)
		}
	}
	return t
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// unknownWords say what gear of the lists nobody has measured.
func (q Question) unknownWords(t census) (out []string) {
	const asAverage = "Nobody has measured the %s %s or another of its design: the order is that for an average %[1]s. One session with it makes it its own."
	if q.FromHorn != nil && unknownHorn(t.first.EvidenceOf) {
		out = append(out, fmt.Sprintf(asAverage, "horn", q.FromHorn.Label))
	}
	if q.FromMouthpiece != nil && unknownMouthpiece(t.first.EvidenceOf) {
		out = append(out, fmt.Sprintf(asAverage, "mouthpiece", q.FromMouthpiece.Label))
	}
	if len(t.unmeasured) > 0 {
		out = append(out, fmt.Sprintf("Nobody has measured %s: judged by design, by dimensions, or as an average one.", nameSome(t.unmeasured)))
	}
	return out
}

// nameSome names the first few and counts the others.
func nameSome(names []string) string {
	const named = 4
	if more := len(names) - named; more > 0 {
		names = append(slices.Clone(names[:named]), fmt.Sprintf("%d more", more))
	}
	return joinAnd(names)
}
