package sqlstore

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"centwise/catalog"
)

const linkColumns = "kind, alias, id, kept, number, revised_at, contributor, retired, withheld, extra, arrived_at"

var putLink = fmt.Sprintf(`INSERT INTO link (%s) VALUES (%s) ON CONFLICT (kind, alias) DO UPDATE SET `, linkColumns, placeholders(1, 11)) +
	assignments(strings.Split(linkColumns, ", ")[3:], func(c string) string { return "excluded." + c })

const selectLinks = `SELECT l.kind, l.alias, l.kept, l.number, l.revised_at, l.contributor, l.retired, l.withheld, l.extra, l.root FROM link l`

// storedLink is a row of the table.
type storedLink struct {
	catalog.Shared[catalog.Link]
	root string // empty if the link is not in effect
}

func queryLinks(ctx context.Context, db queryer, query string, args ...any) (out []storedLink, err error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var l storedLink
		var extra string
		r := &l.Record
		err := rows.Scan(&r.Kind, &r.Alias, &r.Kept, &r.Number, (*instant)(&r.At), &r.Contributor, (*flag)(&r.Retired),
			(*list)(&l.Withheld), &extra, (*reference)(&l.root))
		if err == nil {
			l.Extra, err = catalog.ParseExtra(extra)
		}
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, rows.Err()
}

// Links lists all links with what became of them.
func (s *Store) Links(ctx context.Context) (out []catalog.LinkSummary, err error) {
	err = s.read(ctx, "listing the links", func(tx *transaction) error {
		out, err = linksNow(ctx, tx)
		return err
	})
	return out, err
}

// linksNow lists all links, and settles them to say why some are not in effect.
func linksNow(ctx context.Context, tx *transaction) ([]catalog.LinkSummary, error) {
	stored, err := queryLinks(ctx, tx, selectLinks)
	if err != nil || len(stored) == 0 {
		return nil, err
	}
	settled, labels, err := settle(ctx, tx, stored)
	if err != nil {
		return nil, err
	}
	out := make([]catalog.LinkSummary, len(stored))
	for i, l := range stored {
		out[i] = catalog.LinkSummary{Link: l.Record, Root: l.root, Why: settled[i].Why,
			AliasLabel: labels.of(l.Record.Kind, l.Record.Alias), KeptLabel: labels.of(l.Record.Kind, l.Record.Kept)}
		if l.root != "" {
			out[i].RootLabel = labels.of(l.Record.Kind, l.root)
		}
	}
	slices.SortFunc(out, catalog.CompareLinks)
	return out, nil
}

// endLabels are the labels of the records that links name.
type endLabels map[catalog.LinkKind]map[string]string

func (e endLabels) of(k catalog.LinkKind, name string) string {
	if k.OfDesign() {
		maker, model, _ := strings.Cut(name, "\t")
		return catalog.DesignName{Maker: maker, Model: model}.String()
	}
	if label, ok := e[k][name]; ok {
		return label
	}
	return name
}

// settle decides which of the links are in effect.
func settle(ctx context.Context, tx *transaction, stored []storedLink) ([]catalog.Settled, endLabels, error) {
	links := make([]catalog.Link, len(stored))
	for i, l := range stored {
		links[i] = l.Record
	}
	h, err := linkables(ctx, tx, horns, catalog.Horn.Linkable)
	if err != nil {
		return nil, nil, err
	}
	m, err := linkables(ctx, tx, mouthpieces, catalog.Mouthpiece.Linkable)
	if err != nil {
		return nil, nil, err
	}
	known := map[catalog.LinkKind]map[string]catalog.Linkable{catalog.LinkHorn: h, catalog.LinkMouthpiece: m}
	labels := endLabels{}
	for kind, records := range known {
		labels[kind] = map[string]string{}
		for id, r := range records {
			labels[kind][id] = r.Label
		}
	}
	return catalog.SettleLinks(links, func(k catalog.LinkKind, id string) (catalog.Linkable, bool) {
		r, ok := known[k][id]
		return r, ok
	}), labels, nil
}

