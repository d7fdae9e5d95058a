package sheet

import (
	"context"
	"fmt"
	"io"
	"slices"

	"centwise/catalog"
)

// File is a sheet to read. Content is read once; if it has a Stat method, as an
// [os.File] has, a folder is told as one.
type File struct {
	Name    string // for messages
	Content io.Reader
}

// Options say how to import.
type Options struct {
	Create      bool   // make horns, mouthpieces and players that sessions name and the catalog has not got
	IgnoreExtra bool   // pass over columns that are not known
	Update      bool   // change gear that is in the catalog to what a gear list says
	KnownAsIs   bool   // of gear that is in the catalog, take the label alone from a gear list
	KeepOdd     bool   // keep deviations outside the accepted range for review instead of refusing them
	DryRun      bool   // check everything, write nothing
	Sheet       string // of workbooks; empty for the first
	Contributor string // who enters this, where a sheet does not say
	// Progress is told of rows read; may be nil.
	Progress catalog.Counter
}

// Report says what an import did, or would do.
type Report struct {
	Sessions      int      `json:"sessions"` // new ones
	Readings      int      `json:"readings"` // of the new sessions
	Odd           int      `json:"odd"`      // of the readings: kept for review, not used
	Unchanged     int      `json:"unchanged"`
	GearUnchanged int      `json:"gear_unchanged"`
	Horns         []string `json:"horns"` // labels of new ones
	Mouthpieces   []string `json:"mouthpieces"`
	Players       []string `json:"players"`
	Updated       []string `json:"updated"`         // changed gear, as in: horn Alder
	Ignored       []string `json:"ignored_columns"` // columns passed over
	// Listed are the labels of all mouthpieces in gear lists, new or not, in their
	// order, if the list is what a shop has in stock (KnownAsIs).
	Listed []string `json:"-"`
}

// Holdings is what a plan needs to know of a catalog.
type Holdings struct {
	Horns       []catalog.Horn // retired ones too, but for those that are linked to others
	Mouthpieces []catalog.Mouthpiece
	Players     []catalog.Player
	Links       []catalog.LinkSummary
	Sessions    []catalog.SessionSummary // those that count
	// Session gives a session by id, with its readings.
	Session func(context.Context, catalog.ID) (catalog.Session, error)
}

// reader is what importing and exporting read of a [catalog.Store].
type reader interface {
	Horns(ctx context.Context, retired bool) ([]catalog.Horn, error)
	Mouthpieces(ctx context.Context, retired bool) ([]catalog.Mouthpiece, error)
	Players(ctx context.Context, retired bool) ([]catalog.Player, error)
	Links(ctx context.Context) ([]catalog.LinkSummary, error)
	Sessions(ctx context.Context, f catalog.SessionFilter) ([]catalog.SessionSummary, error)
	Session(ctx context.Context, name string) (catalog.Session, error)
}

// Look gathers what a plan needs to know of a catalog.
func Look(ctx context.Context, store catalog.Store) (Holdings, error) { return look(ctx, store) }

func look(ctx context.Context, store reader) (h Holdings, err error) {
	if h.Horns, err = store.Horns(ctx, true); err != nil {
		return h, err
	}
	if h.Mouthpieces, err = store.Mouthpieces(ctx, true); err != nil {
		return h, err
	}
	if h.Players, err = store.Players(ctx, true); err != nil {
		return h, err
	}
	if h.Links, err = store.Links(ctx); err != nil {
		return h, err
	}
	h.Session = func(ctx context.Context, id catalog.ID) (catalog.Session, error) {
		return store.Session(ctx, string(id))
	}
	h.Sessions, err = store.Sessions(ctx, catalog.SessionFilter{})
	return h, err
}

