package sqlstore

import (
	"strings"

	"centwise/catalog"
)

// sessionWriter inserts sessions with their readings, a block of sessions at a
// time where the database is told of them over a network.
type sessionWriter struct {
	w        *changer
	first    int64 // sequence number given out last before
	last     int64 // and by now
	sessions bulk
	readings bulk
	waiting  []waitingSession
	// free says that the caller made sure of ids and names.
	free bool
}

// waitingSession is a session that is to be inserted.
type waitingSession struct {
	seq      int64
	id       catalog.ID
	name     string // that it has here; empty when it is retracted
	stated   string
	values   []any
	readings []catalog.Reading
}

var readingColumns = strings.Split("session, valves, partial, repeat, cents, odd", ", ")

func newSessionWriter(w *changer) (*sessionWriter, error) {
	x := &sessionWriter{w: w}
	// The transaction is the only writer, so numbers can be given out here:
	// they follow the order of commits, and readings need no look-up.
	if err := w.tx.QueryRowContext(w.ctx, `SELECT COALESCE(MAX(seq), 0) FROM session`).Scan(&x.last); err != nil {
		return nil, err
	}
	x.first = x.last
	var err error
	if x.sessions, err = w.store.dialect.bulk(w.ctx, w.tx, "session", sessionList, true); err != nil {
		return nil, err
	}
	if x.readings, err = w.store.dialect.bulk(w.ctx, w.tx, "reading", readingColumns, false); err != nil {
		x.sessions.close()
		return nil, err
	}
	return x, nil
}

func (x *sessionWriter) close() {
	x.sessions.close()
	x.readings.close()
}

// add records a session under the name that it is to have here.
func (x *sessionWriter) add(name string, shared *catalog.Shared[catalog.Session], set setup) error {
	x.last++
	s := waitingSession{seq: x.last, id: shared.Record.ID, stated: shared.Record.Name, readings: shared.Record.Readings}
	if shared.Record.Retraction == nil {
		s.name = name
	}
	s.values = x.w.sessionValues(x.last, name, shared, set)
	x.waiting = append(x.waiting, s)
	if len(x.waiting) < x.w.store.dialect.block {
		return nil
	}
	return x.insert()
}

// insert writes the sessions that wait, then their readings.
func (x *sessionWriter) insert() error {
	defer func() { x.waiting = x.waiting[:0] }()
	if err := x.checkTaken(); err != nil {
		return err
	}
	for i := range x.waiting {
		if err := x.sessions.add(x.waiting[i].values...); err != nil {
			return x.conflict(err, x.waiting[i].stated)
		}
	}
	if err := x.sessions.flush(); err != nil {
		return err
	}
	for i := range x.waiting {
		if err := x.addReadings(x.waiting[i].seq, x.waiting[i].readings); err != nil {
			return err
		}
	}
	return nil
}

// conflict explains that a session can't be inserted.
func (x *sessionWriter) conflict(err error, name string) error {
	if x.w.store.dialect.classify(err) == unique {
		return takenError(name)
	}
	return err
}

func takenError(name string) error {
	return catalog.Errorf(catalog.Conflict, "choose another name, or take the other one back first: centwise session retract "+catalog.ShellWord(name),
		"there is a session %q already, or one with its id", name)
}

// checkTaken looks for ids and names that are taken, where many sessions go in
// at once and an error would not say which of them it is about.
func (x *sessionWriter) checkTaken() error {
	if x.free || x.w.store.dialect.block == 1 || len(x.waiting) == 0 {
		return nil
	}
	t := newTaken()
	for _, s := range x.waiting {
		t.ask(s.id, s.name)
	}
	if err := t.load(x.w); err != nil {
		return err
	}
	for _, s := range x.waiting {
		if t.ids[s.id] || s.name != "" && t.names[s.name] != "" {
			return takenError(s.stated)
		}
		t.has(s.id, s.name)
	}
	return nil
}

func (x *sessionWriter) addReadings(seq int64, list []catalog.Reading) error {
	for _, r := range list {
		odd := int64(0)
		if r.Odd {
			odd = 1
		}
		if err := x.readings.add(seq, int64(r.Slot.Valves), int64(r.Slot.Partial), int64(r.Repeat), r.Cents, odd); err != nil {
			return err
		}
	}
	return nil
}

// flush writes what is left over.
func (x *sessionWriter) flush() error {
	if err := x.insert(); err != nil {
		return err
	}
	return x.readings.flush()
}

// manySessions is from how many new ones on the database looks at its tables.
const manySessions = 1000

// finish writes what is left over, when no more sessions come.
func (x *sessionWriter) finish() error {
	err := x.flush()
	if err == nil && x.last-x.first >= manySessions && x.w.store.dialect.analyze != "" {
		_, err = x.w.tx.ExecContext(x.w.ctx, x.w.store.dialect.analyze)
		x.first = x.last
	}
	return err
}

// taken tells which ids of sessions are there, and which names sessions that
// count have, among those asked for.
type taken struct {
	ids   map[catalog.ID]bool
	names map[string]catalog.ID // empty for none
}

func newTaken() *taken { return &taken{map[catalog.ID]bool{}, map[string]catalog.ID{}} }

// ask puts an id and, unless it is empty, a name on the list to load.
func (t *taken) ask(id catalog.ID, name string) {
	t.ids[id] = false
	if name != "" {
		t.names[name] = ""
	}
}

// has notes a session that is there from now on; name is empty if it does not
// count.
func (t *taken) has(id catalog.ID, name string) {
	t.ids[id] = true
	if name != "" {
		t.names[name] = id
	}
}

// load looks up what was asked for.
func (t *taken) load(w *changer) error {
	var ids conditions
	list := make([]catalog.ID, 0, len(t.ids))
	for id := range t.ids {
		list = append(list, id)
	}
	oneOf(&ids, "id", list)
	if err := w.eachPair(`SELECT id, name FROM session`+ids.where(), ids.args, func(id catalog.ID, _ string) { t.ids[id] = true }); err != nil {
		return err
	}
	if len(t.names) == 0 {
		return nil
	}
	var names conditions
	asked := make([]string, 0, len(t.names))
	for name := range t.names {
		asked = append(asked, name)
	}
	oneOf(&names, "name", asked)
	names.parts = append(names.parts, "retracted_at IS NULL")
	return w.eachPair(`SELECT id, name FROM session`+names.where(), names.args, func(id catalog.ID, name string) { t.names[name] = id })
}

func (w *changer) eachPair(query string, args []any, visit func(id catalog.ID, name string)) error {
	rows, err := w.tx.QueryContext(w.ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id catalog.ID
		var name string
		if err := rows.Scan(&id, &name); err != nil {
			return err
		}
		visit(id, name)
	}
	return rows.Err()
}
