package sqlstore

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
)

// gear says how one kind of record with revisions is kept: a head table named
// by the noun (id, number, label, folded) and a table of revisions beside it.
type gear[T any] struct {
	noun    string
	columns string // of a revision, in the order of fields
	fields  func(*T) []any
	base    func(*T) (*catalog.ID, *catalog.Revision, *string)
	digest  func(T) catalog.Digest
	join    func(a, b catalog.Shared[T]) catalog.Shared[T]
	next    func(before catalog.Shared[T], after T) catalog.Shared[T]
	pooled  func(*catalog.Shared[T]) catalog.Pooled
	of      func(catalog.Pooled) *catalog.Shared[T] // undoes pooled

	revisionList []string // all columns of a revision

	selectHead, selectAll, selectShared, selectRevisions, replaceRevision, updateHead, freeLabel, heads, headOf string
}

// revisionColumns come before the columns of each kind, sharedColumns after.
const (
	revisionColumns = "id, number, revised_at, contributor, retired, digest"
	sharedColumns   = "withheld, extra, arrived_at"
)

func newGear[T any](g gear[T]) *gear[T] {
	columns := strings.Split(revisionColumns+", "+g.columns, ", ")
	qualified := "r." + strings.Join(columns, ", r.")
	all := append(slices.Clone(columns), strings.Split(sharedColumns, ", ")...)
	// A record is called what its head says, its revisions what was stated.
	shown := strings.Replace(qualified, "r.label", "g.label", 1)
	g.selectHead = fmt.Sprintf(`SELECT %s FROM %[2]s g JOIN %[2]s_revision r ON r.id = g.id AND r.number = g.number`, shown, g.noun)
	g.selectShared = fmt.Sprintf(`SELECT %s, r.withheld, r.extra FROM %s_revision r`, qualified, g.noun)
	g.selectAll = fmt.Sprintf(`SELECT %s FROM %s_revision r`, qualified, g.noun)
	g.selectRevisions = fmt.Sprintf(`SELECT %s FROM %s_revision r WHERE r.id = $1 ORDER BY r.number`, qualified, g.noun)
	g.revisionList = all
	g.replaceRevision = fmt.Sprintf(`INSERT INTO %s_revision (%s) VALUES (%s)`, g.noun, strings.Join(all, ", "), placeholders(1, len(all))) + ` ON CONFLICT (id, number) DO UPDATE SET ` + assignments(all[2:], func(c string) string { return "excluded." + c })
	g.updateHead = fmt.Sprintf(`UPDATE %s SET number = $2, label = $3, folded = $4, stated = $5 WHERE id = $1`, g.noun)
	g.freeLabel = fmt.Sprintf(`UPDATE %s SET label = id WHERE id = $1`, g.noun)
	g.heads = fmt.Sprintf(`SELECT g.number, g.label, g.stated, r.digest, g.id FROM %[1]s g JOIN %[1]s_revision r ON r.id = g.id AND r.number = g.number`, g.noun)
	g.headOf = g.heads + ` WHERE g.id = $1`
	return &g
}

// placeholders lists n placeholders from $first on.
func placeholders(first, n int) string {
	var b strings.Builder
	for i := range n {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "$%d", first+i)
	}
	return b.String()
}

var horns = newGear(gear[catalog.Horn]{
	noun:    "horn",
	columns: "label, maker, model, serial, instrument, pitch_key, valves, receiver, bore_mm, throw1_mm, throw3_mm, loaner, owner, tags, bore_geometry",
	fields: func(h *catalog.Horn) []any {
		return []any{&h.Label, &h.Maker, &h.Model, &h.Serial, &h.Instrument, &h.Key, &h.Valves, &h.Receiver, &h.BoreMM,
			&h.Throw1MM, &h.Throw3MM, (*flag)(&h.Loaner), &h.Owner, (*list)(&h.Tags), &h.BoreGeometry}
	},
	base:   func(h *catalog.Horn) (*catalog.ID, *catalog.Revision, *string) { return &h.ID, &h.Revision, &h.Label },
	digest: catalog.Horn.Digest,
	join:   catalog.JoinHorns,
	next:   catalog.NextHorn,
	pooled: func(s *catalog.Shared[catalog.Horn]) catalog.Pooled { return catalog.Pooled{Horn: s} },
	of:     func(p catalog.Pooled) *catalog.Shared[catalog.Horn] { return p.Horn },
})

