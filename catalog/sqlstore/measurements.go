package sqlstore

import (
	"context"
	"database/sql"
	"iter"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// sessionsPerChunk bounds how much of the catalog is in memory at once.
const sessionsPerChunk = 512

// Measurements streams every session that counts, in order of recording.
//
// Two ordered queries are merged, sessions and readings, chunk by chunk in one
// transaction, so that one moment of the catalog is seen and no more than a
// chunk is held. A reading comes as two numbers, its place packed into one,
// because the driver's cost is per column: a million rows took 0.48 s so and
// 0.69 s as four columns; texts of a whole session by group_concat, which still
// have to be parsed, took 0.44 s.
func (s *Store) Measurements(ctx context.Context, after int64) iter.Seq2[catalog.Measured, error] {
	const doing = "reading the measurements"
	return func(yield func(catalog.Measured, error) bool) {
		tx, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
		if err != nil {
			yield(catalog.Measured{}, s.fail(ctx, doing, err))
			return
		}
		defer tx.Rollback()
		for c := (chunk{last: after}); ; {
			if err := c.load(ctx, tx); err != nil {
				yield(catalog.Measured{}, s.fail(ctx, doing, err))
				return
			}
			if len(c.sessions) == 0 {
				return
			}
			for i := range c.sessions {
				if !yield(c.sessions[i], nil) {
					return
				}
			}
		}
	}
}

// chunk is a run of sessions in order of recording with their readings. Its
// memory serves for the next run again.
type chunk struct {
	last     int64 // sequence number of the last session loaded
	sessions []catalog.Measured
	readings []catalog.MeasuredReading // of all the sessions, one after the other
	ends     []int                     // where the readings of each session end
}

// load replaces the chunk by the run of sessions after it.
func (c *chunk) load(ctx context.Context, tx *sql.Tx) error {
	if err := c.loadSessions(ctx, tx); err != nil || len(c.sessions) == 0 {
		return err
	}
	if err := c.loadReadings(ctx, tx); err != nil {
		return err
	}
	start := 0
	for i, end := range c.ends {
		c.sessions[i].Readings = c.readings[start:end:end]
		start = end
	}
	return nil
}

func (c *chunk) loadSessions(ctx context.Context, tx *sql.Tx) error {
	c.sessions = c.sessions[:0]
	rows, err := tx.QueryContext(ctx, `SELECT seq, id, name, horn, mouthpiece, player, contributor, method FROM session
		WHERE retracted_at IS NULL AND seq > $1 ORDER BY seq LIMIT $2`, c.last, sessionsPerChunk)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var m catalog.Measured
		err := rows.Scan(&m.Sequence, &m.ID, &m.Name, &m.Horn, &m.Mouthpiece, (*reference)(&m.Player), &m.Contributor, &m.Method)
		if err != nil {
			return err
		}
		c.sessions = append(c.sessions, m)
		c.last = m.Sequence
	}
	return rows.Err()
}

func (c *chunk) loadReadings(ctx context.Context, tx *sql.Tx) error {
	c.readings, c.ends = c.readings[:0], c.ends[:0]
	rows, err := tx.QueryContext(ctx, `SELECT session * 256 + valves * 16 + partial, cents FROM reading
		WHERE session BETWEEN $1 AND $2 AND odd = 0 ORDER BY session, valves, partial, repeat`, c.sessions[0].Sequence, c.last)
	if err != nil {
		return err
	}
	defer rows.Close()
	var place int64
	var cents float64
	for rows.Next() {
		if err := rows.Scan(&place, &cents); err != nil {
			return err
		}
		c.add(place, cents)
	}
	for len(c.ends) < len(c.sessions) {
		c.ends = append(c.ends, len(c.readings))
	}
	return rows.Err()
}

// add takes the next reading: place is session * 256 + valves * 16 + partial.
// Readings of retracted sessions in between are passed over.
func (c *chunk) add(place int64, cents float64) {
	session := place >> 8
	for len(c.ends) < len(c.sessions) && c.sessions[len(c.ends)].Sequence < session {
		c.ends = append(c.ends, len(c.readings))
	}
	if len(c.ends) < len(c.sessions) && c.sessions[len(c.ends)].Sequence == session {
		slot := pitch.Slot{Valves: pitch.Valves(place >> 4 & 15), Partial: int(place & 15)}
		c.readings = append(c.readings, catalog.MeasuredReading{Slot: slot, Cents: cents})
	}
}
