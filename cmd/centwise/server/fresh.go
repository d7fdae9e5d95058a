package server

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"sync/atomic"
	"time"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/cmd/centwise/wire"
	"centwise/match/fit"
)

// Pages are made from what was gathered of the catalog beforehand, so that no
// visitor waits for the catalog or for a fit, and none can make it work.

// listing is what the catalog holds, for lists.
type listing struct {
	digest       string
	title        string
	horns        []piece
	mouthpieces  []piece
	byID         map[catalog.ID]piece
	designs      []design
	setups       []setup
	contributors []contributor
	sessions     int
	readings     int
}

// piece is a horn or a mouthpiece, with labels as they may leave.
type piece struct {
	horn       *catalog.Horn
	mouthpiece *catalog.Mouthpiece
	counts
	design string // key; empty if it is not known
	setups []int  // places in listing.setups
}

// counts say how much was measured, and by whom.
type counts struct {
	sessions, readings int
	by                 []string // contributors, sorted
}

func (p piece) label() string {
	if p.horn != nil {
		return p.horn.Label
	}
	return p.mouthpiece.Label
}

// detail tells horns, or mouthpieces, of one name apart.
func (p piece) detail() string {
	if p.horn != nil {
		return fmt.Sprintf("%s in %s", p.horn.Instrument, p.horn.Key)
	}
	return string(p.mouthpiece.Shank) + " shank"
}

func (p piece) designName() string {
	if p.horn != nil {
		return p.horn.DesignName().String()
	}
	return p.mouthpiece.DesignName().String()
}

// design is a design with its specimens.
type design struct {
	key, name string
	horn      bool
	detail    string
	pieces    int
	measured  int // of the pieces
	counts
}

// setup is a pair that was measured.
type setup struct {
	horn, mouthpiece catalog.ID
	counts
}

// contributor is who measured.
type contributor struct {
	name                      string
	sessions, readings        int
	horns, mouthpieces, pairs int
}

// gathering makes a listing.
type gathering struct {
	*listing
	pairs map[[2]catalog.ID]*tally
	gear  map[catalog.ID]*tally
	who   map[string]*reach
	same  catalog.Designs
}

type tally struct {
	sessions, readings int
	by                 map[string]bool
}

func (t *tally) add(by string, readings int) {
	t.sessions++
	t.readings += readings
	t.by[by] = true
}

func (t *tally) counts() counts {
	if t == nil {
		return counts{}
	}
	return counts{t.sessions, t.readings, slices.Sorted(maps.Keys(t.by))}
}

type reach struct {
	sessions, readings        int
	horns, mouthpieces, pairs map[any]bool
}

// gather reads through the catalog. The digest is that of before, so that a
// change meanwhile shows as one.
func (s *Server) gather(ctx context.Context, digest string) (*listing, error) {
	g := &gathering{&listing{digest: digest, byID: map[catalog.ID]piece{}}, map[[2]catalog.ID]*tally{}, map[catalog.ID]*tally{}, map[string]*reach{}, catalog.Designs{}}
	secret, err := s.store.PoolSecret(ctx)
	if err != nil {
		return nil, err
	}
	private := s.config.Privacy.Texts(secret)
	info, err := s.store.Info(ctx)
	if err != nil {
		return nil, err
	}
	g.title = private(info.Title)
	links, err := s.store.Links(ctx)
	if err != nil {
		return nil, err
	}
	g.same = catalog.NewDesigns(links)
	for m, err := range s.store.Measurements(ctx, 0) {
		if err != nil {
			return nil, err
		}
		g.session(m, private(m.Contributor))
	}
	if err := g.pieces(ctx, s.store, s.config.Privacy, private); err != nil {
		return nil, err
	}
	g.finish()
	return g.listing, nil
}

func (g *gathering) session(m catalog.Measured, by string) {
	n := len(m.Readings)
	g.sessions++
	g.readings += n
	pair := [2]catalog.ID{m.Horn, m.Mouthpiece}
	if g.pairs[pair] == nil {
		g.pairs[pair] = &tally{by: map[string]bool{}}
	}
	g.pairs[pair].add(by, n)
	for _, id := range pair {
		if g.gear[id] == nil {
			g.gear[id] = &tally{by: map[string]bool{}}
		}
		g.gear[id].add(by, n)
	}
	r := g.who[by]
	if r == nil {
		r = &reach{horns: map[any]bool{}, mouthpieces: map[any]bool{}, pairs: map[any]bool{}}
		g.who[by] = r
	}
	r.sessions++
	r.readings += n
	r.horns[m.Horn], r.mouthpieces[m.Mouthpiece], r.pairs[pair] = true, true, true
}

// pieces lists the gear, as it may be shown.
func (g *gathering) pieces(ctx context.Context, store catalog.Store, p pool.Privacy, private func(string) string) error {
	horns, err := store.Horns(ctx, true)
	if err != nil {
		return err
	}
	mouthpieces, err := store.Mouthpieces(ctx, true)
	if err != nil {
		return err
	}
	for _, h := range horns {
		if h.Label = private(h.Label); !p.Owners {
			h.Owner = ""
		}
		h.Tags = nil
		x := piece{horn: &h, counts: g.gear[h.ID].counts(), design: g.same.Horn(h)}
		g.byID[h.ID] = x
		if !h.Retired {
			g.horns = append(g.horns, x)
		}
	}
	for _, m := range mouthpieces {
		if m.Label = private(m.Label); !p.Owners {
			m.Owner = ""
		}
		m.Tags, m.Stock = nil, nil
		x := piece{mouthpiece: &m, counts: g.gear[m.ID].counts(), design: g.same.Mouthpiece(m)}
		g.byID[m.ID] = x
		if !m.Retired {
			g.mouthpieces = append(g.mouthpieces, x)
		}
	}
	return nil
}

