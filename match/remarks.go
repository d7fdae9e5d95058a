package match

import (
	"fmt"
	"slices"

	"centwise/catalog/pitch"
)

// remarks are the sentences that belong under a ranking in order of rank.
func (q Question) remarks(list []Pairing, missing []pitch.Note) []string {
	if nothingKnown(list) {
		return append([]string{
			"Nobody has measured any of this gear, or other gear of its design: the list rests on dimensions and on what all trumpets have in common, and says little. One session makes a beginning.",
		}, missingWords(missing)...)
	}
	out := append(q.weightRemark(), q.unknownWords(list)...)
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	unlinked, alike, wide := 0, 0, 0
	for _, p := range list {
		if !p.Linked && p.HornSessions > 0 && p.Sessions > 0 {
			unlinked++
		}
		if p.Alike > 0 {
			alike++
		}
		if _, w := p.Wide(); w {
			wide++
		}
	}
	if alike > 0 {
		add("%d of %s share a rank: the catalog knows nothing that tells them apart, so they stand in order of label only.", alike, Count(len(list), "pairing"))
	}
	if unlinked > 0 {
		add("%d of %s %s not linked: no chain of sessions connects horn and mouthpiece, so their sum rests on what is usual. One session that joins the two parts links them.",
			unlinked, Count(len(list), "pairing"), isAre(unlinked))
	}
	if wide > 0 {
		add("%d of %s %s uncertain by more than plus or minus %.0f cents on a typical note (80 %% interval): take their places in the list as a first guess, which every session can change.",
			wide, Count(len(list), "profile"), isAre(wide), wideCents)
	}
	if first := list[0]; len(list) > 1 && q.Sort == SortError && first.ChanceBest < 0.5 {
		add("The first of the list has a chance of %.0f %% of being the best: try several before you decide.", 100*first.ChanceBest)
	}
	return append(out, missingWords(missing)...)
}

// nothingKnown reports whether no session has anything of the list.
func nothingKnown(list []Pairing) bool {
	return !slices.ContainsFunc(list, func(p Pairing) bool { return !unknownHorn(p.EvidenceOf) || !unknownMouthpiece(p.EvidenceOf) })
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// unknownWords say what gear of the list nobody has measured.
func (q Question) unknownWords(list []Pairing) (out []string) {
	const asAverage = "Nobody has measured the %s %s or another of its design: the order is that for an average %[1]s. One session with it makes it its own."
	if q.FromHorn != nil && unknownHorn(list[0].EvidenceOf) {
		out = append(out, fmt.Sprintf(asAverage, "horn", q.FromHorn.Label))
	}
	if q.FromMouthpiece != nil && unknownMouthpiece(list[0].EvidenceOf) {
		out = append(out, fmt.Sprintf(asAverage, "mouthpiece", q.FromMouthpiece.Label))
	}
	if names := q.unmeasured(list); len(names) > 0 {
		out = append(out, fmt.Sprintf("Nobody has measured %s: judged by design, by dimensions, or as an average one.", nameSome(names)))
	}
	return out
}

// unmeasured names the candidates that no session has, in the order of the list.
func (q Question) unmeasured(list []Pairing) (names []string) {
	note := func(label string, sessions int, asked bool) {
		if sessions == 0 && !asked && !slices.Contains(names, label) {
			names = append(names, label)
		}
	}
	for _, p := range list {
		note(p.Horn, p.HornSessions, q.FromHorn != nil)
		note(p.Mouthpiece, p.Sessions, q.FromMouthpiece != nil)
	}
	return names
}

// nameSome names the first few and counts the others.
func nameSome(names []string) string {
	const named = 4
	if more := len(names) - named; more > 0 {
		names = append(slices.Clone(names[:named]), fmt.Sprintf("%d more", more))
	}
	return joinAnd(names)
}
