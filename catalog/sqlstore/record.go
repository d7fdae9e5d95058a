package sqlstore

import (
	"database/sql"
	"slices"
	"strings"

	"centwise/catalog"
)

const sessionColumns = "seq, id, name, folded, horn, mouthpiece, player, contributor, played_at, recorded_at, a4_hz, " +
	"temperature_c, slide_mm, gap_mm, dynamic, method, remark, source, adapter, reading_count, content, " +
	"retracted_at, retracted_by, retraction_reason, replaced_by, stated, withheld, extra, touched_at"

// sessionList are the columns one by one.
var sessionList = strings.Split(sessionColumns, ", ")

// insertSessions records the sessions in the order given.
func (w *changer) insertSessions(sessions []catalog.Session) error {
	if len(sessions) == 0 {
		return nil
	}
	refs := newRefs(w)
	if err := refs.ahead(len(sessions), func(i int) *catalog.Session { return &sessions[i] }); err != nil {
		return err
	}
	into, err := newSessionWriter(w)
	if err != nil {
		return err
	}
	defer into.close()
	var problems catalog.Problems
	for i := range sessions {
		set, err := refs.resolve(&sessions[i])
		if err != nil {
			return err
		}
		if err := sessions[i].Fits(set.horn, set.mouthpiece); err != nil {
			problems = append(problems, catalog.ProblemsOf(err)...)
			continue
		}
		if err := into.add(sessions[i].Name, &catalog.Shared[catalog.Session]{Record: sessions[i]}, set); err != nil {
			return err
		}
		if err := w.touched(catalog.PooledSession, string(sessions[i].ID), ""); err != nil {
			return err
		}
	}
	if err := problems.Err(); err != nil {
		return err
	}
	return into.finish()
}

// sessionValues are the columns of a session, which is added to the sum if it
// counts.
func (w *changer) sessionValues(seq int64, name string, shared *catalog.Shared[catalog.Session], set setup) []any {
	s := &shared.Record
	content := digest(s.Content())
	var retracted catalog.Retraction
	var by, reason *string
	if s.Retraction != nil {
		retracted = *s.Retraction
		by, reason = &retracted.Contributor, &retracted.Reason
	} else {
		w.sum = w.sum.Plus(catalog.SessionDigest(catalog.Digest(content), set.horn.Label, set.mouthpiece.Label, set.player))
	}
	return []any{seq, s.ID, name, catalog.Fold(name), s.Horn, s.Mouthpiece, (*reference)(&s.Player),
		s.Contributor, (*instant)(&s.At), (*instant)(&s.Recorded), s.A4Hz, s.TemperatureC, s.SlideMM, s.GapMM, s.Dynamic,
		s.Method, s.Remark, s.Source, (*flag)(&s.Adapter), len(s.Readings), &content,
		(*instant)(&retracted.At), by, reason, (*reference)(&retracted.ReplacedBy),
		s.Name, (*list)(&shared.Withheld), shared.Extra.String(), (*instant)(&w.now)}
}

// setup is the gear of a session, as far as recording one needs it.
type setup struct {
	horn       catalog.Horn
	mouthpiece catalog.Mouthpiece
	player     string
}

// refs looks up the gear that sessions name, each once.
type refs struct {
	w           *changer
	horns       map[catalog.ID]catalog.Horn
	mouthpieces map[catalog.ID]catalog.Mouthpiece
	players     map[catalog.ID]catalog.Player
}

func newRefs(w *changer) *refs {
	return &refs{w, map[catalog.ID]catalog.Horn{}, map[catalog.ID]catalog.Mouthpiece{}, map[catalog.ID]catalog.Player{}}
}

func (r *refs) resolve(s *catalog.Session) (set setup, err error) {
	if set.horn, err = lookUp(r.w, horns, r.horns, s.Horn, s.Name); err != nil {
		return setup{}, err
	}
	if set.mouthpiece, err = lookUp(r.w, mouthpieces, r.mouthpieces, s.Mouthpiece, s.Name); err != nil {
		return setup{}, err
	}
	if s.Player == "" {
		return set, nil
	}
	p, err := lookUp(r.w, players, r.players, s.Player, s.Name)
	set.player = p.Label
	return set, err
}

