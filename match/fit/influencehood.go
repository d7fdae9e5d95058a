package fit

import (
	"cmp"
	"context"
	"slices"
)

// influenceBudget is how many unknowns the equations of a neighbourhood may have
// beside those of horns, which are eliminated first: they take 0.4 s to invert.
const influenceBudget = 1100

// hoodHorns is how many horns a neighbourhood may have, if it is not the whole
// catalog.
const hoodHorns = 300

// hood is the neighbourhood of a setup: the sessions around it and the equations
// of the gear and the players that took part in them.
type hood struct {
	m       *Model
	d       *Data
	place   setupPlace
	levels  []*level
	classes []uint8 // of the instruments, by horn

	horns, mouthpieces, players []bool // that have unknowns
	whole                       bool   // all that were measured have
	// fine says that differences slot by slot of all of them are unknowns too, not
	// of the setup's own only.
	fine bool
	near []*nearSession
	left int // sessions that share something but are not near

	terms     *absorbed
	pairOf    []int             // per session: number of its pair
	inPair    []int             // per pair: sessions
	pair      int               // the setup's, -1 = not measured
	smooth    []float64         // of the day and of pairs, unit variance, J x smoothKnots
	pairBasis []float64         // the same for an interaction
	bases     map[int][]float64 // of mouthpieces, by transposition

	nodes  map[nodeKey]int
	system *blockSystem
}

// nodeKey names a block of unknowns; pairs follow the levels.
type nodeKey struct{ level, block int }

// newHood gathers the neighbourhood of a setup and solves its equations.
func (m *Model) newHood(ctx context.Context, d *Data, place setupPlace, budget int) (*hood, error) {
	h := &hood{m: m, d: d, place: place, pair: -1, nodes: map[nodeKey]int{}, bases: map[int][]float64{}}
	for _, l := range m.learned {
		d.only = append(d.only, l.Name)
	}
	h.levels = d.buildLevels(slices.Contains(d.only, levelPlayerSlots))
	for _, l := range h.levels {
		for _, known := range m.learned {
			if known.Name == l.name {
				l.setCovariance(square{known.P, slices.Clone(known.Covariance)})
			}
		}
	}
	_, h.classes = d.classes()
	h.countPairs()
	h.fine = true
	near := h.choose(budget)
	if !h.whole {
		h.fine = false
		near = h.choose(budget)
	}
	if err := h.fetch(); err != nil {
		return nil, err
	}
	return h, h.solve(ctx, near)
}

// classOfSetup is the class of instruments in which the setup sounds, as a level
// counts them.
func (h *hood) classOfSetup(l *level) int {
	if len(l.coef) == 1 || h.place.horn < 0 {
		return 0
	}
	return int(h.classes[h.place.horn])
}

// countPairs numbers the pairs of the sessions, which are sorted by pair.
func (h *hood) countPairs() {
	h.pairOf = make([]int, len(h.d.sessions))
	for i, s := range h.d.sessions {
		if i == 0 || !s.samePair(h.d.sessions[i-1]) {
			h.inPair = append(h.inPair, 0)
		}
		pair := len(h.inPair) - 1
		h.pairOf[i] = pair
		h.inPair[pair]++
		if int(s.horn) == h.place.horn && int(s.mouthpiece) == h.place.mouthpiece {
			h.pair = pair
		}
	}
}

// shared says what a session has in common with the setup.
func (h *hood) shared(session int) Shared {
	s, p := h.d.sessions[session], h.place
	out := Shared{Horn: int(s.horn) == p.horn, Mouthpiece: int(s.mouthpiece) == p.mouthpiece, Player: int(s.player) == p.player}
	if p.horn >= 0 && !out.Horn {
		design := h.d.Horns[p.horn].Design
		out.HornDesign = design != "" && design == h.d.Horns[s.horn].Design
	}
	if p.mouthpiece >= 0 && !out.Mouthpiece {
		design := h.d.Mouthpieces[p.mouthpiece].Design
		out.MouthpieceDesign = design != "" && design == h.d.Mouthpieces[s.mouthpiece].Design
	}
	return out
}

// rank orders sessions by how much they should have to say.
func (s Shared) rank() int {
	for i, yes := range []bool{s.Horn && s.Mouthpiece, s.Horn, s.Mouthpiece, s.Player, s.HornDesign, s.MouthpieceDesign} {
		if yes {
			return i
		}
	}
	return 6
}

// choose decides which items have unknowns, the nearest to the setup first until
// the budget is used up, and gives the sessions to judge, which are those whose
// items all have.
func (h *hood) choose(budget int) []int {
	d := h.d
	c := chooser{hood: h, budget: budget, designs: map[nodeKey]bool{}}
	h.left = 0
	h.horns, h.mouthpieces, h.players = make([]bool, len(d.Horns)), make([]bool, len(d.Mouthpieces)), make([]bool, len(d.Players))
	if h.place.horn >= 0 {
		c.take(effectHorn, h.place.horn)
	}
	if h.place.mouthpiece >= 0 {
		c.take(effectMouthpiece, h.place.mouthpiece)
	}
	if h.place.player >= 0 {
		c.take(effectPlayer, h.place.player)
	}
	sharing, all := h.inOrder()
	var near []int
	for _, i := range sharing {
		if len(near) < influenceSessions && c.takeSession(i) {
			near = append(near, i)
		} else {
			h.left++
		}
	}
	h.whole = c.grow(all) && h.left == 0
	if h.whole {
		near = all
	}
	return near
}

