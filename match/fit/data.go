package fit

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Data is a catalog's measurements as compact arrays: readings are stored
// contiguously, sessions refer to items by index, and nothing is kept per
// reading but its slot and its cents.
type Data struct {
	Digest string // of the catalog it came from

	Slots       []pitch.Slot // the slots the fit answers for, J of them, by note
	Horns       []HornItem
	Mouthpieces []MouthpieceItem
	Players     []Item

	// Sources are the pairs of contributor and method that have a reading
	// noise of their own.
	Sources []Source

	sessions []sessionRow // sorted by horn, mouthpiece, then by player and name
	slot     []uint8      // per reading: index into Slots
	cents    []float64    // per reading

	slotIndex map[pitch.Slot]int

	// z are the mouthpieces' dimensions as standardDimensions gives them;
	// varied says whether any dimension varies.
	z      [][dimensionCount]float64
	varied bool
	// unit is the standard deviation of each log dimension, in which z is counted.
	unit [dimensionCount]float64
	// only names the levels to build; nil lets the data decide.
	only []string
}

// Item is a thing the model has an effect for.
type Item struct {
	ID    catalog.ID
	Label string
}

// HornItem is a horn as the fit sees it.
type HornItem struct {
	Item
	Design        string // key of its design; empty if it has no name
	Transposition int    // semitones above written pitch
	Family        string // instrument and key
	Valves        int
	Bore          *catalog.Horn // with a described bore; else nil
}

// MouthpieceItem is a mouthpiece as the fit sees it. Dimensions are the
// natural logarithms of the known ones, NaN where unknown, in the order of
// [DimensionNames].
type MouthpieceItem struct {
	Item
	Design     string
	Dimensions [dimensionCount]float64
}

// Source is who measured and how.
type Source struct {
	Contributor string
	Method      catalog.Method
}

// sessionRow is one session: indices of what took part and where its readings
// begin and end.
type sessionRow struct {
	horn, mouthpiece, player, source int32
	begin, end                       int32
	sequence                         int64
	name                             string
	apart                            bool // not to be taken together with others of its pair
}

// StandardSlots are the slots every fit answers for: partials 2, 3, 4, 5, 6
// and 8 of the seven usual combinations and the open 7, 9 and 10.
func StandardSlots() []pitch.Slot {
	var out []pitch.Slot
	for _, v := range pitch.ThreeValveCombinations {
		if v.String() == "3" { // an alternate for 12: only when it was measured
			continue
		}
		for _, p := range []int{2, 3, 4, 5, 6, 8} {
			out = append(out, pitch.Slot{Valves: v, Partial: p})
		}
	}
	for _, p := range []int{7, 9, 10} {
		out = append(out, pitch.Slot{Partial: p})
	}
	slices.SortFunc(out, pitch.Slot.Compare)
	return out
}

// Load reads everything the fit needs from a catalog.
func Load(ctx context.Context, store catalog.Store, progress catalog.Counter) (*Data, error) {
	digest, err := store.Digest(ctx)
	if err != nil {
		return nil, err
	}
	d, index, err := loadGear(ctx, store)
	if err != nil {
		return nil, err
	}
	d.Digest = digest.String()
	progress.Start("reading the catalog", 0)
	defer progress.Done()
	raw := rawReadings{}
	sources := map[Source]int32{}
	for m, err := range store.Measurements(ctx, 0) {
		if err != nil {
			return nil, err
		}
		progress.Add(1)
		if len(m.Readings) == 0 {
			continue
		}
		if m.Player == "" {
			d.addBench(index)
		}
		row, err := index.row(m)
		if err != nil {
			return nil, err
		}
		src := Source{m.Contributor, m.Method}
		if _, ok := sources[src]; !ok {
			sources[src] = int32(len(d.Sources))
			d.Sources = append(d.Sources, src)
		}
		row.source = sources[src]
		row.begin, row.end = raw.add(m.Readings)
		d.sessions = append(d.sessions, row)
	}
	d.finish(raw)
	return d, nil
}

// itemIndex finds an item's place by its id.
type itemIndex struct {
	horn, mouthpiece, player map[catalog.ID]int32
}

func (x itemIndex) row(m catalog.Measured) (sessionRow, error) {
	h, ok1 := x.horn[m.Horn]
	mp, ok2 := x.mouthpiece[m.Mouthpiece]
	p, ok3 := x.player[m.Player]
	if !ok1 || !ok2 || !ok3 {
		return sessionRow{}, catalog.Errorf(catalog.Internal, "run centwise catalog check",
			"session %s refers to a horn, mouthpiece or player that the catalog does not hold", m.Name)
	}
	return sessionRow{horn: h, mouthpiece: mp, player: p, sequence: m.Sequence, name: m.Name}, nil
}

// addBench makes room for what sessions without a player have in common: a bench
// that measures impedance finds resonances, which lie beside the notes that
// players make of them, smoothly along the range. So it is taken for one more
// player, without a label and with the empty id.
func (d *Data) addBench(x itemIndex) {
	if _, there := x.player[""]; !there {
		x.player[""] = int32(len(d.Players))
		d.Players = append(d.Players, Item{})
	}
}

