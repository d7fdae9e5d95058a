package sqlstore

import (
	"context"

	"centwise/catalog"
)

// withLinked adds to ids those of everything that goes by the same record.
func withLinked(ctx context.Context, tx *transaction, noun string, ids []catalog.ID) ([]catalog.ID, error) {
	var out []catalog.ID
	have := map[catalog.ID]bool{}
	for _, id := range ids {
		members, err := texts(ctx, tx, `SELECT g.id FROM `+noun+` g WHERE COALESCE(g.kept, g.id) = (SELECT COALESCE(k.kept, k.id) FROM `+noun+` k WHERE k.id = $1) ORDER BY g.id`, string(id))
		if err != nil {
			return nil, err
		}
		for _, m := range append(members, string(id)) {
			if !have[catalog.ID(m)] {
				have[catalog.ID(m)] = true
				out = append(out, catalog.ID(m))
			}
		}
	}
	return out, nil
}

// linkEnds is the gear that went by, for choosing the links that go with it.
type linkEnds struct {
	all   bool // links go, whatever gear went
	names map[catalog.LinkKind]map[string]bool
}

func newLinkEnds(s selection) *linkEnds {
	e := &linkEnds{all: !s.narrow && s.since == 0, names: map[catalog.LinkKind]map[string]bool{}}
	for _, k := range catalog.LinkKinds {
		e.names[k] = map[string]bool{}
	}
	return e
}

func (e *linkEnds) add(p catalog.Pooled) {
	switch {
	case e.all:
	case p.Horn != nil:
		e.names[catalog.LinkHorn][string(p.Horn.Record.ID)] = true
		e.names[catalog.LinkHornDesign][p.Horn.Record.DesignName().Key()] = true
	case p.Mouthpiece != nil:
		e.names[catalog.LinkMouthpiece][string(p.Mouthpiece.Record.ID)] = true
		e.names[catalog.LinkMouthpieceDesign][p.Mouthpiece.Record.DesignName().Key()] = true
	}
}

// links streams the links of the gear that went, the links of what those lead to,
// and of everything that has changed since.
func (p *pooling) links() error {
	stored, err := queryLinks(p.ctx, p.tx, selectLinks+` ORDER BY l.kind, l.alias`)
	if err != nil {
		return err
	}
	news := map[linkKey]bool{}
	if p.sel.since > 0 && !p.sel.narrow {
		recent, err := queryLinks(p.ctx, p.tx, selectLinks+` WHERE l.arrived_at >= $1`, p.sel.since)
		if err != nil {
			return err
		}
		for _, l := range recent {
			news[linkKey{l.Record.Kind, l.Record.Alias}] = true
		}
	}
	for grown := true; grown; {
		grown = false
		for _, l := range stored {
			names := p.ends.names[l.Record.Kind]
			if (names[l.Record.Alias] || news[linkKey{l.Record.Kind, l.Record.Alias}]) && !names[l.Record.Kept] {
				names[l.Record.Kept], grown = true, true
			}
		}
	}
	for i := range stored {
		l := &stored[i]
		key := linkKey{l.Record.Kind, l.Record.Alias}
		if !p.ends.all && !news[key] && !p.ends.names[key.kind][key.alias] {
			continue
		}
		if !p.give(catalog.Pooled{Link: &l.Shared}) {
			return nil
		}
	}
	return nil
}

// linkKey is what a link is known by.
type linkKey struct {
	kind  catalog.LinkKind
	alias string
}
