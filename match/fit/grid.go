package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Grid predicts the pairings of some horns with some mouthpieces, all played by
// one player. It says the same of each as [Model.PredictMany], and since what
// pairings have in common is worked out once and nothing is kept of them, millions
// can be gone through. It is safe for concurrent use; each goroutine casts by a
// [Caster] of its own.
type Grid struct {
	m           *Model
	slots       []pitch.Slot
	player      int
	horns       []gridHorn
	mouthpieces []int      // places in the tables
	frames      []gridView // one for each transposition
}

type gridHorn struct {
	place  int
	view   int
	pairs  []pairRecord // those measured, by mouthpiece
	share  *share       // nil: worked out as it is asked for
	centre []float64    // drawn: of horn and player, with the share
}

// gridView is what the horns of one transposition make of the others' shares.
type gridView struct {
	transposition int
	frame         *frame
	player        *share
	mouthpieces   []share   // nil: worked out as they are asked for
	centres       []float64 // mouthpieces x drawn: theirs, side by side to be gone through fast
}

// Grid prepares to predict on some slots, with draws and standard deviations of
// the first drawn of them. An empty player is a typical one. NotFound for an id
// or a slot that the fit does not know.
func (m *Model) Grid(horns, mouthpieces []catalog.ID, player catalog.ID, slots []pitch.Slot, drawn int) (*Grid, error) {
	if drawn < 0 || drawn > len(slots) {
		panic(fmt.Sprintf("fit: draws on %d of %d slots", drawn, len(slots)))
	}
	g := &Grid{m: m, slots: slots}
	for _, id := range horns {
		p, err := m.place(Setup{Horn: id})
		if err != nil {
			return nil, err
		}
		view, err := g.viewOf(p.transposition, drawn)
		if err != nil {
			return nil, err
		}
		g.horns = append(g.horns, gridHorn{place: p.horn, view: view, pairs: m.pairsOf(p.horn)})
	}
	for _, id := range mouthpieces {
		p, err := m.place(Setup{Mouthpiece: id})
		if err != nil {
			return nil, err
		}
		g.mouthpieces = append(g.mouthpieces, p.mouthpiece)
	}
	p, err := m.place(Setup{Player: player})
	if err != nil {
		return nil, err
	}
	g.player = p.player
	if err := g.fetch(); err != nil {
		return nil, err
	}
	g.workOut()
	return g, nil
}

// viewOf finds or makes the view of a transposition.
func (g *Grid) viewOf(transposition, drawn int) (int, error) {
	for i, v := range g.frames {
		if v.transposition == transposition {
			return i, nil
		}
	}
	f, err := g.m.newFrame(g.slots, drawn, transposition)
	if err != nil {
		return 0, err
	}
	g.frames = append(g.frames, gridView{transposition: transposition, frame: f})
	return len(g.frames) - 1, nil
}

// pairsOf are the measured pairs of a horn.
func (m *Model) pairsOf(horn int) []pairRecord {
	if horn < 0 {
		return nil
	}
	first, _ := m.findPair(horn, 0)
	end, _ := m.findPair(horn+1, 0)
	return m.pairs[first:end]
}

// fetch reads the parts of the tables that the grid needs.
func (g *Grid) fetch() error {
	var parts partSet
	for _, h := range g.horns {
		parts.add(g.m, effectHorn, h.place)
		for _, p := range h.pairs {
			parts.add(g.m, effectPair, int(p.at))
		}
	}
	for _, x := range g.mouthpieces {
		parts.add(g.m, effectMouthpiece, x)
		parts.add(g.m, effectMouthpieceSlots, x)
	}
	parts.add(g.m, effectPlayer, g.player)
	parts.add(g.m, effectPlayerSlots, g.player)
	return g.m.fetchParts(parts)
}

// workOut works out the shares that more than one pairing needs.
func (g *Grid) workOut() {
	m := g.m
	for v := range g.frames {
		view := &g.frames[v]
		if g.player >= 0 {
			s := m.newShare(view.frame)
			m.newSharer().player(view.frame, g.player, s)
			view.player = &s
		}
		if len(g.horns) > 1 {
			view.mouthpieces = make([]share, len(g.mouthpieces))
			view.centres = make([]float64, len(g.mouthpieces)*view.frame.drawn)
		}
	}
	if len(g.mouthpieces) > 1 {
		parallel(len(g.horns), func(lo, hi int) {
			w := m.newSharer()
			for i := lo; i < hi; i++ {
				h := &g.horns[i]
				s := m.newShare(g.frames[h.view].frame)
				w.horn(g.frames[h.view].frame, h.place, s)
				h.share, h.centre = &s, slices.Clone(s.centre)
				if player := g.frames[h.view].player; player != nil {
					add(player.centre, h.centre)
				}
			}
		})
	}
	if len(g.horns) < 2 {
		return
	}
	parallel(len(g.mouthpieces), func(lo, hi int) {
		w := m.newSharer()
		for i := lo; i < hi; i++ {
			for v := range g.frames {
				view := &g.frames[v]
				view.mouthpieces[i] = m.newShare(view.frame)
				w.mouthpiece(view.frame, g.mouthpieces[i], view.mouthpieces[i])
				copy(view.centres[i*view.frame.drawn:], view.mouthpieces[i].centre)
			}
		}
	})
}

