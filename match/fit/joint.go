package fit

import (
	"fmt"
	"math"

	"centwise/catalog/pitch"
)

// Joint is what is known of some setups together, share by share, so that what
// one of them would teach about the others can be worked out: how the shares
// vary from draw to draw, which setups have them in common, and how much of a
// setup nobody could know.
type Joint struct {
	Slots  []pitch.Slot
	Draws  int
	Setups []JointSetup
	Shares []JointShare
}

// JointSetup is one setup of a [Joint].
type JointSetup struct {
	Setup
	Mean     []float64 // cents, one a slot, centred like a [Prediction]
	Shares   []int     // places in Joint.Shares that add up to it
	Linked   bool
	Evidence Evidence
}

// JointShare is what a horn (with what is common to all setups), a mouthpiece, a
// player or a pair adds to the setups that have it. Its deviations from the mean
// are given draw by draw, Draws x slots, cents; draw k of all shares belongs to
// one possible world. A share without deviations is the interaction of a pair
// that nobody measured: independent of everything, with covariance Covariance
// (slots x slots, cents squared).
//
// Shares of one Item are the same thing heard on instruments of different keys.
type JointShare struct {
	Item       int
	Deviations []float64
	Covariance []float64
}

// Joint gives the shares of setups on some slots. Errors are those of
// [Model.Predict].
func (m *Model) Joint(setups []Setup, slots []pitch.Slot) (*Joint, error) {
	places := make([]setupPlace, len(setups))
	var parts partSet
	for i, s := range setups {
		p, err := m.place(s)
		if err != nil {
			return nil, err
		}
		parts.addSetup(m, p)
		places[i] = p
	}
	if err := m.fetchParts(parts); err != nil {
		return nil, err
	}
	b := jointBuilder{m: m, slots: slots, w: m.newSharer(), j: &Joint{Slots: slots, Draws: m.draws()},
		frames: map[int]*frame{}, at: map[shareKey]int{}, items: map[shareKey]int{}, means: map[int][]float64{}}
	for i, p := range places {
		if err := b.add(setups[i], p); err != nil {
			return nil, err
		}
	}
	return b.j, nil
}

// shareKey names a share: of an item, or of a pair that nobody measured by its
// horn and its mouthpiece, as it is heard on instruments of one key.
type shareKey struct {
	effect        effect
	item, second  int
	transposition int
}

// jointBuilder collects the shares of setups, each once.
type jointBuilder struct {
	m      *Model
	slots  []pitch.Slot
	frames map[int]*frame // by transposition
	w      *sharer
	j      *Joint
	at     map[shareKey]int  // place of a share
	items  map[shareKey]int  // number of an item, whatever the transposition
	means  map[int][]float64 // by place of the share
}

func (b *jointBuilder) add(s Setup, p setupPlace) error {
	f := b.frames[p.transposition]
	if f == nil {
		var err error
		if f, err = b.m.newFrame(b.slots, len(b.slots), p.transposition); err != nil {
			return err
		}
		b.frames[p.transposition] = f
	}
	out := JointSetup{Setup: s, Mean: make([]float64, f.n), Linked: b.m.linked(p), Evidence: b.m.evidence(p)}
	take := func(e effect, item int, work func(f *frame, item int, s share)) {
		at := b.share(f, shareKey{e, item, -1, p.transposition}, work)
		out.Shares = append(out.Shares, at)
		add(b.means[at], out.Mean)
	}
	take(effectHorn, p.horn, b.w.horn)
	if p.mouthpiece >= 0 {
		take(effectMouthpiece, p.mouthpiece, b.w.mouthpiece)
	}
	if p.player >= 0 {
		take(effectPlayer, p.player, b.w.player)
	}
	switch {
	case p.pair >= 0:
		take(effectPair, p.pair, b.w.pair)
	case p.horn >= 0 && p.mouthpiece >= 0:
		out.Shares = append(out.Shares, b.unknownPair(f, p))
	}
	b.j.Setups = append(b.j.Setups, out)
	return nil
}

// share gives the place of an item's share, which it works out once.
func (b *jointBuilder) share(f *frame, key shareKey, work func(f *frame, item int, s share)) int {
	if at, ok := b.at[key]; ok {
		return at
	}
	s := b.m.newShare(f)
	work(f, key.item, s)
	for k := range b.j.Draws {
		axpy(-1, s.mean, s.draws[k*f.n:][:f.n])
	}
	at := b.place(key, JointShare{Deviations: s.draws})
	b.means[at] = s.mean
	return at
}

// unknownPair gives the place of the share of a pair that nobody measured.
func (b *jointBuilder) unknownPair(f *frame, p setupPlace) int {
	key := shareKey{effects, p.horn, p.mouthpiece, p.transposition}
	if at, ok := b.at[key]; ok {
		return at
	}
	return b.place(key, JointShare{Covariance: f.smoothCovariance(b.m.Components.Interaction)})
}

// place adds a share.
func (b *jointBuilder) place(key shareKey, s JointShare) int {
	at := len(b.j.Shares)
	b.at[key] = at
	key.transposition = 0
	if _, known := b.items[key]; !known {
		b.items[key] = len(b.items)
	}
	s.Item = b.items[key]
	b.j.Shares = append(b.j.Shares, s)
	return at
}

// smoothCovariance is that of a smooth difference of a day or a pair on the
// frame's slots.
func (f *frame) smoothCovariance(sd float64) []float64 {
	w := f.wiggle()
	out := make([]float64, f.n*f.n)
	mulTrans(out, w.rows, w.rows, f.n, w.width, f.n)
	for i := range out {
		out[i] *= sd * sd
	}
	return out
}

// SessionLaw is how a session's readings scatter around the profile of its
// setup, apart from its constant and its slide.
type SessionLaw struct {
	Day         []float64 // covariance of the day's smooth difference, slots x slots, cents squared
	ReadingSD   float64   // of one good reading, cents
	GrossShare  float64   // share of readings that are slips
	GrossFactor float64   // how many times as wide those are
}

// SessionLaw gives the law of sessions on some slots, as the fit has learned it,
// with the reading noise of a source if it has readings, else the common one.
// NotFound for a slot that the fit does not know.
func (m *Model) SessionLaw(slots []pitch.Slot, by Source) (SessionLaw, error) {
	f, err := m.newFrame(slots, len(slots), bbTransposition)
	if err != nil {
		return SessionLaw{}, err
	}
	c := m.Components
	law := SessionLaw{f.smoothCovariance(c.Wiggle), c.Noise, c.GrossShare, c.GrossFactor}
	for i, s := range m.sources {
		if s == by {
			law.ReadingSD = c.SourceNoise[i]
		}
	}
	if !(law.ReadingSD > 0) || math.IsInf(law.ReadingSD, 1) {
		return law, fmt.Errorf("fit: the reading noise is %g cents", law.ReadingSD)
	}
	return law, nil
}
