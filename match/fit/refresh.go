package fit

import (
	"context"
	"slices"

	"centwise/catalog"
)

const (
	// refreshFrom is the number of readings from which on added sessions are
	// taken into the stored fit; smaller catalogs are quickly fitted anew.
	refreshFrom = 50_000
	// refreshAtMost is how many sessions may be taken in before everything is
	// fitted anew, as a share of the sessions in the fit.
	refreshAtMost = 0.005
	// regionSessions is how many sessions around a new one are looked at.
	regionSessions = 240
)

// refresh takes sessions recorded since the fit into it, if they are all that
// changed in the catalog, by conditioning the answer and every draw on them:
// with A the equations of the sessions around the new ones and r what the new
// readings are off, x + A^-1 W' R^-1 r. The components stay as they were, and
// so does everything farther away than the sessions that share a horn, a
// mouthpiece or a player with those of the new ones. It reports false, and
// leaves the model alone, when a whole fit is called for.
func (m *Model) refresh(ctx context.Context, store catalog.Store, digest catalog.Digest, from int) (bool, error) {
	if m.Report.Readings < from {
		return false, nil
	}
	if m.fetchPlayers() != nil {
		return false, nil // the stored fit is damaged
	}
	fresh, err := m.freshSessions(ctx, store, digest)
	if err != nil || len(fresh) == 0 {
		return false, err
	}
	r := &region{m: m, store: store, horn: map[int]int32{}, mouthpiece: map[int]int32{}, player: map[int]int32{}, have: map[catalog.ID]bool{}}
	for _, s := range fresh {
		if err := r.gather(ctx, s); err != nil {
			return false, err
		}
		if err := r.condition(ctx, s); err != nil {
			return false, err
		}
		if err := m.count(ctx, store, s); err != nil {
			return false, err
		}
	}
	return true, m.amend(ctx, store, digest, r)
}

// sessionPlace is where a session's setup stands in the tables; one without a
// player was measured on the bench, see addBench.
func (m *Model) sessionPlace(horn, mouthpiece, player catalog.ID) (setupPlace, error) {
	return m.place(Setup{Horn: horn, Mouthpiece: mouthpiece, Player: player, Bench: player == ""})
}

// freshSession is a session that is not in the fit yet.
type freshSession struct {
	catalog.Session
	sequence int64
	place    setupPlace
	source   int32
}

// freshSessions lists the sessions recorded since the fit; none unless they
// account for the whole change of the digest and refer to nothing new.
func (m *Model) freshSessions(ctx context.Context, store catalog.Store, digest catalog.Digest) ([]freshSession, error) {
	expected, err := catalog.ParseDigest(m.Digest)
	if err != nil {
		return nil, nil
	}
	var fresh []freshSession
	most := max(1, int(refreshAtMost*float64(m.Report.Sessions)))
	for x, err := range store.Measurements(ctx, m.last) {
		if err != nil {
			return nil, err
		}
		if len(fresh)+m.Report.Refreshed >= most {
			return nil, nil
		}
		place, err := m.sessionPlace(x.Horn, x.Mouthpiece, x.Player)
		source := slices.Index(m.sources, Source{x.Contributor, x.Method})
		if err != nil || source < 0 || place.player < 0 {
			return nil, nil
		}
		fresh = append(fresh, freshSession{catalog.Session{ID: x.ID}, x.Sequence, place, int32(source)})
	}
	for i := range fresh {
		f := &fresh[i]
		if f.Session, err = store.Session(ctx, string(f.ID)); err != nil {
			return nil, err
		}
		for _, x := range f.Readings {
			if _, ok := m.slotIndex[x.Slot]; !ok {
				return nil, nil
			}
		}
		player := ""
		if f.place.player >= 0 {
			player = m.players[f.place.player].Label
		}
		expected = expected.Plus(catalog.SessionDigest(f.Content(), m.horns[f.place.horn].Record.Label,
			m.mouthpieces[f.place.mouthpiece].Label, player))
	}
	if expected != digest {
		return nil, nil
	}
	return fresh, nil
}
