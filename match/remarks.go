package match

import (
	"fmt"

	"centwise/catalog/pitch"
)

// remarks are the sentences that belong under a ranking in order of rank.
func (q Question) remarks(list []Pairing, missing []pitch.Note) []string {
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	unlinked, alike := 0, 0
	for _, p := range list {
		if !p.Linked {
			unlinked++
		}
		if p.Alike > 0 {
			alike++
		}
	}
	first := list[0]
	if q.FromHorn != nil && unknownHorn(first.EvidenceOf) {
		add("Nobody has measured the horn %s or another of its design: the order is that for an average horn. One session with it makes it its own.", q.FromHorn.Label)
	}
	if q.FromMouthpiece != nil && unknownMouthpiece(first.EvidenceOf) {
		add("Nobody has measured the mouthpiece %s or another of its design: the order is that for an average mouthpiece. One session with it makes it its own.", q.FromMouthpiece.Label)
	}
	if alike > 0 {
		add("%d of %d pairings share a rank: the catalog knows nothing that tells them apart, so they stand in order of label only.", alike, len(list))
	}
	if unlinked > 0 {
		add("%d of %d pairings are not linked: no chain of sessions connects horn and mouthpiece, so their sum rests on what is usual. One session that joins the two parts links them.", unlinked, len(list))
	}
	if len(list) > 1 && q.Sort == SortError && first.ChanceBest < 0.5 {
		add("The first of the list has a chance of %.0f %% of being the best: try several before you decide.", 100*first.ChanceBest)
	}
	if len(missing) > 0 {
		out = append(out, missingWords(missing))
	}
	return out
}
