package pool_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/pool"
)

const limit = 1 << 30

// several records n sessions of r readings each, by turns of two contributors.
func several(tb testing.TB, s catalog.Store, n, r int) {
	tb.Helper()
	c := catalog.Changes{
		Horns:       []catalog.Horn{{ID: catalog.NewID(), Label: "Alder"}},
		Mouthpieces: []catalog.Mouthpiece{{ID: catalog.NewID(), Label: "Plover 16.2"}},
		Players:     []catalog.Player{{ID: catalog.NewID(), Label: "reed-otter"}},
	}
	for i := range n {
		x := catalog.Session{ID: catalog.NewID(), Name: fmt.Sprint("s", i), Horn: c.Horns[0].ID, Mouthpiece: c.Mouthpieces[0].ID, Player: c.Players[0].ID,
			Contributor: []string{"reed-otter", "lamp-keeper"}[i%2], Remark: "cold hall"}
		for k := range r {
			x.Readings = append(x.Readings, catalog.Reading{Slot: pitch.Slot{Partial: 2 + k/10_000}, Repeat: 1 + k%10_000, Cents: float64(i%50) - 3})
		}
		c.Sessions = append(c.Sessions, x)
	}
	if err := s.Apply(ctx, c); err != nil {
		tb.Fatal(err)
	}
}

// parts gathers everything behind a position.
func parts(tb testing.TB, s catalog.Store, after catalog.Position, o pool.PartOptions) (out []pool.Part) {
	tb.Helper()
	secret := must(s.PoolSecret(ctx))(tb)
	for more := true; more; {
		p := must(pool.NextPart(ctx, s, secret, after, o))(tb)
		out, after, more = append(out, p), p.End, p.More
	}
	return out
}

func bundles(list []pool.Part) (out [][]byte) {
	for _, p := range list {
		if p.Bundle != nil {
			out = append(out, p.Bundle)
		}
	}
	return out
}

// Parts together are the whole catalog, whatever the order in which they arrive
// and how often.
func TestPartsAreTheWhole(t *testing.T) {
	s := newStore(t)
	several(t, s, 1700, 4)
	list := parts(t, s, catalog.Position{}, pool.PartOptions{Privacy: everything})
	if len(list) < 2 {
		t.Fatalf("%d parts", len(list))
	}
	for _, p := range list {
		if p.Summary.Readings > 60_000 || len(p.Records) > 1000 {
			t.Errorf("a part of %d records with %d readings", len(p.Records), p.Summary.Readings)
		}
	}
	to := newStore(t)
	merge(t, to, append(slices.Concat(bundles(list), bundles(list)[:1]), bundles(list)[1:]...)...)
	if !bytes.Equal(export(t, to, pool.ExportOptions{Privacy: everything}), export(t, s, pool.ExportOptions{Privacy: everything})) {
		t.Error("the catalogs differ")
	}
	end := list[len(list)-1].End
	if again := parts(t, s, end, pool.PartOptions{}); len(again) != 1 || again[0].Bundle != nil || again[0].End != end {
		t.Errorf("behind the end: %+v", again)
	}
	h := must(s.Horn(ctx, "Alder"))(t)
	h.Number++
	if err := s.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{h}}); err != nil {
		t.Fatal(err)
	}
	if news := parts(t, s, end, pool.PartOptions{}); len(news) != 1 || news[0].Summary.Records != 2 || len(news[0].Records) != 1 {
		t.Errorf("news: %+v", news)
	}
}

// A session of any size goes, alone if it must.
func TestPartOfOneLargeSession(t *testing.T) {
	s := newStore(t)
	several(t, s, 3, 30_000)
	if list := parts(t, s, catalog.Position{}, pool.PartOptions{}); len(list) != 3 || list[2].Summary.Readings != 30_000 {
		t.Errorf("%d parts", len(list))
	}
}

