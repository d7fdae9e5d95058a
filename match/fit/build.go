package fit

import (
	"math"
	"slices"

	"centwise/catalog/pitch"
)

// Names of the levels.
const (
	levelCommon           = "common tendency"
	levelFamily           = "family"
	levelHornDesign       = "horn design"
	levelHorn             = "horn"
	levelMouthpieceDesign = "mouthpiece design"
	levelMouthpiece       = "mouthpiece"
	levelMouthpieceSlots  = "mouthpiece, slot by slot"
	levelPlayer           = "player"
	levelPlayerSlots      = "player, slot by slot"
	levelBench            = "bench"
	levelDimensions       = "dimensions"
	levelUnknownDimension = "dimensions not known"
)

// groups assigns items to groups by a key; items with an empty key are groups
// of their own. It tells whether any group has several members.
func groups(n int, key func(i int) string) (group []int32, count int, shared bool) {
	byKey := map[string]int32{}
	group = make([]int32, n)
	for i := range n {
		k := key(i)
		g, ok := byKey[k]
		if !ok || k == "" {
			g = int32(count)
			count++
			byKey[k] = g
		} else {
			shared = true
		}
		group[i] = g
	}
	return group, count, shared
}

// classes lists the transpositions of horns; a session's class is its horn's.
func (d *Data) classes() (list []int, ofHorn []uint8) {
	ofHorn = make([]uint8, len(d.Horns))
	list = []int{bbTransposition}
	for i, h := range d.Horns {
		c := slices.Index(list, h.Transposition)
		if c < 0 {
			c = len(list)
			list = append(list, h.Transposition)
		}
		ofHorn[i] = uint8(c)
	}
	return list, ofHorn
}

// commonMean is what the trumpets of the world have in common before any is
// measured, in cents per slot: the harmonic series, half of it taken out by
// the makers' bells and leadpipes, and the sharpness of combined valves
// that single slides in tune give, half taken out by longer slides.
func commonMean(slots []pitch.Slot) []float64 {
	out := make([]float64, len(slots))
	for j, s := range slots {
		sharp := 0.0 // against a tube lengthened by the sum of the single valves
		sum := 1.0
		for v := 1; v <= 4; v++ {
			if s.Valves.Uses(v) {
				sum += pitch.Valves(1<<(v-1)).Ratio() - 1
			}
		}
		sharp = 1200 * math.Log2(s.Valves.Ratio()/sum)
		out[j] = (pitch.HarmonicCents(s.Partial) + sharp) / 2
	}
	return out
}

// effect names the table that a level's coefficients add up in.
type effect int

const (
	effectCommon effect = iota
	effectHorn
	effectMouthpiece
	effectMouthpieceSlots
	effectPlayer
	effectPlayerSlots
	effectPair
	effects
)

// builder lays out the levels of a fit.
type builder struct {
	d           *Data
	classOfHorn []uint8
	// Coefficients to cents by class of instrument, and last a class on which
	// nothing sounds, for items that a level leaves out.
	mouthpieceCoef, smoothCoef [][]float64
	silent                     uint8
	levels                     []*level
}

// How far the learned weights may stray from their starting values (sd of the
// log), and how many effects the patterned covariance is worth against the
// free one where nothing stands out (see structure).
const (
	weightSpread   = 1.0
	hornStrength   = 1000
	smoothStrength = 40
)

// Shares of an item's variance that its design starts with.
const (
	hornDesignShare       = 0.7
	mouthpieceDesignShare = 0.85
)

// buildLevels lays out the effects of the model for the data at hand. Levels
// that the data cannot tell apart from others are left out: designs where no
// two items share one, families where there is but one.
func (d *Data) buildLevels(fine bool) []*level {
	b := &builder{d: d}
	var transpositions []int
	transpositions, b.classOfHorn = d.classes()
	for _, t := range transpositions {
		b.mouthpieceCoef = append(b.mouthpieceCoef, mouthpieceBasis(d.Slots, t))
		b.smoothCoef = append(b.smoothCoef, smoothBasis(d.Slots))
	}
	b.silent = uint8(len(transpositions))
	b.smoothCoef = append(b.smoothCoef, make([]float64, len(d.Slots)*smoothKnots))
	b.mouthpieceCoef = append(b.mouthpieceCoef, make([]float64, len(d.Slots)*(1+smoothKnots)))

	patterns, variances := hornPatterns(d.Slots)
	if b.wanted(levelCommon, true) {
		common := newStructure(patterns, scaled(variances, 2), weightSpread, hornStrength)
		b.slotLevel(levelCommon, effectCommon, 1, []int32{0}, func(sessionRow) int32 { return 0 }, common).shape = nil
	}
	b.horns(patterns, variances)
	b.mouthpieces()
	patterns, variances = playerPatterns()
	b.classLevel(levelPlayer, effectPlayer, len(d.Players), nil, func(s sessionRow) int32 { return s.player },
		b.smoothCoef, newStructure(patterns, variances, weightSpread, smoothStrength))
	b.bench(patterns, variances)
	if fine {
		b.freeLevel(levelMouthpieceSlots, effectMouthpieceSlots, len(d.Mouthpieces), 0.2, func(s sessionRow) int32 { return s.mouthpiece })
		b.freeLevel(levelPlayerSlots, effectPlayerSlots, len(d.Players), 1, func(s sessionRow) int32 { return s.player })
	}
	return b.levels
}

