package sqlstore

import (
	"crypto/sha256"
	"encoding/hex"

	"centwise/catalog"
)

// holdBack notes a record that was not admitted.
func (m *merger) holdBack(h catalog.HeldBack) { m.report.HeldBack = append(m.report.HeldBack, h) }

// admitRevision asks whether a revision of gear is taken over, and gives it as it
// is to be; nil if it is not.
func admitRevision[T any](m *merger, g *gear[T], isNew bool, in catalog.Shared[T], stored []catalog.Shared[T], joined catalog.Shared[T]) (*catalog.Shared[T], error) {
	id, r, label := g.base(&in.Record)
	held := catalog.HeldBack{Kind: g.noun, ID: *id, Label: *label}
	if m.refused[*id] {
		held.Why = "an earlier revision of it was held back"
		m.holdBack(held)
		return nil, nil
	}
	a := catalog.Arrival{Record: g.pooled(&in), Joined: g.pooled(&joined), New: isNew}
	if len(stored) > 0 {
		was := g.pooled(&stored[0])
		a.Stored = &was
	}
	if !isNew {
		first, err := g.query(m.ctx, m.tx, 1, g.selectAll+` WHERE r.id = $1 AND r.number = 1`, *id)
		if err != nil {
			return nil, err
		}
		if len(first) > 0 {
			_, revision, _ := g.base(&first[0])
			a.Owner = revision.Contributor
		}
	}
	as, why := m.Admit(a)
	if why != "" {
		held.Why = why
		m.holdBack(held)
		if isNew && r.Number == 1 {
			if m.refused == nil {
				m.refused = map[catalog.ID]bool{}
			}
			m.refused[*id] = true
		}
		return nil, nil
	}
	admitted := *g.of(as)
	if len(stored) > 0 {
		admitted = g.join(stored[0], admitted)
	}
	return &admitted, nil
}

// admit asks whether a session is taken over, and gives it as it is to be; nil if
// it is not.
func (x *sessionMerger) admit(in catalog.Shared[catalog.Session], stored *catalog.Shared[catalog.Session], joined catalog.Shared[catalog.Session]) (*catalog.Shared[catalog.Session], error) {
	if x.w.Admit == nil {
		return &joined, nil
	}
	a := catalog.Arrival{Record: catalog.Pooled{Session: &in}, Joined: catalog.Pooled{Session: &joined}, New: stored == nil}
	if stored != nil {
		a.Stored = &catalog.Pooled{Session: stored}
		a.Owner = stored.Record.Contributor
	}
	if r := in.Record.Retraction; r != nil && r.ReplacedBy != "" {
		if err := x.known.QueryRowContext(x.w.ctx, r.ReplacedBy).Scan(&a.ReplacementStored); err != nil {
			return nil, err
		}
	}
	as, why := x.w.Admit(a)
	if why != "" {
		x.holdBack(in.Record, why)
		return nil, nil
	}
	if stored == nil {
		return as.Session, nil
	}
	admitted := catalog.JoinSessions(*stored, *as.Session)
	return &admitted, nil
}

func (x *sessionMerger) holdBack(s catalog.Session, why string) {
	x.w.holdBack(catalog.HeldBack{Kind: catalog.PooledSession, ID: s.ID, Label: s.Name, Why: why})
}

// namesRefused holds back a session whose gear was.
func (x *sessionMerger) namesRefused(s catalog.Session) bool {
	for _, named := range []struct {
		noun string
		id   catalog.ID
	}{{"horn", s.Horn}, {"mouthpiece", s.Mouthpiece}, {"player", s.Player}} {
		if x.w.refused[named.id] {
			x.holdBack(s, "its "+named.noun+" was held back")
			return true
		}
	}
	return false
}

// otherID is the id by which a record of an unknown kind is kept.
func otherID(o catalog.OtherRecord) string {
	sum := sha256.Sum256([]byte(o.Kind + "\x00" + o.Body))
	return hex.EncodeToString(sum[:])
}