// Import reads the files and writes everything in them to the catalog, or
// nothing. The error is [*Problems], of kind Invalid, when anything in any of
// the files is wrong; otherwise that of reading a file or of the store.
func Import(ctx context.Context, store catalog.Store, files []File, o Options) (*Report, error) {
	have, err := Look(ctx, store)
	if err != nil {
		return nil, err
	}
	changes, report, err := Plan(ctx, have, files, o)
	if err != nil || o.DryRun {
		return report, err
	}
	if len(changes.Horns)+len(changes.Mouthpieces)+len(changes.Players)+len(changes.Sessions) == 0 {
		return report, nil
	}
	if err := store.Apply(ctx, changes); err != nil {
		return nil, err
	}
	return report, nil
}

// Plan reads the files and works out the changes to a catalog that has what
// have says. It writes nothing. Errors are those of [Import].
func Plan(ctx context.Context, have Holdings, files []File, o Options) (catalog.Changes, *Report, error) {
	if o.Progress == nil {
		o.Progress = catalog.NoCounter{}
	}
	o.Contributor = catalog.NormalLabel(o.Contributor)
	p := &planner{
		o: o, have: have, report: &Report{},
		horns: newShelf(horns, have.Horns), mouthpieces: newShelf(mouthpieces, have.Mouthpieces), players: newShelf(players, have.Players),
	}
	for _, l := range have.Links {
		switch {
		case !l.InEffect():
		case l.Kind == catalog.LinkHorn:
			p.horns.putAlias(l)
		case l.Kind == catalog.LinkMouthpiece:
			p.mouthpieces.putAlias(l)
		}
	}
	if err := p.read(ctx, files); err != nil {
		return catalog.Changes{}, nil, err
	}
	if err := p.decide(ctx); err != nil {
		return catalog.Changes{}, nil, err
	}
	if err := p.found.err(); err != nil {
		return catalog.Changes{}, nil, err
	}
	return p.changes, p.report, nil
}

// planner works out the changes of one import.
type planner struct {
	o           Options
	have        Holdings
	horns       *shelf[catalog.Horn]
	mouthpieces *shelf[catalog.Mouthpiece]
	players     *shelf[catalog.Player]
	drafts      []*draft
	found       collector
	changes     catalog.Changes
	report      *Report
}

// read reads every file, gear lists before the sessions that may name their
// gear.
func (p *planner) read(ctx context.Context, files []File) (err error) {
	var tables []*table
	defer func() {
		for _, t := range tables {
			if closing := t.src.close(); err == nil {
				err = closing
			}
		}
	}()
	for i, f := range files {
		t, err := openTable(f, i, p.o, &p.found)
		if err != nil {
			return err
		}
		if t != nil {
			tables = append(tables, t)
		}
	}
	slices.SortStableFunc(tables, func(a, b *table) int { return gearFirst(a) - gearFirst(b) })
	sessions := &sessionReader{p: p, byName: map[string]*draft{}}
	for _, t := range tables {
		if err := p.readTable(ctx, t, sessions); err != nil {
			return err
		}
	}
	p.drafts = sessions.drafts
	return nil
}

func gearFirst(t *table) int {
	if t.layout.form == gearForm {
		return 0
	}
	return 1
}

func (p *planner) readTable(ctx context.Context, t *table, sessions *sessionReader) error {
	p.o.Progress.Start("reading "+t.file, 0)
	defer p.o.Progress.Done()
	p.ignored(t.layout.ignored)
	sessions.t, sessions.last = t, nil
	use := sessions.longRow
	switch t.layout.form {
	case wideForm:
		use = sessions.wideRow
	case gearForm:
		use = func(r row) { p.gearRow(t, r) }
	}
	before := p.found.count
	rows, err := t.each(ctx, p.o.Progress, &p.found, use)
	if err == nil && rows == 0 && p.found.count == before {
		p.found.add(t.problem(t.headRow, "", "", "is a header without rows", "give the sheet its rows"))
	}
	return err
}

func (p *planner) ignored(columns []string) {
	for _, c := range columns {
		if !slices.Contains(p.report.Ignored, c) {
			p.report.Ignored = append(p.report.Ignored, c)
		}
	}
}