// benchFactor is how many times a player's variance the bench's own has.
const benchFactor = 100

// bench adds what resonances have beside played notes, where some were measured.
// It is no habit of one more player: it may be as large as it likes, or else part
// of it would be laid to the tendency that all players share.
func (b *builder) bench(patterns []square, variances []float64) {
	of, there := make([]int32, len(b.d.Players)), false
	for i, p := range b.d.Players {
		if of[i] = -1; p.ID == "" {
			of[i], there = 0, true
		}
	}
	if b.wanted(levelBench, there) {
		b.classLevel(levelBench, effectPlayer, 1, of, func(s sessionRow) int32 { return s.player },
			b.smoothCoef, newStructure(patterns, scaled(variances, benchFactor), weightSpread, smoothStrength)).shape = nil
	}
}

// wanted tells whether to build a level: as named, or else as the data suggest.
func (b *builder) wanted(name string, suggested bool) bool {
	if b.d.only == nil {
		return suggested
	}
	return slices.Contains(b.d.only, name)
}

// horns adds families, designs and specimens.
func (b *builder) horns(patterns []square, variances []float64) {
	d := b.d
	add := func(name string, blocks int, of []int32, share float64) {
		b.slotLevel(name, effectHorn, blocks, of, func(s sessionRow) int32 { return s.horn },
			newStructure(patterns, scaled(variances, share), weightSpread, hornStrength))
	}
	if family, n, _ := groups(len(d.Horns), func(i int) string { return d.Horns[i].Family }); b.wanted(levelFamily, n > 1) {
		add(levelFamily, n, family, 0.5)
	}
	share := 1.0
	if design, n, shared := groups(len(d.Horns), func(i int) string { return d.Horns[i].Design }); b.wanted(levelHornDesign, shared) {
		add(levelHornDesign, n, design, hornDesignShare)
		share = 1 - hornDesignShare
	}
	add(levelHorn, len(d.Horns), nil, share)
}

// mouthpieces adds designs, specimens and what follows from dimensions.
func (b *builder) mouthpieces() {
	d := b.d
	patterns, variances := mouthpiecePatterns()
	add := func(name string, blocks int, of []int32, share float64) *level {
		return b.classLevel(name, effectMouthpiece, blocks, of, func(s sessionRow) int32 { return s.mouthpiece },
			b.mouthpieceCoef, newStructure(patterns, scaled(variances, share), weightSpread, smoothStrength))
	}
	share := 1.0
	design, n, shared := groups(len(d.Mouthpieces), func(i int) string { return d.Mouthpieces[i].Design })
	if b.wanted(levelMouthpieceDesign, shared) {
		add(levelMouthpieceDesign, n, design, mouthpieceDesignShare)
		share = 1 - mouthpieceDesignShare
	}
	add(levelMouthpiece, len(d.Mouthpieces), nil, share)
	if !d.varied {
		return
	}
	z := d.z
	if b.wanted(levelDimensions, true) {
		b.dimensionLevel(z)
	}
	unknown, missing := append([]int32(nil), design...), false
	for i := range unknown {
		if z[i] == [dimensionCount]float64{} {
			missing = true
		} else {
			unknown[i] = -1
		}
	}
	if b.wanted(levelUnknownDimension, missing) {
		add(levelUnknownDimension, n, unknown, 1)
	}
}

// place gives a finished level its place among the unknowns.
func (b *builder) place(l *level) *level {
	l.index()
	if n := len(b.levels); n > 0 {
		last := b.levels[n-1]
		l.first = last.first + last.blocks*last.q()
	}
	b.levels = append(b.levels, l)
	return l
}

