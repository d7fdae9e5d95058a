package simulate

import "math/rand/v2"

// Held-out sets: how many candidates a horn has to choose from.
const candidatesPerHorn = 20

// addUnmeasured adds items that no session has: new copies of measured designs,
// and mouthpieces of designs that nobody measured, half of them described.
func (w *World) addUnmeasured() {
	hornDesigns, mouthpieceDesigns := measuredDesigns(w.Horns), measuredDesigns(w.Mouthpieces)
	rng := stream(w.Seed, "unmeasured")
	for range max(10, len(w.Horns)/5) {
		w.addCopy(&w.Horns, "horn", hornDesigns[rng.IntN(len(hornDesigns))])
	}
	for range max(10, len(w.Mouthpieces)/5) {
		w.addCopy(&w.Mouthpieces, "mouthpiece", mouthpieceDesigns[rng.IntN(len(mouthpieceDesigns))])
	}
	first := 0
	for _, m := range w.Mouthpieces {
		first = max(first, m.Design+1)
	}
	for i := range 2 * max(10, first/4) {
		w.addCopy(&w.Mouthpieces, "mouthpiece", first+i)
		w.Mouthpieces[len(w.Mouthpieces)-1].Known = i%2 == 0
	}
}

// addCopy appends a specimen of a design that nobody measured.
func (w *World) addCopy(items *[]Item, what string, number int) {
	designs := make([]design, number+1)
	designs[number] = w.drawDesign(what, number)
	*items = append(*items, w.newItem(what, len(*items), designs, number))
}

func measuredDesigns(items []Item) []int {
	seen := map[int]bool{}
	var out []int
	for _, item := range items {
		if item.Measured > 0 && !seen[item.Design] {
			seen[item.Design] = true
			out = append(out, item.Design)
		}
	}
	return out
}

// holdOut chooses the rankings and the held-out pairs. In the plain kind the
// held-out pairs are those of the rankings, sorted by whether they are linked.
func (w *World) holdOut(p plan) {
	rng := stream(w.Seed, "held out")
	together := map[Pair]bool{}
	for _, s := range w.Sessions {
		together[Pair{s.Horn, s.Mouthpiece}] = true
	}
	horns, mouthpieces := w.measured(w.Horns), w.measured(w.Mouthpieces)
	rng.Shuffle(len(horns), func(i, j int) { horns[i], horns[j] = horns[j], horns[i] })
	for _, h := range horns[:min(p.rankings, len(horns))] {
		w.Rankings = append(w.Rankings, w.newRanking(rng, h, mouthpieces, together))
	}
	if w.Kind == Plain {
		for _, r := range w.Rankings {
			for _, m := range r.Candidates {
				s := w.stratum(r.Horn, m)
				w.HeldOut[s] = append(w.HeldOut[s], Pair{r.Horn, m})
			}
		}
		return
	}
	w.holdOutStrata(rng, p.heldOut, together)
}

// newRanking takes candidates that were never measured with the horn.
func (w *World) newRanking(rng *rand.Rand, horn int, mouthpieces []int, together map[Pair]bool) Ranking {
	r := Ranking{Horn: horn}
	for _, k := range rng.Perm(len(mouthpieces)) {
		if m := mouthpieces[k]; !together[Pair{horn, m}] && len(r.Candidates) < candidatesPerHorn {
			r.Candidates = append(r.Candidates, m)
		}
	}
	return r
}

// holdOutStrata draws pairs over all items until every stratum is full; items
// of rare strata are drawn as often as the others.
func (w *World) holdOutStrata(rng *rand.Rand, count int, together map[Pair]bool) {
	byStratum := map[Stratum][]int{}
	for i := range w.Mouthpieces {
		s := w.mouthpieceStratum(i)
		byStratum[s] = append(byStratum[s], i)
	}
	measured, copies := w.measured(w.Horns), w.unmeasured(w.Horns)
	for _, s := range Strata {
		horns, mouthpieces := measured, byStratum[s]
		switch s {
		case AcrossIslands:
			mouthpieces = byStratum[Measured]
		case NewHornCopy:
			horns, mouthpieces = copies, byStratum[Measured]
		}
		taken := map[Pair]bool{}
		for tries := 0; len(taken) < count && tries < 50*count; tries++ {
			pair := Pair{horns[rng.IntN(len(horns))], mouthpieces[rng.IntN(len(mouthpieces))]}
			if !taken[pair] && !together[pair] && w.stratum(pair.Horn, pair.Mouthpiece) == s {
				taken[pair] = true
				w.HeldOut[s] = append(w.HeldOut[s], pair)
			}
		}
	}
}

func (w *World) measured(items []Item) (out []int) {
	for i, item := range items {
		if item.Measured > 0 {
			out = append(out, i)
		}
	}
	return out
}

func (w *World) unmeasured(items []Item) (out []int) {
	for i, item := range items {
		if item.Measured == 0 {
			out = append(out, i)
		}
	}
	return out
}

// stratum says what is known of a pair that was never measured together.
func (w *World) stratum(horn, mouthpiece int) Stratum {
	switch s := w.mouthpieceStratum(mouthpiece); {
	case w.Horns[horn].Measured == 0:
		return NewHornCopy
	case s != Measured:
		return s
	case w.Horns[horn].Part != w.Mouthpieces[mouthpiece].Part:
		return AcrossIslands
	}
	return Measured
}

// mouthpieceStratum is A for a measured mouthpiece, else B, C or D.
func (w *World) mouthpieceStratum(mouthpiece int) Stratum {
	item := w.Mouthpieces[mouthpiece]
	if item.Measured > 0 {
		return Measured
	}
	for _, other := range w.Mouthpieces {
		if other.Measured > 0 && other.Design == item.Design {
			return NewCopy
		}
	}
	if item.Known {
		return NewDescribed
	}
	return NewUndescribed
}