// A contributor's parts hold what is the contributor's, with the own name and
// nobody else's.
func TestPartsOfAContributor(t *testing.T) {
	s := newStore(t)
	several(t, s, 10, 2)
	list := parts(t, s, catalog.Position{}, pool.PartOptions{Contributor: "reed-otter", Privacy: pool.Privacy{Signed: "reed-otter"}})
	if len(list) != 1 || list[0].Others != 5 || list[0].Summary.Records != 8 {
		t.Fatalf("%+v", list[0].Summary)
	}
	to := newStore(t)
	merge(t, to, bundles(list)...)
	for _, x := range must(to.Sessions(ctx, catalog.SessionFilter{}))(t) {
		if x.Contributor != "reed-otter" || x.Remark != "" || !strings.HasPrefix(x.PlayerLabel, "player-") {
			t.Errorf("%+v", x)
		}
	}
	var text strings.Builder
	for p, err := range pool.Read(ctx, pool.File{Name: "part", Content: bytes.NewReader(list[0].Bundle)}) {
		if err != nil {
			t.Fatal(err)
		}
		body := must(p.Encode())(t)
		text.Write(body)
	}
	if strings.Contains(text.String(), "lamp-keeper") {
		t.Error("another one's name leaves")
	}
}

// What came from a URL does not go back there, unless it changed.
func TestPartsExceptWhatCameFromThere(t *testing.T) {
	s, to := newStore(t), newStore(t)
	several(t, s, 4, 2)
	list := parts(t, s, catalog.Position{}, pool.PartOptions{Privacy: everything})
	_, err := pool.Receive(ctx, to, files(list[0].Bundle)[0], limit, catalog.ReceiveOptions{From: "https://pool.example"})
	if err != nil {
		t.Fatal(err)
	}
	except := pool.PartOptions{Except: "https://pool.example"}
	if p := parts(t, to, catalog.Position{}, except); p[0].Bundle != nil {
		t.Errorf("goes back: %+v", p[0].Records)
	}
	x := must(to.Session(ctx, "s1"))(t)
	if err := to.Apply(ctx, catalog.Changes{Retractions: []catalog.RetractionOf{{Session: x.ID}}}); err != nil {
		t.Fatal(err)
	}
	if p := parts(t, to, catalog.Position{}, except); len(p[0].Records) != 1 || p[0].Records[0].ID != string(x.ID) {
		t.Errorf("goes: %+v", p[0].Records)
	}
}

// contributing is a pool that somebody contributes to.
type contributing struct {
	testing.TB
	from, to    catalog.Store
	contributor string
}

// send sends everything of the catalog as the contributor, whatever it is.
func (c contributing) send() catalog.Merged {
	c.Helper()
	bundle := export(c, c.from, pool.ExportOptions{Privacy: everything})
	k := must(pool.NewContribution(ctx, c.contributor, files(bundle)[0], limit))(c)
	return must(pool.Receive(ctx, c.to, files(bundle)[0], limit, catalog.ReceiveOptions{Admit: k.Admit}))(c)
}

func (c contributing) apply(to catalog.Store, x catalog.Changes) {
	c.Helper()
	if err := to.Apply(ctx, x); err != nil {
		c.Fatal(err)
	}
}

// want compares what was held back: label or name, and part of the reason.
func (c contributing) want(m catalog.Merged, held ...string) {
	c.Helper()
	var got []string
	for _, h := range m.HeldBack {
		got = append(got, h.Label+": "+h.Why)
	}
	if !slices.EqualFunc(got, held, func(a, b string) bool { return strings.Contains(a, b) }) {
		c.Errorf("held back\n got %q\nwant %q", got, held)
	}
}

var played = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

