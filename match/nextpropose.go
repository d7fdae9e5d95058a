package match

import (
	"cmp"
	"slices"

	"centwise/catalog"
	"centwise/match/fit"
)

// propose lists the sessions that are looked into: all that the gear and the
// players at hand allow, or where those are too many, the likeliest to help.
func (f *foresight) propose() {
	f.labels = map[catalog.ID]string{}
	f.leftOut = map[string]int{}
	for _, h := range f.q.Horns {
		f.labels[h.ID] = h.Label
	}
	for _, m := range f.q.Mouthpieces {
		f.labels[m.ID] = m.Label
	}
	for _, p := range f.q.Players {
		f.labels[p.ID] = p.Label
	}
	limit := cmp.Or(f.q.Sessions, usualProposals)
	players := max(1, len(f.q.Players))
	if len(f.q.Horns)*len(f.q.Mouthpieces)*players <= limit {
		f.proposeAll()
		return
	}
	f.likeliest = true
	f.proposeLikely(limit)
}

// proposeAll lists every session that may be.
func (f *foresight) proposeAll() {
	for _, h := range f.q.Horns {
		for _, m := range f.q.Mouthpieces {
			if !f.mayBe(h, m) {
				f.leftOut["shank does not fit the receiver"]++
				continue
			}
			for _, p := range f.playersFor(nil) {
				f.proposals = append(f.proposals, fit.Setup{Horn: h.ID, Mouthpiece: m.ID, Player: p})
			}
		}
	}
}

func (f *foresight) mayBe(h catalog.Horn, m catalog.Mouthpiece) bool {
	return f.q.Adapter || fits(h, m)
}

// playersFor lists who could play: the player whose choice it is first, if he is
// at hand.
func (f *foresight) playersFor(c *standingChoice) []catalog.ID {
	if len(f.q.Players) == 0 {
		return []catalog.ID{""}
	}
	var out []catalog.ID
	for _, p := range f.q.Players {
		if c != nil && p.ID == c.playerID() {
			out = append([]catalog.ID{p.ID}, out...)
		} else {
			out = append(out, p.ID)
		}
	}
	return out
}

// likelyPlayers is how many players are thought of for a session of a choice.
const likelyPlayers = 2

// proposeLikely lists sessions by turns for every choice, the most doubtful
// first: its contenders on its own horn, then on the other horns at hand.
func (f *foresight) proposeLikely(limit int) {
	choices := slices.Clone(f.choices)
	slices.SortStableFunc(choices, func(a, b *standingChoice) int {
		return cmp.Compare(a.pairings[0].ChanceBest, b.pairings[0].ChanceBest)
	})
	var queues [][]fit.Setup
	for _, c := range choices {
		queues = append(queues, f.likely(c, limit))
	}
	seen := map[fit.Setup]bool{}
	for turn := 0; len(f.proposals) < limit; turn++ {
		left := false
		for _, q := range queues {
			if turn >= len(q) {
				continue
			}
			left = true
			if !seen[q[turn]] && len(f.proposals) < limit {
				seen[q[turn]] = true
				f.proposals = append(f.proposals, q[turn])
			}
		}
		if !left {
			return
		}
	}
}

// likely lists the sessions that touch a choice, as many as wanted at most, those
// with its own horn first.
func (f *foresight) likely(c *standingChoice, limit int) []fit.Setup {
	atHand := map[catalog.ID]bool{}
	for _, m := range f.q.Mouthpieces {
		atHand[m.ID] = true
	}
	players := f.playersFor(c)
	players = players[:min(likelyPlayers, len(players))]
	var out []fit.Setup
	with := func(h catalog.Horn) {
		for _, m := range c.gear {
			if !atHand[m.ID] || !f.mayBe(h, m) {
				continue
			}
			for _, p := range players {
				out = append(out, fit.Setup{Horn: h.ID, Mouthpiece: m.ID, Player: p})
			}
		}
	}
	for _, h := range f.q.Horns {
		if h.ID == c.Horn.ID {
			with(h)
		}
	}
	for _, h := range f.q.Horns {
		if len(out) >= limit {
			break
		}
		if h.ID != c.Horn.ID {
			with(h)
		}
	}
	return out
}
