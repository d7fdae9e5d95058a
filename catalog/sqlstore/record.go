package sqlstore

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"centwise/catalog"
)

const sessionColumns = "seq, id, name, folded, horn, mouthpiece, player, contributor, played_at, recorded_at, a4_hz, " +
	"temperature_c, slide_mm, gap_mm, dynamic, method, remark, source, adapter, reading_count, content, " +
	"retracted_at, retracted_by, retraction_reason, replaced_by, stated, withheld, extra, touched_at"

var insertSession = fmt.Sprintf(`INSERT INTO session (%s) VALUES (%s)`, sessionColumns, placeholders(1, strings.Count(sessionColumns, ",")+1))

// insertSessions records the sessions in the order given.
func (w *changer) insertSessions(sessions []catalog.Session) error {
	if len(sessions) == 0 {
		return nil
	}
	var last int64
	// The transaction is the only writer, so numbers can be given out here:
	// they follow the order of commits, and readings need no look-up.
	if err := w.tx.QueryRowContext(w.ctx, `SELECT COALESCE(MAX(seq), 0) FROM session`).Scan(&last); err != nil {
		return err
	}
	st, err := w.tx.PrepareContext(w.ctx, insertSession)
	if err != nil {
		return err
	}
	defer st.Close()
	refs := newRefs(w)
	into, err := newReadingWriter(w.ctx, w.tx)
	if err != nil {
		return err
	}
	defer into.close()
	var problems catalog.Problems
	for i := range sessions {
		last++
		set, err := refs.resolve(&sessions[i])
		if err != nil {
			return err
		}
		if err := sessions[i].Fits(set.horn, set.mouthpiece); err != nil {
			problems = append(problems, catalog.ProblemsOf(err)...)
			continue
		}
		if err := w.insertSession(st, last, sessions[i].Name, &catalog.Shared[catalog.Session]{Record: sessions[i]}, set); err != nil {
			return err
		}
		for _, r := range sessions[i].Readings {
			if err := into.add(last, r); err != nil {
				return err
			}
		}
	}
	if err := problems.Err(); err != nil {
		return err
	}
	return into.flush()
}

// insertSession records a session under the name that it is to have here.
func (w *changer) insertSession(st *sql.Stmt, seq int64, name string, shared *catalog.Shared[catalog.Session], set setup) error {
	s := &shared.Record
	_, err := st.ExecContext(w.ctx, w.sessionValues(seq, name, shared, set)...)
	if w.store.dialect.classify(err) == unique {
		return catalog.Errorf(catalog.Conflict, "choose another name, or take the other one back first: centwise session retract "+catalog.ShellWord(s.Name),
			"there is a session %q already, or one with its id", s.Name)
	}
	return err
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

func lookUp[T any](w *changer, g *gear[T], known map[catalog.ID]T, id catalog.ID, session string) (T, error) {
	if record, ok := known[id]; ok {
		return record, nil
	}
	var none T
	found, err := g.query(w.ctx, w.tx, 1, g.selectHead+` WHERE g.id = $1`, id)
	if err != nil {
		return none, err
	}
	if len(found) == 0 {
		return none, catalog.Errorf(catalog.NotFound, "add the "+g.noun+" first", "session %q names a %s with the id %s, which is not in the catalog", session, g.noun, id)
	}
	known[id] = found[0]
	return found[0], nil
}

// rowsPerInsert is how many readings go into one statement. The driver finds
// each $n placeholder by its name, so long statements get slower again: 100,000
// rows took 0.30 s at 1, 0.21 s at 10, 0.43 s at 50 and 2.5 s at 500.
const rowsPerInsert = 10

const readingColumns = 6

func insertReadings(rows int) string {
	var b strings.Builder
	b.WriteString(`INSERT INTO reading (session, valves, partial, repeat, cents, odd) VALUES `)
	for i := range rows {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString("(" + placeholders(1+i*readingColumns, readingColumns) + ")")
	}
	return b.String()
}

// readingWriter inserts readings several at a time.
type readingWriter struct {
	ctx  context.Context
	tx   *sql.Tx
	st   *sql.Stmt
	args []any
}

func newReadingWriter(ctx context.Context, tx *sql.Tx) (*readingWriter, error) {
	st, err := tx.PrepareContext(ctx, insertReadings(rowsPerInsert))
	if err != nil {
		return nil, err
	}
	return &readingWriter{ctx, tx, st, make([]any, 0, rowsPerInsert*readingColumns)}, nil
}

func (r *readingWriter) add(seq int64, x catalog.Reading) error {
	odd := int64(0)
	if x.Odd {
		odd = 1
	}
	r.args = append(r.args, seq, int64(x.Slot.Valves), int64(x.Slot.Partial), int64(x.Repeat), x.Cents, odd)
	if len(r.args) < cap(r.args) {
		return nil
	}
	_, err := r.st.ExecContext(r.ctx, r.args...)
	r.args = r.args[:0]
	return err
}

// flush writes what is left over.
func (r *readingWriter) flush() error {
	if len(r.args) == 0 {
		return nil
	}
	_, err := r.tx.ExecContext(r.ctx, insertReadings(len(r.args)/readingColumns), r.args...)
	r.args = r.args[:0]
	return err
}

func (r *readingWriter) close() { r.st.Close() }

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