// inOrder lists the sessions that share something with the setup, those with most
// to say first and then the latest first, and all sessions in the order of
// recording.
func (h *hood) inOrder() (sharing, all []int) {
	rank := make([]int, len(h.d.sessions))
	for i := range h.d.sessions {
		all = append(all, i)
		shared := h.shared(i)
		if rank[i] = shared.rank(); shared.Any() {
			sharing = append(sharing, i)
		}
	}
	sequence := func(i int) int64 { return h.d.sessions[i].sequence }
	slices.SortFunc(all, func(a, b int) int { return cmp.Compare(sequence(a), sequence(b)) })
	slices.SortFunc(sharing, func(a, b int) int {
		return cmp.Or(cmp.Compare(rank[a], rank[b]), cmp.Compare(sequence(b), sequence(a)))
	})
	return sharing, all
}

// chooser spends the budget.
type chooser struct {
	*hood
	budget  int
	horns   int
	designs map[nodeKey]bool // blocks shared by items that are paid for
}

// cost is how many unknowns an item adds beside those of horns.
func (c *chooser) cost(e effect, item int) (width int, blocks []nodeKey) {
	for i, l := range c.levels {
		mine := l.into == e || e == effectMouthpiece && l.into == effectMouthpieceSlots || e == effectPlayer && l.into == effectPlayerSlots
		if !mine || e == effectHorn || farReaching(l) || c.coarse(l, item) {
			continue
		}
		if b := l.block(item); b >= 0 && !c.designs[nodeKey{i, b}] {
			width += l.q()
			blocks = append(blocks, nodeKey{i, b})
		}
	}
	return width, blocks
}

// coarse tells whether a level's differences slot by slot are left out of the
// unknowns for an item, and count as an error of each session.
func (h *hood) coarse(l *level, item int) bool {
	return slotBySlot(l) && !h.fine && item != h.place.item(l.into)
}

func slotBySlot(l *level) bool { return l.into == effectMouthpieceSlots || l.into == effectPlayerSlots }

// of gives the list that says which items of an effect have unknowns.
func (h *hood) of(e effect) []bool {
	switch e {
	case effectHorn:
		return h.horns
	case effectMouthpiece:
		return h.mouthpieces
	}
	return h.players
}

// take gives an item unknowns, if the budget allows or it has them already.
func (c *chooser) take(e effect, item int) bool {
	have := c.of(e)
	if have[item] {
		return true
	}
	width, blocks := c.cost(e, item)
	if width > c.budget || e == effectHorn && c.horns >= hoodHorns {
		return false
	}
	have[item] = true
	c.budget -= width
	if e == effectHorn {
		c.horns++
	}
	for _, b := range blocks {
		c.designs[b] = true
	}
	return true
}

// takeSession gives all items of a session unknowns; false if one is too many.
func (c *chooser) takeSession(i int) bool {
	s := c.d.sessions[i]
	return c.take(effectHorn, int(s.horn)) && c.take(effectMouthpiece, int(s.mouthpiece)) && c.take(effectPlayer, int(s.player))
}

// grow takes items ring by ring round those that are in, as far as the budget
// reaches; it tells whether all that were measured are in.
func (c *chooser) grow(all []int) bool {
	for {
		grown, missing := false, false
		horns, mouthpieces, players := slices.Clone(c.hood.horns), slices.Clone(c.mouthpieces), slices.Clone(c.players)
		for _, i := range all {
			s := c.d.sessions[i]
			n := have(horns[s.horn]) + have(mouthpieces[s.mouthpiece]) + have(players[s.player])
			if n == 3 {
				continue
			}
			missing = true
			if n > 0 && c.takeSession(i) {
				grown = true
			}
		}
		if !missing || !grown {
			return !missing || c.rest(all)
		}
	}
}

// rest takes what no chain of sessions joins to the setup.
func (c *chooser) rest(all []int) bool {
	for _, i := range all {
		if !c.takeSession(i) {
			return false
		}
	}
	return true
}

func have(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// farReaching levels have a part in sessions far and wide. In a neighbourhood
// that is not the whole catalog they are held as they are: all the other sessions
// determine them.
func farReaching(l *level) bool {
	switch l.name {
	case levelCommon, levelFamily, levelDimensions, levelBench:
		return true
	}
	return false
}

// fetch reads what the model says of all that took part in the sessions of the
// neighbourhood.
func (h *hood) fetch() error {
	var parts partSet
	for i := range h.d.sessions {
		if h.touches(i) {
			parts.addSetup(h.m, h.placeOf(i))
		}
	}
	return h.m.fetchParts(parts)
}

// touches tells whether a session has an item with unknowns.
func (h *hood) touches(i int) bool {
	s := h.d.sessions[i]
	return h.horns[s.horn] || h.mouthpieces[s.mouthpiece] || h.players[s.player]
}

// placeOf is where a session's setup stands in the model's tables.
func (h *hood) placeOf(i int) setupPlace {
	s := h.d.sessions[i]
	p := setupPlace{horn: int(s.horn), mouthpiece: int(s.mouthpiece), player: int(s.player), pair: -1, transposition: h.d.Horns[s.horn].Transposition}
	if at, ok := h.m.findPair(p.horn, p.mouthpiece); ok {
		p.pair = int(h.m.pairs[at].at)
	}
	return p
}
