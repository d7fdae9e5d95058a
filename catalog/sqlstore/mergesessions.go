package sqlstore

import (
	"database/sql"
	"fmt"
	"slices"

	"centwise/catalog"
)

var updateSession = func() string {
	place := map[string]string{}
	for i, c := range sessionList {
		place[c] = fmt.Sprintf("$%d", i+1)
	}
	return `UPDATE session SET ` + assignments(sessionList[1:], func(c string) string { return place[c] }) + ` WHERE seq = $1`
}()

// sessionMerger joins sessions with those that are stored.
type sessionMerger struct {
	w      *merger
	refs   *refs
	update *sql.Stmt
	known  *sql.Stmt // is there a session with an id
	named  *sql.Stmt // which session that counts has a name
	into   *sessionWriter
	ahead  *taken // of the sessions of a block
	there  map[catalog.ID]*storedSession
}

func (x *sessionMerger) prepare(w *merger) (err error) {
	x.w, x.refs, x.ahead = w, newRefs(w.changer), newTaken()
	st, err := prepareAll(w.ctx, w.tx, updateSession, `SELECT EXISTS (SELECT 1 FROM session WHERE id = $1)`,
		`SELECT id FROM session WHERE name = $1 AND retracted_at IS NULL`)
	if err != nil {
		return err
	}
	x.update, x.known, x.named = st[0], st[1], st[2]
	if x.into, err = newSessionWriter(w.changer); err != nil {
		return err
	}
	x.into.free = true
	return nil
}

func (x *sessionMerger) close() {
	statements{x.update, x.known, x.named}.close()
	x.into.close()
}

// lookAhead asks what is there of a block of sessions.
func (x *sessionMerger) lookAhead(block []catalog.Shared[catalog.Session]) error {
	x.ahead, x.there = newTaken(), nil
	if len(block) == 1 {
		return nil
	}
	if err := x.refs.ahead(len(block), func(i int) *catalog.Session { return &block[i].Record }); err != nil {
		return err
	}
	for i := range block {
		x.ahead.ask(block[i].Record.ID, block[i].Record.Name)
	}
	// Sessions that wait to be inserted are not there yet.
	if err := x.into.insert(); err != nil {
		return err
	}
	if err := x.ahead.load(x.w.changer); err != nil {
		return err
	}
	var ids []catalog.ID
	for id, there := range x.ahead.ids {
		if there {
			ids = append(ids, id)
		}
	}
	var err error
	x.there, err = x.load(ids)
	return err
}

func (x *sessionMerger) merge(in catalog.Shared[catalog.Session]) error {
	if x.namesRefused(in.Record) {
		return nil
	}
	set, err := x.refs.resolve(&in.Record)
	if err != nil {
		return err
	}
	stored, err := x.stored(in.Record.ID)
	if err != nil {
		return err
	}
	if stored != nil {
		return x.join(stored, in, set)
	}
	as, err := x.admit(in, nil, in)
	if as == nil || err != nil {
		return err
	}
	x.w.report.Sessions.New++
	x.w.report.Readings += len(as.Record.Readings)
	name, err := x.freeName(&as.Record, "")
	if err == nil {
		x.noteName(&as.Record, name)
		err = x.into.add(name, as, set)
	}
	if err == nil {
		err = x.touched(in, *as)
	}
	return err
}

// touched notes a session that changed.
func (x *sessionMerger) touched(in, is catalog.Shared[catalog.Session]) error {
	from, err := x.w.sourceOf(catalog.Pooled{Session: &in}, catalog.Pooled{Session: &is})
	if err != nil {
		return err
	}
	return x.w.touched(catalog.PooledSession, string(is.Record.ID), from)
}

// noteName notes what a session is called from now on.
func (x *sessionMerger) noteName(s *catalog.Session, name string) {
	if s.Retraction != nil {
		name = ""
	}
	x.ahead.has(s.ID, name)
}

// storedSession is a session as it is in the catalog.
type storedSession struct {
	seq     int64
	name    string // what it is called here
	content digest
	shared  catalog.Shared[catalog.Session]
}

// stored finds a session without its readings; nil if there is none.
func (x *sessionMerger) stored(id catalog.ID) (*storedSession, error) {
	known, asked := x.ahead.ids[id]
	if !asked {
		if err := x.known.QueryRowContext(x.w.ctx, id).Scan(&known); err != nil {
			return nil, err
		}
	}
	if !known {
		return nil, nil
	}
	if s, ok := x.there[id]; ok {
		delete(x.there, id) // it may change
		return s, nil
	}
	// It may still be waiting to be inserted.
	if err := x.into.insert(); err != nil {
		return nil, err
	}
	found, err := x.load([]catalog.ID{id})
	return found[id], err
}

