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
	levelDimensions       = "dimensions"
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

func newLevel(name string, slots, blocks, sessions int) *level {
	return &level{name: name, slots: slots, blocks: blocks, sessionRow: make([]int32, sessions)}
}

// oneRowPerBlock makes rows the blocks themselves, all of class 0.
func (l *level) oneRowPerBlock() {
	l.rowBlock = make([]int32, l.blocks)
	l.rowClass = make([]uint8, l.blocks)
	for i := range l.rowBlock {
		l.rowBlock[i] = int32(i)
	}
}

// slotLevel is a level whose coefficients are cents slot by slot.
func (d *Data) slotLevel(name string, blocks int, of func(s sessionRow) int32, shape *structure, cov square) *level {
	l := newLevel(name, len(d.Slots), blocks, len(d.sessions))
	l.oneRowPerBlock()
	for i, s := range d.sessions {
		l.sessionRow[i] = of(s)
	}
	l.p = len(d.Slots)
	l.coef = [][]float64{nil}
	l.shape = shape
	l.index()
	l.setCovariance(cov)
	return l
}

// classLevel is a level whose coefficients sound differently by transposition:
// one row per block and class that a session has.
func (d *Data) classLevel(name string, blocks int, of func(s sessionRow) int32, classOf func(s sessionRow) uint8, coef [][]float64, shape *structure) *level {
	l := newLevel(name, len(d.Slots), blocks, len(d.sessions))
	rows := map[[2]int32]int32{}
	for b := range int32(blocks) { // every block has a row of class 0 for predictions
		rows[[2]int32{b, 0}] = b
		l.rowBlock = append(l.rowBlock, b)
		l.rowClass = append(l.rowClass, 0)
	}
	for i, s := range d.sessions {
		key := [2]int32{of(s), int32(classOf(s))}
		r, ok := rows[key]
		if !ok {
			r = int32(len(l.rowBlock))
			rows[key] = r
			l.rowBlock = append(l.rowBlock, key[0])
			l.rowClass = append(l.rowClass, uint8(key[1]))
		}
		l.sessionRow[i] = r
	}
	l.p = shape.k.n
	l.coef = coef
	l.shape = shape
	l.index()
	l.setCovariance(shape.k)
	return l
}

// scaled gives a copy of variances times a factor.
func scaled(variances []float64, factor float64) []float64 {
	out := make([]float64, len(variances))
	for i, v := range variances {
		out[i] = v * factor
	}
	return out
}

// How far the learned weights may stray from their starting values (sd of the
// log), and how many effects the patterned covariance is worth against the
// free one (see structure).
const (
	weightSpread   = 1.0
	hornStrength   = 120
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
	classList, classOfHorn := d.classes()
	classOf := func(s sessionRow) uint8 { return classOfHorn[s.horn] }
	mouthpieceCoef := make([][]float64, len(classList))
	smoothCoef := make([][]float64, len(classList))
	for c, t := range classList {
		mouthpieceCoef[c] = mouthpieceBasis(d.Slots, t)
		smoothCoef[c] = smoothBasis(d.Slots)
	}
	hornShape, hornVariance := hornPatterns(d.Slots)
	mpShape, mpVariance := mouthpiecePatterns()
	playerShape, playerVariance := playerPatterns()

	var levels []*level
	common := newStructure(hornShape, scaled(hornVariance, 2), weightSpread, hornStrength)
	levels = append(levels, d.slotLevel(levelCommon, 1, func(sessionRow) int32 { return 0 }, nil, common.k))

	if family, n, _ := groups(len(d.Horns), func(i int) string { return d.Horns[i].Family }); n > 1 {
		shape := newStructure(hornShape, scaled(hornVariance, 0.5), weightSpread, hornStrength)
		levels = append(levels, d.slotLevel(levelFamily, n, func(s sessionRow) int32 { return family[s.horn] }, shape, shape.k))
	}
	share := 1.0
	if design, n, shared := groups(len(d.Horns), func(i int) string { return d.Horns[i].Design }); shared {
		shape := newStructure(hornShape, scaled(hornVariance, hornDesignShare), weightSpread, hornStrength)
		levels = append(levels, d.slotLevel(levelHornDesign, n, func(s sessionRow) int32 { return design[s.horn] }, shape, shape.k))
		share = 1 - hornDesignShare
	}
	shape := newStructure(hornShape, scaled(hornVariance, share), weightSpread, hornStrength)
	levels = append(levels, d.slotLevel(levelHorn, len(d.Horns), func(s sessionRow) int32 { return s.horn }, shape, shape.k))

	share = 1
	if design, n, shared := groups(len(d.Mouthpieces), func(i int) string { return d.Mouthpieces[i].Design }); shared {
		shape := newStructure(mpShape, scaled(mpVariance, mouthpieceDesignShare), weightSpread, smoothStrength)
		levels = append(levels, d.classLevel(levelMouthpieceDesign, n,
			func(s sessionRow) int32 { return design[s.mouthpiece] }, classOf, mouthpieceCoef, shape))
		share = 1 - mouthpieceDesignShare
	}
	shape = newStructure(mpShape, scaled(mpVariance, share), weightSpread, smoothStrength)
	levels = append(levels, d.classLevel(levelMouthpiece, len(d.Mouthpieces),
		func(s sessionRow) int32 { return s.mouthpiece }, classOf, mouthpieceCoef, shape))
	if l := d.dimensionLevel(classOf, mouthpieceCoef); l != nil {
		levels = append(levels, l)
	}
	shape = newStructure(playerShape, playerVariance, weightSpread, smoothStrength)
	levels = append(levels, d.classLevel(levelPlayer, len(d.Players),
		func(s sessionRow) int32 { return s.player }, classOf, smoothCoef, shape))
	if fine {
		levels = append(levels,
			d.freeLevel(levelMouthpieceSlots, len(d.Mouthpieces), 0.2, func(s sessionRow) int32 { return s.mouthpiece }),
			d.freeLevel(levelPlayerSlots, len(d.Players), 1, func(s sessionRow) int32 { return s.player }))
	}
	at := 0
	for _, l := range levels {
		l.first = at
		at += l.blocks * l.q()
	}
	return levels
}