// linkables reads the records that links name.
func linkables[T any](ctx context.Context, tx *transaction, g *gear[T], of func(T) catalog.Linkable) (map[string]catalog.Linkable, error) {
	found, err := g.query(ctx, tx, 0, g.selectHead+fmt.Sprintf(` WHERE g.id IN (SELECT alias FROM link WHERE kind = '%[1]s' UNION SELECT kept FROM link WHERE kind = '%[1]s')`, g.noun))
	out := map[string]catalog.Linkable{}
	for i := range found {
		id, _, _ := g.base(&found[i])
		out[string(*id)] = of(found[i])
	}
	return out, err
}

// countLinks adds the digests of the links in effect to the sum, or takes them
// away. They name gear by its labels.
func (w *changer) countLinks(count func(a, b catalog.Digest) catalog.Digest) error {
	stored, err := queryLinks(w.ctx, w.tx, selectLinks+` WHERE l.root IS NOT NULL`)
	if err != nil {
		return err
	}
	for _, l := range stored {
		s := catalog.LinkSummary{Link: l.Record, Root: l.root}
		if !l.Record.Kind.OfDesign() {
			err := w.tx.QueryRowContext(w.ctx, fmt.Sprintf(`SELECT a.label, b.label FROM %[1]s a, %[1]s b WHERE a.id = $1 AND b.id = $2`, l.Record.Kind), l.Record.Alias, l.root).
				Scan(&s.AliasLabel, &s.RootLabel)
			if err != nil {
				return err
			}
		}
		w.sum = count(w.sum, s.Digest())
	}
	return nil
}

// writeLinks writes the next revisions of links.
func (w *changer) writeLinks(links []catalog.Link) error {
	for _, l := range links {
		stored, err := queryLinks(w.ctx, w.tx, selectLinks+` WHERE l.kind = $1 AND l.alias = $2`, string(l.Kind), l.Alias)
		if err != nil {
			return err
		}
		next := catalog.Shared[catalog.Link]{Record: l}
		have := 0
		if len(stored) > 0 {
			have, next = stored[0].Record.Number, catalog.NextLink(stored[0].Shared, l)
		}
		if l.Number != have+1 {
			return catalog.Errorf(catalog.Conflict, "look at the links again, then repeat the change: centwise pool links",
				"the link of a %s was changed meanwhile: revision %d is stored, so the next is not %d", l.Kind, have, l.Number)
		}
		if err := w.putLink(next, ""); err != nil {
			return err
		}
	}
	return nil
}

// putLink writes a link that came from a URL, if it is as it came.
func (w *changer) putLink(l catalog.Shared[catalog.Link], from string) error {
	r := &l.Record
	_, err := w.tx.ExecContext(w.ctx, putLink, string(r.Kind), r.Alias, r.Ref(), r.Kept, r.Number, (*instant)(&r.At), r.Contributor, (*flag)(&r.Retired),
		(*list)(&l.Withheld), l.Extra.String(), (*instant)(&w.now))
	if err != nil {
		return err
	}
	return w.touched(catalog.PooledLink, r.Ref(), from)
}

// settleLinks brings the table, the heads of gear and the sum to what links are in
// effect now. The digest of a session names what its gear goes by, so sessions of
// gear that goes by another name are taken out of the sum before and put back
// after. It gives the links that changed, in effect before or not.
func (w *changer) settleLinks() (changed []settledLink, err error) {
	stored, err := queryLinks(w.ctx, w.tx, selectLinks)
	if err != nil || len(stored) == 0 {
		return nil, err
	}
	settled, labels, err := settle(w.ctx, w.tx, stored)
	if err != nil {
		return nil, err
	}
	sessions := map[int64]bool{}
	for i, l := range stored {
		if l.root == settled[i].Root {
			continue
		}
		changed = append(changed, settledLink{l, settled[i], labels})
		if !l.Record.Kind.OfDesign() {
			if err := w.sessionsWith(string(l.Record.Kind), catalog.ID(l.Record.Alias), sessions); err != nil {
				return nil, err
			}
		}
	}
	if err := w.countSessions(sessions, catalog.Digest.Minus); err != nil {
		return nil, err
	}
	for _, c := range changed {
		l, root := c.was.Record, reference(c.is.Root)
		if _, err := w.tx.ExecContext(w.ctx, `UPDATE link SET root = $3 WHERE kind = $1 AND alias = $2`, string(l.Kind), l.Alias, &root); err != nil {
			return nil, err
		}
		if l.Kind.OfDesign() {
			continue
		}
		if _, err := w.tx.ExecContext(w.ctx, fmt.Sprintf(`UPDATE %s SET kept = $2 WHERE id = $1`, l.Kind), l.Alias, &root); err != nil {
			return nil, err
		}
	}
	return changed, w.countSessions(sessions, catalog.Digest.Plus)
}