func TestContributions(t *testing.T) {
	c := contributing{t, newStore(t), newStore(t), "reed-otter"}
	revision := func(by string) catalog.Revision { return catalog.Revision{Contributor: by, At: played} }
	own := catalog.Horn{ID: catalog.NewID(), Label: "Alder", Revision: revision("reed-otter")}
	unsigned := catalog.Mouthpiece{ID: catalog.NewID(), Label: "Plover 16.2", Revision: revision("")}
	foreign := catalog.Horn{ID: catalog.NewID(), Label: "Rowan", Revision: revision("lamp-keeper")}
	session := func(name, by string, h catalog.Horn) catalog.Session {
		return catalog.Session{ID: catalog.NewID(), Name: name, Contributor: by, Method: catalog.MethodImpedance, Horn: h.ID, Mouthpiece: unsigned.ID,
			Readings: []catalog.Reading{{Slot: pitch.Slot{Partial: 2}, Cents: 3}}}
	}
	mine, nobodys, others, onForeign := session("mine", "reed-otter", own), session("nobody's", "", own), session("other's", "lamp-keeper", own), session("on foreign", "reed-otter", foreign)
	c.apply(c.from, catalog.Changes{Horns: []catalog.Horn{own, foreign}, Mouthpieces: []catalog.Mouthpiece{unsigned},
		Sessions: []catalog.Session{mine, nobodys, others, onForeign}})
	m := c.send()
	c.want(m, "Rowan: it was entered by lamp-keeper", "other's: it was measured by lamp-keeper", "on foreign: its horn was held back")
	if m.Sessions.New != 2 || m.Horns.New != 1 || m.Mouthpieces.New != 1 {
		t.Errorf("%+v", m)
	}
	for _, name := range []string{"mine", "nobody's"} {
		if x := must(c.to.Session(ctx, name))(t); x.Contributor != "reed-otter" {
			t.Errorf("%s is of %q", name, x.Contributor)
		}
	}
	if x := must(c.to.Mouthpiece(ctx, "Plover 16.2"))(t); x.Contributor != "reed-otter" {
		t.Errorf("the unsigned mouthpiece is of %q", x.Contributor)
	}
	end := must(c.to.End(ctx))(t)
	c.want(c.send(), "Rowan", "other's", "on foreign")
	if again := must(c.to.End(ctx))(t); again != end {
		t.Error("sending again changed something")
	}

	// Gear of others may come along where it is new and unnamed, and is not
	// revised then.
	bundle := bundles(parts(t, c.from, catalog.Position{}, pool.PartOptions{Contributor: "reed-otter", Privacy: pool.Privacy{Signed: "reed-otter"}}))[0]
	k := must(pool.NewContribution(ctx, "reed-otter", files(bundle)[0], limit))(t)
	m = must(pool.Receive(ctx, c.to, files(bundle)[0], limit, catalog.ReceiveOptions{Admit: k.Admit}))(t)
	c.want(m)
	if m.Sessions.New != 1 || m.Horns.New != 1 {
		t.Errorf("%+v", m)
	}
	h := must(c.from.Horn(ctx, "Rowan"))(t)
	h.Revision = catalog.Revision{Number: 2, Contributor: "reed-otter"}
	c.apply(c.from, catalog.Changes{Horns: []catalog.Horn{h}})
	c.want(c.send(), "Rowan: it was entered by lamp-keeper", "Rowan: the pool has it from somebody else", "other's")

	// Own gear is revised; a revision made in the pool by somebody else stays.
	h = must(c.from.Horn(ctx, "Alder"))(t)
	h.Revision, h.BoreMM = catalog.Revision{Number: 2}, 11.7
	c.apply(c.from, catalog.Changes{Horns: []catalog.Horn{h}})
	c.want(c.send(), "Rowan", "Rowan", "other's")
	if x := must(c.to.Horn(ctx, "Alder"))(t); x.BoreMM != 11.7 || x.Contributor != "reed-otter" {
		t.Errorf("%+v", x)
	}

	// Own sessions are taken back; what others retracted is not one's to say.
	replacement := session("mine again", "reed-otter", own)
	c.apply(c.from, catalog.Changes{Sessions: []catalog.Session{replacement}, Retractions: []catalog.RetractionOf{
		{Session: mine.ID, Retraction: catalog.Retraction{ReplacedBy: replacement.ID}}, {Session: nobodys.ID, Retraction: catalog.Retraction{Contributor: "lamp-keeper"}}}})
	m = c.send()
	c.want(m, "Rowan", "Rowan", "nobody's: it was retracted by lamp-keeper", "other's")
	if m.Retracted != 1 || must(c.to.Session(ctx, string(mine.ID)))(t).Retraction.Contributor != "reed-otter" {
		t.Errorf("%+v", m)
	}
}