// freeLevel is a level of independent differences slot by slot.
func (d *Data) freeLevel(name string, blocks int, variance float64, of func(s sessionRow) int32) *level {
	n := len(d.Slots)
	shape := newStructure([]square{pattern(n, func(i, j int) float64 { return same(i == j) })},
		[]float64{variance}, weightSpread, math.Inf(1))
	return d.slotLevel(name, blocks, of, shape, shape.k)
}

// dimensionLevel is the regression of a mouthpiece's coefficients on the
// logarithms of its known dimensions, each scaled to unit spread over the
// catalog's designs; nil when no dimension varies.
func (d *Data) dimensionLevel(classOf func(s sessionRow) uint8, coef [][]float64) *level {
	z, any := d.standardDimensions()
	if !any {
		return nil
	}
	patterns, variances := mouthpiecePatterns()
	shape := newStructure(patterns, scaled(variances, 0.3), weightSpread, smoothStrength)
	l := newLevel(levelDimensions, len(d.Slots), 1, len(d.sessions))
	rows := map[[2]int32]int32{}
	for i, s := range d.sessions {
		key := [2]int32{s.mouthpiece, int32(classOf(s))}
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
	l.p = shape.k.n
	l.coef = coef
	l.shape = shape
	l.index()
	l.setCovariance(shape.k)
	return l
}

// standardDimensions gives every mouthpiece's log dimensions as deviations
// from the mean over designs in units of their standard deviation, 0 where
// unknown.
func (d *Data) standardDimensions() (z [][dimensionCount]float64, any bool) {
	z = make([][dimensionCount]float64, len(d.Mouthpieces))
	for k := range dimensionCount {
		seen := map[string]bool{}
		var values []float64
		for _, m := range d.Mouthpieces {
			v := m.Dimensions[k]
			if math.IsNaN(v) || m.Design != "" && seen[m.Design] {
				continue
			}
			seen[m.Design] = true
			values = append(values, v)
		}
		mean, sd := meanAndSD(values)
		if len(values) < 3 || sd < 1e-3 {
			continue
		}
		any = true
		for i, m := range d.Mouthpieces {
			if v := m.Dimensions[k]; !math.IsNaN(v) {
				z[i][k] = (v - mean) / sd
			}
		}
	}
	return z, any
}

func meanAndSD(values []float64) (mean, sd float64) {
	if len(values) == 0 {
		return 0, 0
	}
	for _, v := range values {
		mean += v
	}
	mean /= float64(len(values))
	for _, v := range values {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / float64(len(values)))
}
