package fit

import (
	"context"
	"slices"
	"sync/atomic"
	"time"

	"centwise/catalog"
)

// addPair makes room for a pair measured for the first time and gives its
// place in the table of pairs.
func (m *Model) addPair(p setupPlace) (int, error) {
	t := &m.tables[effectPair]
	at := t.items
	if at%t.together != 0 {
		if err := m.fetchItem(at, effectPair); err != nil {
			return 0, err
		}
	}
	t.grow()
	i, _ := m.findPair(p.horn, p.mouthpiece)
	m.pairs = slices.Insert(m.pairs, i, pairRecord{horn: int32(p.horn), mouthpiece: int32(p.mouthpiece), at: int32(at)})
	return at, nil
}

// grow adds an item of zeros; the part it falls into must have been fetched.
func (t *table) grow() {
	last := t.items / t.together
	t.items++
	if last == len(t.parts) {
		parts := make([]atomic.Pointer[part], last+1)
		for i := range t.parts {
			parts[i].Store(t.parts[i].Load())
		}
		parts[last].Store(&part{})
		t.parts = parts
	}
	p := t.parts[last].Load()
	t.parts[last].Store(&part{
		append(slices.Clone(p.mean), make([]float64, t.width)...),
		append(slices.Clone(p.deviations), make([]float32, t.width*t.draws)...),
	})
}

// count adds a session to the evidence.
func (m *Model) count(ctx context.Context, store catalog.Store, f freshSession) error {
	h, x := &m.horns[f.place.horn], &m.mouthpieces[f.place.mouthpiece]
	h.Record.Sessions++
	x.Sessions++
	for i := range m.horns {
		if other := &m.horns[i].Record; h.Record.Design != "" && other.Design == h.Record.Design && i != f.place.horn {
			other.DesignSessions++
		}
	}
	for i := range m.mouthpieces {
		if other := &m.mouthpieces[i]; x.Design != "" && other.Design == x.Design && i != f.place.mouthpiece {
			other.DesignSessions++
		}
	}
	if f.place.player >= 0 {
		m.players[f.place.player].Sessions++
	}
	if i, ok := m.findPair(f.place.horn, f.place.mouthpiece); ok {
		m.pairs[i].sessions++
	}
	m.joinParts(h.Record.Part, x.Part)
	m.Report.Sessions++
	m.Report.Refreshed++
	for _, r := range f.Readings {
		if !r.Odd {
			m.Report.Readings++
		}
	}
	m.last = max(m.last, f.sequence)
	list, err := store.Sessions(ctx, catalog.SessionFilter{Horn: f.Horn})
	if err != nil {
		return err
	}
	players := map[catalog.ID]bool{}
	for _, s := range list {
		players[s.Player] = true
	}
	h.Players = len(players)
	return nil
}

// joinParts makes two unconnected parts one.
func (m *Model) joinParts(a, b int32) {
	if a == b {
		return
	}
	into, from := min(a, b), max(a, b)
	for i := range m.horns {
		if m.horns[i].Record.Part == from {
			m.horns[i].Record.Part = into
		}
	}
	for i := range m.mouthpieces {
		if m.mouthpieces[i].Part == from {
			m.mouthpieces[i].Part = into
		}
	}
	m.Report.Parts = m.countParts()
}

// amend stores what a refresh changed. A catalog that cannot be written, or
// that somebody else has fitted meanwhile, still gets its answer.
func (m *Model) amend(ctx context.Context, store catalog.Store, digest catalog.Digest, r *region) error {
	from := m.Digest
	now := time.Now().UTC()
	f := catalog.StoredFit{Digest: digest.String(), Version: formatVersion, At: now, Sections: map[string][]byte{}}
	for e, parts := range r.changed {
		for i := range parts {
			f.Sections[sectionName(effect(e), i)] = m.tables[e].parts[i].Load().encode()
		}
	}
	m.At = now
	if err := m.encode(f.Sections); err != nil {
		return err
	}
	err := store.AmendFit(ctx, f, from)
	switch catalog.KindOf(err) {
	case catalog.Unavailable:
		return m.fetchAll()
	case catalog.Conflict, catalog.NotFound:
		return catalog.Errorf(catalog.Conflict, "run the command again", "the catalog was fitted anew meanwhile")
	}
	if err == nil {
		m.Digest, m.storedAt = f.Digest, storedTime(now)
	}
	return err
}

// storedTime is a time as a store keeps it, to the millisecond.
func storedTime(t time.Time) time.Time { return t.Truncate(time.Millisecond) }

// fetchAll reads every part that is still to be read.
func (m *Model) fetchAll() error {
	var parts partSet
	for e := range effects {
		for i := 0; i < m.tables[e].items; i += m.tables[e].together {
			parts.add(m, e, i)
		}
	}
	return m.fetchParts(parts)
}