var mouthpieces = newGear(gear[catalog.Mouthpiece]{
	noun: "mouthpiece",
	columns: "label, maker, model, serial, shank, rim_mm, cup_cm3, cup_depth_mm, throat_mm, throat_length_mm, " +
		"backbore_mm, backbore_character, length_mm, owner, stock, tags",
	fields: func(m *catalog.Mouthpiece) []any {
		return []any{&m.Label, &m.Maker, &m.Model, &m.Serial, &m.Shank, &m.RimMM, &m.CupCM3, &m.CupDepthMM, &m.ThroatMM,
			&m.ThroatLengthMM, &m.BackboreMM, &m.BackboreCharacter, &m.LengthMM, &m.Owner, (*list)(&m.Stock), (*list)(&m.Tags)}
	},
	base: func(m *catalog.Mouthpiece) (*catalog.ID, *catalog.Revision, *string) {
		return &m.ID, &m.Revision, &m.Label
	},
	digest: catalog.Mouthpiece.Digest,
	join:   catalog.JoinMouthpieces,
	next:   catalog.NextMouthpiece,
	pooled: func(s *catalog.Shared[catalog.Mouthpiece]) catalog.Pooled { return catalog.Pooled{Mouthpiece: s} },
	of:     func(p catalog.Pooled) *catalog.Shared[catalog.Mouthpiece] { return p.Mouthpiece },
})

var players = newGear(gear[catalog.Player]{
	noun:    "player",
	columns: "label, level, rim_min_mm, rim_max_mm, cup_min_cm3, cup_max_cm3, tolerance_cents, range_low, range_high, tags, weights",
	fields: func(p *catalog.Player) []any {
		return []any{&p.Label, &p.Level, &p.RimMinMM, &p.RimMaxMM, &p.CupMinCM3, &p.CupMaxCM3, &p.ToleranceCents,
			&p.RangeLow, &p.RangeHigh, (*list)(&p.Tags), (*weights)(&p.Weights)}
	},
	base:   func(p *catalog.Player) (*catalog.ID, *catalog.Revision, *string) { return &p.ID, &p.Revision, &p.Label },
	digest: catalog.Player.Digest,
	join:   catalog.JoinPlayers,
	next:   catalog.NextPlayer,
	pooled: func(s *catalog.Shared[catalog.Player]) catalog.Pooled { return catalog.Pooled{Player: s} },
	of:     func(p catalog.Pooled) *catalog.Shared[catalog.Player] { return p.Player },
})

// assignments lists columns with what they are set to.
func assignments(columns []string, value func(column string) string) string {
	parts := make([]string, len(columns))
	for i, c := range columns {
		parts[i] = c + " = " + value(c)
	}
	return strings.Join(parts, ", ")
}

// values lists the columns of a revision as pointers, for scanning or writing.
func (g *gear[T]) values(record *T, d *digest) []any {
	id, r, _ := g.base(record)
	return append([]any{id, &r.Number, (*instant)(&r.At), &r.Contributor, (*flag)(&r.Retired), d}, g.fields(record)...)
}

// query reads revisions, about so many.
func (g *gear[T]) query(ctx context.Context, db queryer, about int, query string, args ...any) ([]T, error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var record T
	var d digest
	into := g.values(&record, &d)
	out := make([]T, 0, about)
	for rows.Next() {
		var none T
		record = none
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		out = append(out, record)
	}
	return out, rows.Err()
}

// all lists the current revisions by label: first without case, then exactly.
func (g *gear[T]) all(ctx context.Context, s *Store, retired bool) ([]T, error) {
	query := g.selectHead
	switch {
	case linked(g.noun) && retired:
		query += ` WHERE g.kept IS NULL`
	case linked(g.noun):
		query += ` WHERE g.kept IS NULL AND r.retired = 0`
	case !retired:
		query += ` WHERE r.retired = 0`
	}
	var n int
	err := s.db.QueryRowContext(ctx, `SELECT COUNT(*) FROM `+g.noun).Scan(&n)
	var found []T
	if err == nil {
		found, err = g.query(ctx, s.db, n, query)
	}
	if err != nil {
		return nil, s.fail(ctx, "listing the "+g.noun+"s", err)
	}
	// Records are large, so their places are sorted.
	type place struct {
		folded, label string
		at            int
	}
	places := make([]place, len(found))
	for i := range found {
		_, _, label := g.base(&found[i])
		places[i] = place{catalog.Fold(*label), *label, i}
	}
	slices.SortFunc(places, func(a, b place) int {
		return cmp.Or(strings.Compare(a.folded, b.folded), strings.Compare(a.label, b.label))
	})
	for i := range places {
		// Follow the circle of records that each belong where another one is.
		to := i
		for places[to].at != i {
			from := places[to].at
			found[to], found[from] = found[from], found[to]
			places[to].at, to = to, from
		}
		places[to].at = to
	}
	return found, nil
}

