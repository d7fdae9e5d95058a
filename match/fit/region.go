package fit

import (
	"cmp"
	"context"
	"slices"

	"centwise/catalog"
)

// region is the part of the catalog around new sessions.
type region struct {
	m                        *Model
	store                    catalog.Store
	horn, mouthpiece, player map[int]int32 // place in the model to place here
	sessions                 []catalog.Session
	have                     map[catalog.ID]bool
	changed                  [effects]map[int]bool // parts of the tables
}

// gather reads the sessions that share an item with f, then those that share
// one with them, up to regionSessions.
func (r *region) gather(ctx context.Context, f freshSession) error {
	clear(r.have)
	r.sessions = r.sessions[:0]
	r.have[f.ID] = true
	if err := r.around(ctx, f.Horn, f.Mouthpiece, f.Player); err != nil {
		return err
	}
	for _, s := range slices.Clone(r.sessions) {
		if err := r.around(ctx, s.Horn, s.Mouthpiece, s.Player); err != nil {
			return err
		}
	}
	return nil
}

func (r *region) around(ctx context.Context, horn, mouthpiece, player catalog.ID) error {
	filters := []catalog.SessionFilter{{Horn: horn}, {Mouthpiece: mouthpiece}}
	if player != "" {
		filters = append(filters, catalog.SessionFilter{Player: player})
	}
	for _, filter := range filters {
		filter.Limit = regionSessions / 2
		list, err := r.store.Sessions(ctx, filter)
		if err != nil {
			return err
		}
		for _, x := range list {
			if len(r.sessions) >= regionSessions {
				return nil
			}
			if r.have[x.ID] {
				continue
			}
			r.have[x.ID] = true
			s, err := r.store.Session(ctx, string(x.ID))
			if err != nil {
				return err
			}
			r.sessions = append(r.sessions, s)
		}
	}
	return nil
}

// data makes the region's sessions, and f last, into data of their own.
func (r *region) data(f freshSession) (*Data, error) {
	m := r.m
	d := &Data{Slots: m.slots, Sources: m.sources, slotIndex: m.slotIndex}
	clear(r.horn)
	clear(r.mouthpiece)
	clear(r.player)
	for _, l := range m.learned {
		if l.Name != levelCommon && l.Name != levelFamily && l.Name != levelDimensions {
			d.only = append(d.only, l.Name)
		}
	}
	d.varied = slices.ContainsFunc(m.learned, func(l learnedLevel) bool { return l.Name == levelDimensions })
	for _, s := range append(slices.Clone(r.sessions), f.Session) {
		place, err := m.sessionPlace(s.Horn, s.Mouthpiece, s.Player)
		if err != nil {
			return nil, err
		}
		source := slices.Index(m.sources, Source{s.Contributor, cmp.Or(s.Method, catalog.MethodTuner)})
		if place.player < 0 || source < 0 {
			continue
		}
		row := sessionRow{horn: r.hornPlace(d, place.horn), mouthpiece: r.mouthpiecePlace(d, place.mouthpiece),
			player: r.playerPlace(d, place.player), source: int32(source), name: s.Name, apart: s.ID == f.ID}
		row.begin = int32(len(d.cents))
		for _, x := range s.Readings {
			if i, ok := m.slotIndex[x.Slot]; ok && !x.Odd {
				d.slot = append(d.slot, uint8(i))
				d.cents = append(d.cents, x.Cents)
			}
		}
		row.end = int32(len(d.cents))
		d.sessions = append(d.sessions, row)
	}
	slices.SortFunc(d.sessions, func(a, b sessionRow) int {
		return cmp.Or(cmp.Compare(a.horn, b.horn), cmp.Compare(a.mouthpiece, b.mouthpiece), cmp.Compare(a.player, b.player), cmp.Compare(a.name, b.name))
	})
	return d, nil
}

func (r *region) hornPlace(d *Data, i int) int32 {
	at, ok := r.horn[i]
	if !ok {
		h := r.m.horns[i]
		at = int32(len(d.Horns))
		r.horn[i] = at
		d.Horns = append(d.Horns, HornItem{Item: h.Record.Item, Design: h.Record.Design, Transposition: h.Transposition})
	}
	return at
}

func (r *region) mouthpiecePlace(d *Data, i int) int32 {
	at, ok := r.mouthpiece[i]
	if !ok {
		x := r.m.mouthpieces[i]
		at = int32(len(d.Mouthpieces))
		r.mouthpiece[i] = at
		d.Mouthpieces = append(d.Mouthpieces, MouthpieceItem{Item: x.Item, Design: x.Design})
		d.z = append(d.z, x.Dimensions)
	}
	return at
}

func (r *region) playerPlace(d *Data, i int) int32 {
	at, ok := r.player[i]
	if !ok {
		at = int32(len(d.Players))
		r.player[i] = at
		d.Players = append(d.Players, r.m.players[i].Item)
	}
	return at
}

// engine sets the region's equations up with the learned components.
func (r *region) engine(d *Data) *engine {
	e := newEngine(d, &r.m.Components, r.m.Seed, slices.Contains(d.only, levelPlayerSlots))
	for _, l := range e.sys.levels {
		for _, known := range r.m.learned {
			if known.Name == l.name {
				l.setCovariance(square{known.P, slices.Clone(known.Covariance)})
			}
		}
	}
	e.startCells()
	return e
}