// settledLink is a link that came into effect, went out of it, or leads elsewhere.
type settledLink struct {
	was    storedLink
	is     catalog.Settled
	labels endLabels
}

// relink settles the links after a change, and refuses one that does not do what
// it says: its own links are not in effect, or others are no longer.
func (w *changer) relink(asked []catalog.Link) error {
	changed, err := w.settleLinks()
	if err != nil {
		return err
	}
	for _, c := range changed {
		if c.is.Root == "" && !c.was.Record.Retired {
			return refusedLink(c.was.Record, c.labels, c.is.Why,
				fmt.Sprintf("take the link apart first: centwise pool unlink %s %s", c.was.Record.Kind, catalog.ShellWord(c.labels.of(c.was.Record.Kind, c.was.Record.Alias))))
		}
	}
	stored, err := linksNow(w.ctx, w.tx)
	if err != nil {
		return err
	}
	for _, l := range asked {
		i := slices.IndexFunc(stored, func(s catalog.LinkSummary) bool { return s.Kind == l.Kind && s.Alias == l.Alias })
		if s := stored[i]; !s.InEffect() && !s.Retired {
			labels := endLabels{s.Kind: {s.Alias: s.AliasLabel, s.Kept: s.KeptLabel}}
			return refusedLink(s.Link, labels, s.Why, "look at both: centwise pool links")
		}
	}
	return nil
}

func refusedLink(l catalog.Link, labels endLabels, why, hint string) error {
	kind := catalog.Invalid
	alias, kept := labels.of(l.Kind, l.Alias), labels.of(l.Kind, l.Kept)
	switch {
	case why == catalog.WhyCircle:
		kind = catalog.Conflict
	case alias == l.Alias && why == catalog.WhyNoAlias, kept == l.Kept && why == catalog.WhyNoKept:
		kind = catalog.NotFound
	}
	return catalog.Errorf(kind, hint, "the %s %q and %q can't be one: %s", strings.ReplaceAll(string(l.Kind), "-", " "), alias, kept, why)
}

// mergeLink joins a link with the stored one of its alias. Its ends need not be in
// the catalog: they may come with another bundle.
func (m *merger) mergeLink(in catalog.Shared[catalog.Link]) error {
	stored, err := queryLinks(m.ctx, m.tx, selectLinks+` WHERE l.kind = $1 AND l.alias = $2`, string(in.Record.Kind), in.Record.Alias)
	if err != nil {
		return err
	}
	joined := in
	if len(stored) > 0 {
		joined = catalog.JoinLinks(stored[0].Shared, in)
		if same, err := equal(catalog.Pooled{Link: &stored[0].Shared}, catalog.Pooled{Link: &joined}); same || err != nil {
			return err
		}
	}
	if m.Admit != nil {
		admitted, ok := m.admitLink(in, stored, joined)
		if !ok {
			return nil
		}
		joined = admitted
	}
	if len(stored) == 0 {
		m.report.Links.New++
	} else {
		m.report.Links.Changed++
	}
	from, err := m.sourceOf(catalog.Pooled{Link: &in}, catalog.Pooled{Link: &joined})
	if err != nil {
		return err
	}
	return m.putLink(joined, from)
}