// find looks a current record up by label, then label without case, then id. A
// linked one gives what it goes by.
func (g *gear[T]) find(ctx context.Context, s *Store, label string) (T, error) {
	found, err := g.named(ctx, s, label)
	if err != nil || !linked(g.noun) {
		return found, err
	}
	id, _, _ := g.base(&found)
	kept, err := g.query(ctx, s.db, 1, g.selectHead+` JOIN `+g.noun+` a ON a.kept = g.id WHERE a.id = $1`, *id)
	if err != nil {
		return found, s.fail(ctx, "looking for the "+g.noun, err)
	}
	if len(kept) > 0 {
		return kept[0], nil
	}
	return found, nil
}

// named is the record that has the label, or the id.
func (g *gear[T]) named(ctx context.Context, s *Store, label string) (T, error) {
	var none T
	doing := "looking for the " + g.noun
	normal := catalog.NormalLabel(askable(label))
	found, err := g.query(ctx, s.db, 1, g.selectHead+` WHERE g.folded = $1 OR g.id = $2`, catalog.Fold(normal), strings.ToUpper(normal))
	if err != nil {
		return none, s.fail(ctx, doing, err)
	}
	for i := range found {
		if id, _, l := g.base(&found[i]); *l == normal || strings.EqualFold(string(*id), normal) {
			return found[i], nil
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		have, err := texts(ctx, s.db, `SELECT label FROM `+g.noun+` ORDER BY label`)
		if err != nil {
			return none, s.fail(ctx, doing, err)
		}
		return none, catalog.Missing(g.noun, label, have)
	}
	return none, catalog.Errorf(catalog.NotFound, "write capitals and small letters as they are: "+g.quoted(found),
		"several %ss are called %q but for case", g.noun, label)
}

func (g *gear[T]) quoted(records []T) string {
	labels := make([]string, len(records))
	for i := range records {
		_, _, l := g.base(&records[i])
		labels[i] = fmt.Sprintf("%q", *l)
	}
	slices.Sort(labels)
	return strings.Join(labels, ", ")
}

// history lists every revision of a record, the first one first.
func (g *gear[T]) history(ctx context.Context, s *Store, id catalog.ID) ([]T, error) {
	out, err := g.query(ctx, s.db, 1, g.selectRevisions, id)
	if err != nil {
		return nil, s.fail(ctx, "reading the history of the "+g.noun, err)
	}
	if len(out) == 0 {
		return nil, catalog.Errorf(catalog.NotFound, "give the id of a "+g.noun+" that is there", "no %s with the id %q in the catalog", g.noun, id)
	}
	return out, nil
}

// head is the current revision of a record, number 0 when there is none.
type head struct {
	number int
	label  string // what it is called here
	stated string // what it was given, see catalog.Distinct
	digest digest
}

// scanHead reads the result of headOf.
func scanHead(row *sql.Row) (h head, err error) {
	var id catalog.ID
	err = row.Scan(&h.number, &h.label, &h.stated, &h.digest, &id)
	if err == sql.ErrNoRows {
		return head{}, nil
	}
	return h, err
}

// Horns lists the current horns by label.
func (s *Store) Horns(ctx context.Context, retired bool) ([]catalog.Horn, error) {
	return horns.all(ctx, s, retired)
}

// Mouthpieces lists the current mouthpieces by label.
func (s *Store) Mouthpieces(ctx context.Context, retired bool) ([]catalog.Mouthpiece, error) {
	return mouthpieces.all(ctx, s, retired)
}

// Players lists the current players by label.
func (s *Store) Players(ctx context.Context, retired bool) ([]catalog.Player, error) {
	return players.all(ctx, s, retired)
}

// Horn finds a horn by label or id.
func (s *Store) Horn(ctx context.Context, label string) (catalog.Horn, error) {
	return horns.find(ctx, s, label)
}

// Mouthpiece finds a mouthpiece by label or id.
func (s *Store) Mouthpiece(ctx context.Context, label string) (catalog.Mouthpiece, error) {
	return mouthpieces.find(ctx, s, label)
}

// Player finds a player by label or id.
func (s *Store) Player(ctx context.Context, label string) (catalog.Player, error) {
	return players.find(ctx, s, label)
}

// HornHistory lists every revision of a horn, the first one first.
func (s *Store) HornHistory(ctx context.Context, id catalog.ID) ([]catalog.Horn, error) {
	return horns.history(ctx, s, id)
}

// MouthpieceHistory lists every revision of a mouthpiece, the first one first.
func (s *Store) MouthpieceHistory(ctx context.Context, id catalog.ID) ([]catalog.Mouthpiece, error) {
	return mouthpieces.history(ctx, s, id)
}

// PlayerHistory lists every revision of a player, the first one first.
func (s *Store) PlayerHistory(ctx context.Context, id catalog.ID) ([]catalog.Player, error) {
	return players.history(ctx, s, id)
}