func (b *builder) newLevel(name string, into effect, blocks int, blockOf []int32) *level {
	return &level{name: name, into: into, slots: len(b.d.Slots), blocks: blocks, blockOf: blockOf,
		sessionRow: make([]int32, len(b.d.sessions))}
}

// slotLevel adds a level whose coefficients are cents slot by slot; item gives
// the item of a session.
func (b *builder) slotLevel(name string, into effect, blocks int, blockOf []int32, item func(s sessionRow) int32, shape *structure) *level {
	l := b.newLevel(name, into, blocks, blockOf)
	for i := range int32(blocks) {
		l.rowBlock = append(l.rowBlock, i)
		l.rowClass = append(l.rowClass, 0)
	}
	for i, s := range b.d.sessions {
		l.sessionRow[i] = int32(l.block(int(item(s))))
	}
	l.p, l.coef, l.shape = len(b.d.Slots), [][]float64{nil}, shape
	l.setCovariance(shape.k)
	return b.place(l)
}

// freeLevel adds a level of independent differences slot by slot.
func (b *builder) freeLevel(name string, into effect, blocks int, variance float64, item func(s sessionRow) int32) {
	identity := pattern(len(b.d.Slots), func(i, j int) float64 { return same(i == j) })
	b.slotLevel(name, into, blocks, nil, item, newStructure([]square{identity}, []float64{variance}, weightSpread, math.Inf(1)))
}

// classLevel adds a level whose coefficients sound differently by
// transposition: a row for every block, and one more for every further class
// that a session has it on.
func (b *builder) classLevel(name string, into effect, blocks int, blockOf []int32, item func(s sessionRow) int32, coef [][]float64, shape *structure) *level {
	l := b.newLevel(name, into, blocks, blockOf)
	rows := map[[2]int32]int32{}
	row := func(block, class int32) int32 {
		key := [2]int32{block, class}
		r, ok := rows[key]
		if !ok {
			r = int32(len(l.rowBlock))
			rows[key] = r
			l.rowBlock = append(l.rowBlock, block)
			l.rowClass = append(l.rowClass, uint8(class))
		}
		return r
	}
	for i := range int32(blocks) {
		row(i, 0)
	}
	for i, s := range b.d.sessions {
		if block := l.block(int(item(s))); block >= 0 {
			l.sessionRow[i] = row(int32(block), int32(b.classOfHorn[s.horn]))
		} else {
			l.sessionRow[i] = row(0, int32(b.silent))
		}
	}
	l.p, l.coef, l.shape = shape.k.n, coef, shape
	l.setCovariance(shape.k)
	return b.place(l)
}

// Shares of the variance of mouthpieces that the coefficients of dimensions start
// with around the air column's: a little of anything, and of the air column's own
// profiles, which may be too large or too small by some 30 %.
const (
	dimensionShare  = 0.02
	airColumnSpread = 0.1
)

// dimensionLevel adds the regression of a mouthpiece's coefficients on the
// logarithms of its known dimensions, scaled as in standardDimensions. Its prior
// mean is what the generic air column says.
func (b *builder) dimensionLevel(z [][dimensionCount]float64) {
	patterns, variances := mouthpiecePatterns()
	expected := b.d.expectedOfDimensions()
	n := patterns[0].n
	own := pattern(n, func(i, j int) (sum float64) {
		for d := range dimensionCount {
			sum += expected[d*n+i] * expected[d*n+j]
		}
		return sum
	})
	shape := newStructure(append(patterns, own), append(scaled(variances, dimensionShare), airColumnSpread), weightSpread, smoothStrength)
	l := b.newLevel(levelDimensions, effectMouthpiece, 1, make([]int32, len(z)))
	l.itemLoads, l.expected = z, expected
	rows := map[[2]int32]int32{}
	for i, s := range b.d.sessions {
		key := [2]int32{s.mouthpiece, int32(b.classOfHorn[s.horn])}
		r, ok := rows[key]
		if !ok {
			r = int32(len(l.rowBlock))
			rows[key] = r
			l.rowBlock = append(l.rowBlock, 0)
			l.rowClass = append(l.rowClass, uint8(key[1]))
			l.loads = append(l.loads, z[key[0]][:]...)
		}
		l.sessionRow[i] = r
	}
	if l.loads == nil {
		l.loads = []float64{}
	}
	l.p, l.coef, l.shape = shape.k.n, b.mouthpieceCoef, shape
	l.setCovariance(shape.k)
	b.place(l)
}

// scaled gives a copy of variances times a factor.
func scaled(variances []float64, factor float64) []float64 {
	out := make([]float64, len(variances))
	for i, v := range variances {
		out[i] = v * factor
	}
	return out
}