// decide turns what was read into changes.
func (p *planner) decide(ctx context.Context) error {
	names := make(map[string]catalog.SessionSummary, len(p.have.Sessions))
	for _, s := range p.have.Sessions {
		names[catalog.Fold(s.Name)] = s
	}
	folded := make(map[string]*draft, len(p.drafts))
	for _, d := range p.drafts {
		key := catalog.Fold(d.name)
		if twin := folded[key]; twin != nil {
			p.found.add(d.from.problem(d.line, "session", d.name, fmt.Sprintf("differs only by case from the session %q in %s", twin.name, twin.from.place(twin.line)), "write it the same, or choose another name"))
		}
		folded[key] = d
		s, ok := p.finish(d)
		if !ok {
			continue
		}
		if there, taken := names[key]; taken {
			if err := p.compare(ctx, d, s, there); err != nil {
				return err
			}
			continue
		}
		p.addSession(s)
	}
	p.horns.unknowns(&p.found)
	p.mouthpieces.unknowns(&p.found)
	p.players.unknowns(&p.found)
	p.changes.Horns = added(p, p.horns, &p.report.Horns)
	p.changes.Mouthpieces = added(p, p.mouthpieces, &p.report.Mouthpieces)
	p.changes.Players = added(p, p.players, &p.report.Players)
	return nil
}

func (p *planner) addSession(s catalog.Session) {
	p.report.Sessions++
	p.report.Readings += len(s.Readings)
	for _, r := range s.Readings {
		if r.Odd {
			p.report.Odd++
		}
	}
	p.changes.Sessions = append(p.changes.Sessions, s)
}

// compare passes over a session that the catalog has already, if it says the
// same.
func (p *planner) compare(ctx context.Context, d *draft, s catalog.Session, there catalog.SessionSummary) error {
	var old catalog.Session
	if there.Name == s.Name {
		var err error
		if old, err = p.have.Session(ctx, there.ID); err != nil {
			return err
		}
		old.Normalize()
	}
	switch {
	case there.Name != s.Name:
		p.found.add(d.from.problem(d.line, "session", d.name, fmt.Sprintf("differs only by case from the session %q in the catalog", there.Name), "choose another name"))
	case old.Horn == s.Horn && old.Mouthpiece == s.Mouthpiece && old.Player == s.Player && old.Content() == s.Content():
		p.report.Unchanged++
	default:
		p.found.add(d.from.problem(d.line, "session", d.name, "is in the catalog already, and the sheet says otherwise of its "+otherwise(old, s),
			"give it another name; or, to correct it, take the old one out first: centwise session retract "+catalog.ShellWord(there.Name)))
	}
	return nil
}

// otherwise names what differs between two sessions of one name.
func otherwise(a, b catalog.Session) string {
	same := func(x, y *float64) bool { return x == y || x != nil && y != nil && *x == *y }
	for _, part := range []struct {
		name  string
		equal bool
	}{
		{"horn", a.Horn == b.Horn}, {"mouthpiece", a.Mouthpiece == b.Mouthpiece}, {"player", a.Player == b.Player},
		{"contributor", a.Contributor == b.Contributor}, {"date", a.At.Equal(b.At)}, {"a4_hz", a.A4Hz == b.A4Hz},
		{"temperature_c", same(a.TemperatureC, b.TemperatureC)}, {"slide_mm", same(a.SlideMM, b.SlideMM)}, {"gap_mm", same(a.GapMM, b.GapMM)},
		{"dynamic", a.Dynamic == b.Dynamic}, {"method", a.Method == b.Method}, {"adapter", a.Adapter == b.Adapter}, {"remark", a.Remark == b.Remark},
	} {
		if !part.equal {
			return part.name
		}
	}
	return "readings"
}

// added gathers the records to write, with the labels of the new ones.
func added[T any](p *planner, s *shelf[T], labels *[]string) []T {
	var out []T
	for _, it := range s.added {
		_, rev, label := s.base(&it.rec)
		if rev.Number <= 1 {
			*labels = append(*labels, *label)
		} else {
			p.report.Updated = append(p.report.Updated, s.noun+" "+*label)
		}
		out = append(out, it.rec)
	}
	return out
}