// finish puts what was counted into order.
func (g *gathering) finish() {
	label := func(id catalog.ID) string {
		if p, ok := g.byID[id]; ok {
			return p.label()
		}
		return string(id)
	}
	for pair, t := range g.pairs {
		g.setups = append(g.setups, setup{pair[0], pair[1], t.counts()})
	}
	slices.SortFunc(g.setups, func(a, b setup) int {
		return cmp.Or(b.sessions-a.sessions, cmp.Compare(label(a.horn), label(b.horn)), cmp.Compare(label(a.mouthpiece), label(b.mouthpiece)), cmp.Compare(a.horn, b.horn), cmp.Compare(a.mouthpiece, b.mouthpiece))
	})
	for i, s := range g.setups {
		for _, id := range []catalog.ID{s.horn, s.mouthpiece} {
			if p, ok := g.byID[id]; ok {
				p.setups = append(p.setups, i)
				g.byID[id] = p
			}
		}
	}
	for name, r := range g.who {
		g.contributors = append(g.contributors, contributor{name, r.sessions, r.readings, len(r.horns), len(r.mouthpieces), len(r.pairs)})
	}
	slices.SortFunc(g.contributors, func(a, b contributor) int {
		return cmp.Or(b.sessions-a.sessions, cmp.Compare(a.name, b.name))
	})
	g.countDesigns()
}

func (g *gathering) countDesigns() {
	type key struct {
		horn bool
		key  string
	}
	found := map[key]*design{}
	by := map[key]map[string]bool{}
	for _, p := range slices.Concat(g.horns, g.mouthpieces) {
		k := key{p.horn != nil, p.design}
		if k.key == "" {
			continue
		}
		d := found[k]
		if d == nil {
			d = &design{key: k.key, name: p.designName(), horn: k.horn, detail: p.detail()}
			found[k], by[k] = d, map[string]bool{}
		}
		d.pieces++
		d.sessions += p.sessions
		d.readings += p.readings
		if p.sessions > 0 {
			d.measured++
		}
		for _, name := range p.by {
			by[k][name] = true
		}
	}
	for k, d := range found {
		d.by = slices.Sorted(maps.Keys(by[k]))
		g.designs = append(g.designs, *d)
	}
	slices.SortFunc(g.designs, func(a, b design) int {
		return cmp.Or(cmp.Compare(catalog.Fold(a.name), catalog.Fold(b.name)), cmp.Compare(a.key, b.key))
	})
}

// keeper keeps what pages are made of up to date.
type keeper struct {
	listing atomic.Pointer[listing]
	model   atomic.Pointer[fit.Model]
	// behind says that the catalog has changed since the model was made.
	behind atomic.Bool
	failed atomic.Bool // the last try to make one
	poke   chan struct{}
}

// look is how often the keeper looks whether the catalog changed in another way
// than through the server.
const look = 20 * time.Second

// afterFailure is how long the keeper rests after a fit that failed.
const afterFailure = time.Minute

// changed tells the keeper what was merged.
func (k *keeper) changed(m catalog.Merged) {
	if news, changes := wire.CountsOf(m); news == (wire.Counts{}) && changes == (wire.Counts{}) {
		return
	}
	k.behind.Store(true)
	select {
	case k.poke <- struct{}{}:
	default:
	}
}

// keep keeps pages up to date until the context ends. After a fit it rests three
// times as long as that took: pages may be a while behind, but requests come
// first.
func (s *Server) keep(ctx context.Context) {
	k := &s.keeper
	for ctx.Err() == nil {
		rest := max(3*s.freshen(ctx), s.config.Pause)
		if k.failed.Load() {
			rest = max(rest, afterFailure)
		}
		if !sleep(ctx, rest) {
			return
		}
		select {
		case <-k.poke:
		case <-time.After(look):
		case <-ctx.Done():
		}
	}
}

func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// freshen brings the listing up to date, then the fit, and tells how long the fit
// took.
func (s *Server) freshen(ctx context.Context) time.Duration {
	k := &s.keeper
	digest, err := s.store.Digest(ctx)
	if err != nil {
		s.complain(ctx, "reading the catalog's digest", err)
		return 0
	}
	now := digest.String()
	m := k.model.Load()
	k.behind.Store(m == nil || m.Digest != now)
	if l := k.listing.Load(); l == nil || l.digest != now {
		if l, err = s.gather(ctx, now); err != nil {
			s.complain(ctx, "reading the catalog", err)
			return 0
		}
		k.listing.Store(l)
	}
	if m != nil && m.Digest == now || k.listing.Load().sessions == 0 {
		return 0
	}
	started := time.Now()
	m, err = fit.Current(ctx, s.store, fit.Options{})
	k.failed.Store(err != nil)
	if err != nil {
		s.complain(ctx, "fitting", err)
		return time.Since(started)
	}
	k.model.Store(m)
	s.log.Info("fitted", "digest", m.Digest, "sessions", m.Report.Sessions, "readings", m.Report.Readings, "seconds", time.Since(started).Seconds())
	// What changed meanwhile is the next one's.
	if digest, err = s.store.Digest(ctx); err == nil {
		k.behind.Store(digest.String() != m.Digest)
	}
	return time.Since(started)
}

// complain logs what went wrong beside requests.
func (s *Server) complain(ctx context.Context, doing string, err error) {
	if ctx.Err() == nil {
		s.log.Error("pages are not brought up to date", "doing", doing, "error", err)
	}
}