// admitLink asks whether a link is taken over, and gives it as it is to be.
func (m *merger) admitLink(in catalog.Shared[catalog.Link], stored []storedLink, joined catalog.Shared[catalog.Link]) (catalog.Shared[catalog.Link], bool) {
	a := catalog.Arrival{Record: catalog.Pooled{Link: &in}, Joined: catalog.Pooled{Link: &joined}, New: len(stored) == 0}
	if len(stored) > 0 {
		a.Stored = &catalog.Pooled{Link: &stored[0].Shared}
		a.Owner = stored[0].Record.Contributor
	}
	as, why := m.Admit(a)
	if why != "" {
		m.holdBack(catalog.HeldBack{Kind: catalog.PooledLink, Label: in.Record.Alias, Why: why})
		return joined, false
	}
	if len(stored) > 0 {
		return catalog.JoinLinks(stored[0].Shared, *as.Link), true
	}
	return *as.Link, true
}

// settleMergedLinks takes up the links after a merge.
func (m *merger) settleMergedLinks() error {
	if err := m.adoptLinks(); err != nil {
		return err
	}
	if _, err := m.settleLinks(); err != nil {
		return err
	}
	return m.countLinks(catalog.Digest.Plus)
}

// linksSchema is the first schema that knows what links are.
const linksSchema = 7

// takeUpLinks takes up links that an older version was given.
func (s *Store) takeUpLinks(ctx context.Context) error {
	return s.write(ctx, "taking up links", func(tx *transaction) error {
		m := &merger{changer: &changer{ctx: ctx, tx: tx, store: s, now: time.Now()}}
		for _, step := range []func() error{m.loadSum, m.settleMergedLinks, m.flushLog, m.saveSum} {
			if err := step(); err != nil {
				return err
			}
		}
		return nil
	})
}

// adoptLinks merges the links that a version kept which did not know what they are.
// What is none is dropped: it would spoil every bundle.
func (m *merger) adoptLinks() error {
	bodies, err := texts(m.ctx, m.tx, `SELECT body FROM pool_other WHERE kind = $1 ORDER BY body`, catalog.PooledLink)
	if err != nil || len(bodies) == 0 {
		return err
	}
	for _, body := range bodies {
		p, err := catalog.DecodePooled(catalog.PooledLink, []byte(body))
		if err != nil {
			continue
		}
		if err := m.mergeLink(*p.Link); err != nil {
			return err
		}
	}
	_, err = m.tx.ExecContext(m.ctx, `DELETE FROM pool_change WHERE rank = $1 AND id IN (SELECT id FROM pool_other WHERE kind = $2)`,
		catalog.KindRank(catalog.PooledOther), catalog.PooledLink)
	if err == nil {
		_, err = m.tx.ExecContext(m.ctx, `DELETE FROM pool_other WHERE kind = $1`, catalog.PooledLink)
	}
	return err
}

// inspectLinks adds the links in effect up, and makes sure that those are in effect
// which ought to be.
func (i *inspection) inspectLinks(tx *transaction, sum *catalog.Digest) error {
	stored, err := queryLinks(i.ctx, tx, selectLinks)
	if err != nil {
		return err
	}
	settled, labels, err := settle(i.ctx, tx, stored)
	if err != nil {
		return err
	}
	for k, l := range stored {
		kept := l.root
		if !l.Record.Kind.OfDesign() {
			err := tx.QueryRowContext(i.ctx, fmt.Sprintf(`SELECT COALESCE(MAX(kept), '') FROM %s WHERE id = $1`, l.Record.Kind), l.Record.Alias).Scan(&kept)
			if err != nil {
				return err
			}
		}
		alias := labels.of(l.Record.Kind, l.Record.Alias)
		if l.root != settled[k].Root || l.root != kept {
			i.found("link", alias, fmt.Sprintf("the link of the %s is not what its record makes of it: it was changed by other means than centwise", l.Record.Kind), 1, i.rescue())
		}
		if l.root != "" {
			*sum = sum.Plus(catalog.LinkSummary{Link: l.Record, AliasLabel: alias, Root: l.root, RootLabel: labels.of(l.Record.Kind, l.root)}.Digest())
		}
	}
	return nil
}