// place is where a pairing is found in the tables.
func (g *Grid) place(horn, mouthpiece int) setupPlace {
	h := &g.horns[horn]
	p := setupPlace{horn: h.place, mouthpiece: g.mouthpieces[mouthpiece], player: g.player, pair: -1}
	if i := h.pairWith(int32(p.mouthpiece)); i >= 0 {
		p.pair, p.sessions = int(h.pairs[i].at), int(h.pairs[i].sessions)
	}
	return p
}

// pairWith finds a horn's pair with a mouthpiece; -1 if it was not measured.
func (h *gridHorn) pairWith(mouthpiece int32) int {
	low, high := 0, len(h.pairs)
	for low < high {
		if middle := (low + high) / 2; h.pairs[middle].mouthpiece < mouthpiece {
			low = middle + 1
		} else {
			high = middle
		}
	}
	if low < len(h.pairs) && h.pairs[low].mouthpiece == mouthpiece {
		return low
	}
	return -1
}

// Draws is how many joint draws there are.
func (g *Grid) Draws() int { return g.m.draws() }

// Basis is what the prediction of a pairing rests on.
func (g *Grid) Basis(horn, mouthpiece int) Basis {
	return weaker(g.m.horns[g.horns[horn].place].Record.basis(), g.m.mouthpieces[g.mouthpieces[mouthpiece]].basis())
}

// Linked reports whether a chain of sessions joins the two.
func (g *Grid) Linked(horn, mouthpiece int) bool {
	return g.m.linked(setupPlace{horn: g.horns[horn].place, mouthpiece: g.mouthpieces[mouthpiece]})
}

// HornKind is the same for horns that were not measured and of which the fit
// expects the same, and empty for one that was measured.
func (g *Grid) HornKind(horn int) string {
	i := g.horns[horn].place
	return kindOf(g.m.horns[i].Record.basis(), g.m.tables[effectHorn].mean(i))
}

// MouthpieceKind is to mouthpieces what HornKind is to horns.
func (g *Grid) MouthpieceKind(mouthpiece int) string {
	i := g.mouthpieces[mouthpiece]
	return kindOf(g.m.mouthpieces[i].basis(), g.m.tables[effectMouthpiece].mean(i))
}

func kindOf(b Basis, coefficients []float64) string {
	if b == BasisMeasured {
		return ""
	}
	var text strings.Builder
	text.WriteString(string(b))
	for _, v := range coefficients {
		fmt.Fprintf(&text, " %d", int64(math.Round(1e4*v)))
	}
	return text.String()
}

// Caster casts the pairings of a grid one after another in memory that it uses
// again.
type Caster struct {
	g        *Grid
	one      *caster
	canvases []*canvas // by view
}

// NewCaster makes a caster for one goroutine.
func (g *Grid) NewCaster() *Caster {
	return &Caster{g: g, one: g.m.newCaster(), canvases: make([]*canvas, len(g.frames))}
}

func (c *Caster) shares(horn, mouthpiece int) (shares, setupPlace, *canvas) {
	h := &c.g.horns[horn]
	view := &c.g.frames[h.view]
	if c.canvases[h.view] == nil {
		made := c.g.m.newCanvas(view.frame)
		c.canvases[h.view] = &made
	}
	have := shares{horn: h.share, player: view.player}
	if view.mouthpieces != nil {
		have.mouthpiece = &view.mouthpieces[mouthpiece]
	}
	p := c.g.place(horn, mouthpiece)
	return c.one.shares(p, view.frame, have), p, c.canvases[h.view]
}

// Prediction is that of a pairing, good until the caster's next call.
func (c *Caster) Prediction(horn, mouthpiece int) Prediction {
	s, p, out := c.shares(horn, mouthpiece)
	s.paint(c.one.frame, out)
	c.g.m.describe(p, &out.Prediction)
	out.Setup = Setup{Horn: c.g.m.horns[p.horn].Record.ID, Mouthpiece: c.g.m.mouthpieces[p.mouthpiece].ID}
	if p.player >= 0 {
		out.Setup.Player = c.g.m.players[p.player].ID
	}
	out.Slots = c.g.slots
	return out.Prediction
}

// Draws are the draws of a prediction alone, good until the caster's next call.
func (c *Caster) Draws(horn, mouthpiece int) [][]float64 {
	s, _, out := c.shares(horn, mouthpiece)
	s.draw(out.flat, c.one.frame.drawn)
	return out.Draws
}

// Centre sets out to the mean of the draws of a prediction.
func (c *Caster) Centre(horn, mouthpiece int, out []float64) {
	h := &c.g.horns[horn]
	view := &c.g.frames[h.view]
	if h.centre == nil || view.mouthpieces == nil || c.g.Draws() < evenDraws || h.pairWith(int32(c.g.mouthpieces[mouthpiece])) >= 0 {
		s, _, _ := c.shares(horn, mouthpiece)
		s.centre(out)
		return
	}
	out = out[:len(h.centre)]
	b := view.centres[mouthpiece*len(out):][:len(out)]
	for j, a := range h.centre {
		out[j] = a + b[j]
	}
}