// ahead looks up the gear of many sessions, a block at a time, where asking for
// each would wait for a network.
func (r *refs) ahead(n int, session func(i int) *catalog.Session) error {
	if n == 1 || r.w.store.dialect.block == 1 {
		return nil
	}
	ids := [3]map[catalog.ID]bool{{}, {}, {}}
	for i := range n {
		s := session(i)
		for kind, id := range []catalog.ID{s.Horn, s.Mouthpiece, s.Player} {
			if id != "" {
				ids[kind][id] = true
			}
		}
	}
	err := lookUpAll(r.w, horns, r.horns, ids[0])
	if err == nil {
		err = lookUpAll(r.w, mouthpieces, r.mouthpieces, ids[1])
	}
	if err == nil {
		err = lookUpAll(r.w, players, r.players, ids[2])
	}
	return err
}

// lookUpAll looks up those ids that are not known yet. Those that are not there,
// or go by another record, are left to lookUp.
func lookUpAll[T any](w *changer, g *gear[T], known map[catalog.ID]T, ids map[catalog.ID]bool) error {
	var list []catalog.ID
	for id := range ids {
		if _, ok := known[id]; !ok {
			list = append(list, id)
		}
	}
	for some := range slices.Chunk(list, w.store.dialect.block) {
		var c conditions
		oneOf(&c, "g.id", some)
		if linked(g.noun) {
			c.parts = append(c.parts, "g.kept IS NULL")
		}
		found, err := g.query(w.ctx, w.tx, len(some), g.selectHead+c.where(), c.args...)
		if err != nil {
			return err
		}
		for i := range found {
			id, _, _ := g.base(&found[i])
			known[*id] = found[i]
		}
	}
	return nil
}

// lookUp finds what a session's gear goes by.
func lookUp[T any](w *changer, g *gear[T], known map[catalog.ID]T, id catalog.ID, session string) (T, error) {
	if record, ok := known[id]; ok {
		return record, nil
	}
	var none T
	is := `$1`
	if linked(g.noun) {
		is = `(SELECT COALESCE(kept, id) FROM ` + g.noun + ` WHERE id = $1)`
	}
	found, err := g.query(w.ctx, w.tx, 1, g.selectHead+` WHERE g.id = `+is, id)
	if err != nil {
		return none, err
	}
	if len(found) == 0 {
		return none, catalog.Errorf(catalog.NotFound, "add the "+g.noun+" first", "session %q names a %s with the id %s, which is not in the catalog", session, g.noun, id)
	}
	known[id] = found[0]
	return found[0], nil
}

// retract takes sessions out of every calculation.
func (w *changer) retract(retractions []catalog.RetractionOf) error {
	for i := range retractions {
		r := &retractions[i]
		var seq int64
		var name, stated string
		var at instant
		err := w.tx.QueryRowContext(w.ctx, `SELECT seq, name, stated, retracted_at FROM session WHERE id = $1`, r.Session).Scan(&seq, &name, &stated, &at)
		switch {
		case err == sql.ErrNoRows:
			return catalog.Errorf(catalog.NotFound, "list what is there with: centwise session list", "no session with the id %s in the catalog", r.Session)
		case err != nil:
			return err
		case at != instant{}:
			return catalog.Errorf(catalog.Conflict, "look at it with: centwise session show "+catalog.ShellWord(name), "session %q is retracted already", name)
		}
		if err := w.countSessions(map[int64]bool{seq: true}, catalog.Digest.Minus); err != nil {
			return err
		}
		_, err = w.tx.ExecContext(w.ctx, `UPDATE session SET retracted_at = $1, retracted_by = $2, retraction_reason = $3, replaced_by = $4,
			name = stated, folded = $5, touched_at = $6 WHERE seq = $7`,
			(*instant)(&r.At), r.Contributor, r.Reason, (*reference)(&r.ReplacedBy), catalog.Fold(stated), (*instant)(&w.now), seq)
		if err == nil {
			err = w.touched(catalog.PooledSession, string(r.Session), "")
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// checkReplacements makes sure that what replaces a session is there.
func (w *changer) checkReplacements(c catalog.Changes) error {
	var ids []catalog.ID
	for _, r := range c.Retractions {
		ids = append(ids, r.ReplacedBy)
	}
	for _, s := range c.Sessions {
		if s.Retraction != nil {
			ids = append(ids, s.Retraction.ReplacedBy)
		}
	}
	for _, id := range ids {
		if id == "" {
			continue
		}
		var n int
		if err := w.tx.QueryRowContext(w.ctx, `SELECT COUNT(*) FROM session WHERE id = $1`, id).Scan(&n); err != nil {
			return err
		}
		if n == 0 {
			return catalog.Errorf(catalog.NotFound, "record the correcting session first, or with the same change", "the session with the id %s, which is to replace another, is not in the catalog", id)
		}
	}
	return nil
}