func loadGear(ctx context.Context, store catalog.Store) (*Data, itemIndex, error) {
	d := &Data{}
	x := itemIndex{map[catalog.ID]int32{}, map[catalog.ID]int32{}, map[catalog.ID]int32{}}
	horns, err := store.Horns(ctx, true)
	if err != nil {
		return nil, x, err
	}
	mouthpieces, err := store.Mouthpieces(ctx, true)
	if err != nil {
		return nil, x, err
	}
	players, err := store.Players(ctx, true)
	if err != nil {
		return nil, x, err
	}
	links, err := store.Links(ctx)
	if err != nil {
		return nil, x, err
	}
	d.setGear(horns, mouthpieces, players, catalog.NewDesigns(links))
	for i, h := range d.Horns {
		x.horn[h.ID] = int32(i)
	}
	for i, m := range d.Mouthpieces {
		x.mouthpiece[m.ID] = int32(i)
	}
	for i, p := range d.Players {
		x.player[p.ID] = int32(i)
	}
	return d, x, nil
}

func (d *Data) setGear(horns []catalog.Horn, mouthpieces []catalog.Mouthpiece, players []catalog.Player, designs catalog.Designs) {
	for _, h := range horns {
		item := HornItem{
			Item: Item{h.ID, h.Label}, Design: designs.Horn(h), Transposition: h.Transposition(),
			Family: fmt.Sprintf("%s in %s", h.Instrument, h.Key), Valves: h.Valves,
		}
		if h.BoreGeometry != "" {
			item.Bore = &h
		}
		d.Horns = append(d.Horns, item)
	}
	for _, m := range mouthpieces {
		d.Mouthpieces = append(d.Mouthpieces, MouthpieceItem{
			Item: Item{m.ID, m.Label}, Design: designs.Mouthpiece(m), Dimensions: logDimensions(m),
		})
	}
	for _, p := range players {
		d.Players = append(d.Players, Item{p.ID, p.Label})
	}
	slices.SortFunc(d.Horns, func(a, b HornItem) int { return cmp.Compare(a.Label, b.Label) })
	slices.SortFunc(d.Mouthpieces, func(a, b MouthpieceItem) int { return cmp.Compare(a.Label, b.Label) })
	slices.SortFunc(d.Players, func(a, b Item) int { return cmp.Compare(a.Label, b.Label) })
	d.standardDimensions()
}

// rawReadings collects readings before the slot list is known.
type rawReadings struct {
	slots []uint8 // packed valves and partial
	cents []float64
	seen  [1 << 8]bool
}

func packSlot(s pitch.Slot) uint8 { return uint8(s.Valves)<<4 | uint8(s.Partial) }

func unpackSlot(k uint8) pitch.Slot {
	return pitch.Slot{Valves: pitch.Valves(k >> 4), Partial: int(k & 15)}
}

func (r *rawReadings) add(readings []catalog.MeasuredReading) (begin, end int32) {
	begin = int32(len(r.cents))
	for _, x := range readings {
		k := packSlot(x.Slot)
		r.seen[k] = true
		r.slots = append(r.slots, k)
		r.cents = append(r.cents, x.Cents)
	}
	return begin, int32(len(r.cents))
}

// finish fixes the slot list, puts sessions in an order that does not depend
// on how they came in, and lays the readings out in that order.
func (d *Data) finish(raw rawReadings) {
	d.Slots = StandardSlots()
	for k := range raw.seen {
		if s := unpackSlot(uint8(k)); raw.seen[k] && !slices.Contains(d.Slots, s) {
			d.Slots = append(d.Slots, s)
		}
	}
	slices.SortFunc(d.Slots, pitch.Slot.Compare)
	d.slotIndex = make(map[pitch.Slot]int, len(d.Slots))
	var byKey [1 << 8]uint8
	for i, s := range d.Slots {
		d.slotIndex[s] = i
		byKey[packSlot(s)] = uint8(i)
	}
	slices.SortFunc(d.sessions, func(a, b sessionRow) int {
		return cmp.Or(cmp.Compare(a.horn, b.horn), cmp.Compare(a.mouthpiece, b.mouthpiece),
			cmp.Compare(a.player, b.player), cmp.Compare(a.name, b.name))
	})
	d.sortSources()
	d.slot = make([]uint8, 0, len(raw.slots))
	d.cents = make([]float64, 0, len(raw.cents))
	for i := range d.sessions {
		s := &d.sessions[i]
		for k := s.begin; k < s.end; k++ {
			d.slot = append(d.slot, byKey[raw.slots[k]])
		}
		d.cents = append(d.cents, raw.cents[s.begin:s.end]...)
		s.begin, s.end = int32(len(d.slot))-(s.end-s.begin), int32(len(d.slot))
	}
}

// sortSources numbers the sources in an order that does not depend on how the
// sessions came in.
func (d *Data) sortSources() {
	sorted := slices.Clone(d.Sources)
	slices.SortFunc(sorted, func(a, b Source) int {
		return cmp.Or(cmp.Compare(a.Contributor, b.Contributor), cmp.Compare(a.Method, b.Method))
	})
	place := make(map[Source]int32, len(sorted))
	for i, s := range sorted {
		place[s] = int32(i)
	}
	for i := range d.sessions {
		d.sessions[i].source = place[d.Sources[d.sessions[i].source]]
	}
	d.Sources = sorted
}

// Readings is how many readings the fit stands on.
func (d *Data) Readings() int { return len(d.cents) }

// Sessions is how many sessions the fit stands on.
func (d *Data) Sessions() int { return len(d.sessions) }
