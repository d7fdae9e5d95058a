package match

import (
	"cmp"
	"slices"

	"centwise/catalog"
)

// usualChoices is how many choices are thought of unless they are named: those of
// half as many loaners at most, and of the players with the latest sessions.
const usualChoices = 40

// UsualChoices are the choices that people are taken to care about: for each
// horn that is lent out the mouthpiece for a typical player, and for each player
// the mouthpiece for the horn of the latest session. Sessions are given in the
// order of recording. More gives how many choices beyond the usual number there
// would be.
func UsualChoices(horns []catalog.Horn, mouthpieces []catalog.Mouthpiece, players []catalog.Player, sessions []catalog.SessionSummary) (list []Choice, more int) {
	type last struct {
		horn catalog.ID
		at   int
	}
	latest := map[catalog.ID]last{}
	for i, s := range sessions {
		latest[s.Player] = last{s.Horn, i}
	}
	byID := map[catalog.ID]catalog.Horn{}
	for _, h := range horns {
		byID[h.ID] = h
		if !h.Loaner {
			continue
		}
		if len(list) < usualChoices/2 {
			list = append(list, Choice{Horn: h, Mouthpieces: mouthpieces})
		} else {
			more++
		}
	}
	var active []*catalog.Player
	for i := range players {
		if l, ok := latest[players[i].ID]; ok {
			if _, there := byID[l.horn]; there {
				active = append(active, &players[i])
			}
		}
	}
	slices.SortFunc(active, func(a, b *catalog.Player) int { return cmp.Compare(latest[b.ID].at, latest[a.ID].at) })
	for _, p := range active {
		if len(list) < usualChoices {
			list = append(list, Choice{Horn: byID[latest[p.ID].horn], Player: p, Mouthpieces: mouthpieces})
		} else {
			more++
		}
	}
	return list, more
}