// load reads sessions without their readings.
func (x *sessionMerger) load(ids []catalog.ID) (map[catalog.ID]*storedSession, error) {
	out := map[catalog.ID]*storedSession{}
	if len(ids) == 0 {
		return out, nil
	}
	var c conditions
	oneOf(&c, "s.id", ids)
	found, seqs, err := querySessions(x.w.ctx, x.w.tx, selectSession+c.where(), c.args...)
	if err != nil || len(found) == 0 {
		return out, err
	}
	stated, err := statedOf(x.w.ctx, x.w.tx, seqs)
	if err != nil {
		return out, err
	}
	for i, seq := range seqs {
		out[found[i].ID] = &storedSession{seq: seq, name: found[i].Name, content: stated[seq].content, shared: stated[seq].of(found[i].Session)}
	}
	return out, nil
}

// join joins a session with the stored one.
func (x *sessionMerger) join(stored *storedSession, in catalog.Shared[catalog.Session], set setup) error {
	report := &x.w.report
	if err := x.fillReadings(stored, in); err != nil {
		return err
	}
	was := stored.shared.Record
	joined := catalog.JoinSessions(stored.shared, in)
	if same, err := equal(catalog.Pooled{Session: &stored.shared}, catalog.Pooled{Session: &joined}); same || err != nil {
		report.Sessions.Same++
		return err
	}
	as, err := x.admit(in, &stored.shared, joined)
	if as == nil || err != nil {
		return err
	}
	joined = *as
	if was.Retraction == nil && joined.Record.Retraction != nil {
		report.Retracted++
	} else {
		report.Sessions.Changed++
	}
	if was.Retraction == nil {
		if err := x.w.countSessions(map[int64]bool{stored.seq: true}, catalog.Digest.Minus); err != nil {
			return err
		}
	}
	name := stored.name
	if joined.Record.Name != was.Name || joined.Record.Retraction != nil {
		var err error
		if name, err = x.freeName(&joined.Record, was.ID); err != nil {
			return err
		}
	}
	if in.Record.Horn != joined.Record.Horn || in.Record.Mouthpiece != joined.Record.Mouthpiece || in.Record.Player != joined.Record.Player {
		var err error
		if set, err = x.refs.resolve(&joined.Record); err != nil {
			return err
		}
	}
	if _, err := x.update.ExecContext(x.w.ctx, x.w.sessionValues(stored.seq, name, &joined, set)...); err != nil {
		return err
	}
	if was.Retraction == nil {
		delete(x.ahead.names, stored.name)
	}
	x.noteName(&joined.Record, name)
	if err := x.touched(in, joined); err != nil || slices.Equal(was.Readings, joined.Record.Readings) {
		return err
	}
	if _, err := x.w.tx.ExecContext(x.w.ctx, `DELETE FROM reading WHERE session = $1`, stored.seq); err != nil {
		return err
	}
	return x.into.addReadings(stored.seq, joined.Record.Readings)
}

// fillReadings gives the stored session its readings: those of the incoming one
// where both say the same.
func (x *sessionMerger) fillReadings(stored *storedSession, in catalog.Shared[catalog.Session]) error {
	if digest(in.Record.Content()) == stored.content {
		stored.shared.Record.Readings = in.Record.Readings
		return nil
	}
	if err := x.into.flush(); err != nil { // they may still be waiting to be written
		return err
	}
	found, err := readings(x.w.ctx, x.w.tx, stored.seq)
	stored.shared.Record.Readings = found
	return err
}

// freeName is the name under which a session is kept until names are settled:
// its own, or its id if another session that counts has that.
func (x *sessionMerger) freeName(s *catalog.Session, self catalog.ID) (string, error) {
	if s.Retraction != nil {
		return s.Name, nil
	}
	has, asked := x.ahead.names[s.Name]
	if !asked {
		if err := x.into.insert(); err != nil {
			return "", err
		}
		err := x.named.QueryRowContext(x.w.ctx, s.Name).Scan(&has)
		if err != nil && err != sql.ErrNoRows {
			return "", err
		}
	}
	if has != "" && has != self {
		return string(s.ID), nil
	}
	return s.Name, nil
}