// Somebody who knows the ids of others' records can't touch them.
func TestContributionsOfAForger(t *testing.T) {
	c := contributing{t, newStore(t), newStore(t), "grey-heron"}
	several(t, c.to, 3, 2)
	before := export(t, c.to, pool.ExportOptions{Privacy: everything})
	forge := func(change func(p catalog.Pooled)) {
		t.Helper()
		var records []catalog.Pooled
		for p, err := range c.to.Pooled(ctx, catalog.PoolSelection{}) {
			if err != nil {
				t.Fatal(err)
			}
			change(p)
			records = append(records, p)
		}
		k := &pool.Contribution{Contributor: "grey-heron"}
		stream := func(yield func(catalog.Pooled, error) bool) {
			for _, p := range records {
				if !yield(p, nil) {
					return
				}
			}
		}
		if _, err := c.to.Receive(ctx, stream, catalog.ReceiveOptions{Admit: k.Admit}); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(export(t, c.to, pool.ExportOptions{Privacy: everything}), before) {
			t.Error("the pool changed")
		}
	}
	for _, by := range []string{"grey-heron", "", "reed-otter", "lamp-keeper", "zz"} {
		forge(func(p catalog.Pooled) {
			if p.Session != nil {
				p.Session.Record.Contributor, p.Session.Record.Readings[0].Cents = by, 44
			}
		})
		forge(func(p catalog.Pooled) {
			if p.Session != nil {
				p.Session.Record.Retraction = &catalog.Retraction{At: played.AddDate(-1, 0, 0), Contributor: by}
			}
		})
		forge(func(p catalog.Pooled) {
			if p.Horn != nil {
				p.Horn.Record.Contributor, p.Horn.Record.Label, p.Horn.Record.At = by, "Zzz", time.Now().AddDate(1, 0, 0).UTC()
			}
		})
		forge(func(p catalog.Pooled) {
			if p.Player != nil {
				p.Player.Record.Contributor, p.Player.Record.Level = by, "zzz"
			}
		})
		forge(func(p catalog.Pooled) {
			if p.Session != nil {
				p.Session.Record.Name, p.Session.Record.Remark, p.Session.Record.Contributor = "zzz", "zzz", by
			}
		})
	}
}

// A retraction in favour of a session that is held back itself can be refused
// alone.
func TestContributionNarrowed(t *testing.T) {
	c := contributing{t, newStore(t), newStore(t), "reed-otter"}
	several(t, c.from, 2, 2)
	foreign := catalog.Horn{ID: catalog.NewID(), Label: "Rowan", Revision: catalog.Revision{Contributor: "lamp-keeper"}}
	x := must(c.from.Session(ctx, "s0"))(t)
	y := x
	y.ID, y.Name, y.Horn = catalog.NewID(), "again", foreign.ID
	c.apply(c.from, catalog.Changes{Horns: []catalog.Horn{foreign}, Sessions: []catalog.Session{y}, Retractions: []catalog.RetractionOf{{Session: x.ID, Retraction: catalog.Retraction{ReplacedBy: y.ID}}}})
	bundle := export(t, c.from, pool.ExportOptions{Privacy: everything})
	k := must(pool.NewContribution(ctx, "reed-otter", files(bundle)[0], limit))(t)
	_, err := pool.Receive(ctx, c.to, files(bundle)[0], limit, catalog.ReceiveOptions{Admit: k.Admit})
	if catalog.KindOf(err) != catalog.NotFound {
		t.Fatalf("error %v", err)
	}
	k.Narrow()
	m := must(pool.Receive(ctx, c.to, files(bundle)[0], limit, catalog.ReceiveOptions{Admit: k.Admit}))(t)
	c.want(m, "Rowan", "s0: the session that replaces it", "s1", "again: its horn was held back")
}
