package server

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/cmd/centwise/wire"
	"centwise/match"
	"centwise/match/fit"
)

// page is what a page is made of: what is known now, and what was asked for.
type page struct {
	*http.Request
	list  *listing   // nil before anything was gathered
	model *fit.Model // nil before the first fit
	show.Site
}

// drawing makes a page.
type drawing func(s *Server, p page) (show.SitePage, error)

// pageRoutes are the pages that show the catalog.
var pageRoutes = map[string]drawing{
	"/{$}": homePage, "/horns": hornsPage, "/mouthpieces": mouthpiecesPage, "/designs": designsPage, "/setups": setupsPage, "/contributors": contributorsPage,
	"/horns/{id}": gearPage, "/mouthpieces/{id}": gearPage, "/horns/{id}/rank": rankPage, "/mouthpieces/{id}/rank": rankPage,
}

// addPages adds the pages to the routes.
func (s *Server) addPages(add func(method, path string, h handling)) {
	for path, draw := range pageRoutes {
		h := func(w http.ResponseWriter, r *http.Request) error { return s.page(w, r, draw) }
		if !s.config.PublicPages {
			h = s.needing(catalog.ScopeRead, h)
		}
		add(http.MethodGet, path, h)
	}
	add(http.MethodGet, "/problems", func(w http.ResponseWriter, r *http.Request) error {
		p := show.SitePage{Site: s.site(r), Heading: "What can go wrong", Terms: "Answers that refuse say which of these it is (RFC 9457)."}
		for _, k := range problemKinds {
			p.Problems = append(p.Problems, show.ProblemPage{ID: k.name, Title: k.title, Explanation: k.explanation, Status: k.status})
		}
		return s.answer(w, r, p, http.StatusOK)
	})
}

// forPeople reports whether an address is for people, not for programs.
func forPeople(r *http.Request) bool {
	return !strings.HasPrefix(r.URL.Path, "/v1/") && r.URL.Path != wire.HealthPath
}

// wantsPage reports whether a request is of a browser, for something to look at.
func wantsPage(r *http.Request) bool {
	return forPeople(r) && strings.Contains(r.Header.Get("Accept"), "text/html")
}

// site is what all pages have.
func (s *Server) site(r *http.Request) show.Site {
	up := strings.Count(strings.TrimPrefix(r.URL.Path, "/"), "/")
	part, _, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
	out := show.Site{Root: strings.Repeat("../", up), Here: part, Version: s.config.Version}
	if l := s.keeper.listing.Load(); l != nil && (s.config.PublicPages || requestOf(r).token.ID != "") {
		out.Title = l.title
	}
	return out
}

// page answers with a page, unless whoever asks has it already.
func (s *Server) page(w http.ResponseWriter, r *http.Request, draw drawing) error {
	k := &s.keeper
	p := page{Request: r, list: k.listing.Load(), model: k.model.Load(), Site: s.site(r)}
	if p.list == nil {
		return notReady.with("the catalog is being read").after(5)
	}
	p.Notice = s.notice(p)
	tag := p.tag()
	s.pageHeaders(w)
	w.Header().Set("ETag", tag)
	if matches(r.Header.Get("If-None-Match"), tag) {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	body, err := s.drawn.get(r.Context(), tag, func() ([]byte, error) {
		out, err := draw(s, p)
		if err != nil {
			return nil, err
		}
		var b bytes.Buffer
		err = out.WriteHTML(&b)
		return b.Bytes(), err
	})
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(body)
	return nil
}

// notice says what a page lacks.
func (s *Server) notice(p page) string {
	k := &s.keeper
	switch {
	case p.list.sessions == 0:
		return "Nothing was measured yet."
	case k.failed.Load():
		return "Predictions could not be worked out anew; whoever keeps the pool finds the reason in the log."
	case p.model == nil:
		return "What the measurements say of each horn and mouthpiece is being worked out for the first time. Reload the page in a while."
	case k.behind.Load():
		return fmt.Sprintf("Predictions rest on the measurements of %s. What came since is being worked in.", p.model.At.Format("2 January 2006, 15:04 UTC"))
	}
	return ""
}

// tag stands for all that a page is made of.
func (p page) tag() string {
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%s\n%s\n%s\n%s\n%s\n", p.Version, p.list.digest, p.list.title, p.Notice, p.URL.Path, p.URL.Query().Encode())
	if p.model != nil {
		fmt.Fprintln(h, p.model.Digest, p.model.At.UnixNano())
	}
	return `"` + hex.EncodeToString(h.Sum(nil)[:16]) + `"`
}

// matches reports whether a tag is among those of an If-None-Match (RFC 9110,
// section 13.1.2).
func matches(header, tag string) bool {
	for t := range strings.SplitSeq(header, ",") {
		if t = strings.TrimPrefix(strings.TrimSpace(t), "W/"); t == tag || t == "*" {
			return true
		}
	}
	return false
}

// pageHeaders allow what pages need: their style, and a form that leads back here.
func (s *Server) pageHeaders(w http.ResponseWriter) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; style-src "+show.StyleSource()+"; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Vary", "Authorization")
	if s.config.PublicPages {
		h.Set("Cache-Control", "public, no-cache") // may be kept, but must be asked about
	} else {
		h.Set("Cache-Control", "private, no-cache")
	}
}

// answer draws a page that nobody keeps.
func (s *Server) answer(w http.ResponseWriter, r *http.Request, p show.SitePage, status int) error {
	var b bytes.Buffer
	if err := p.WriteHTML(&b); err != nil {
		return err
	}
	s.pageHeaders(w)
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	w.Write(b.Bytes())
	return nil
}

// writeProblemPage tells people what went wrong.
func (s *Server) writeProblemPage(w http.ResponseWriter, r *http.Request, p *problem) {
	out := show.SitePage{Site: s.site(r), Heading: "This did not work", Problem: &show.ProblemPage{
		Title: p.title, Explanation: p.explanation, Detail: catalog.HideSecrets(p.detail), Try: p.try, Status: p.status}}
	out.Site.Here = ""
	if p.status >= http.StatusInternalServerError {
		out.Terms = "Request " + requestOf(r).id
	}
	if err := s.answer(w, r, out, p.status); err != nil {
		s.log.Error("drawing a page", "error", err)
	}
}

// drawnPages are pages as they were drawn. Those of a catalog as it was before are
// not asked for any more, and go when room is needed.
type drawnPages struct {
	mu    sync.Mutex
	pages map[string][]byte
	bytes int
	// places bound how many are drawn at once.
	places chan struct{}
}

const maxDrawn = 64 << 20

func (d *drawnPages) get(ctx context.Context, tag string, draw func() ([]byte, error)) ([]byte, error) {
	d.mu.Lock()
	have, ok := d.pages[tag]
	d.mu.Unlock()
	if ok {
		return have, nil
	}
	leave, err := turn(ctx, d.places)
	if err != nil {
		return nil, err
	}
	defer leave()
	body, err := draw()
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.bytes+len(body) > maxDrawn || d.pages == nil {
		d.pages, d.bytes = map[string][]byte{}, 0
	}
	if _, again := d.pages[tag]; !again {
		d.pages[tag] = body
		d.bytes += len(body)
	}
	return body, nil
}

func homePage(s *Server, p page) (show.SitePage, error) {
	l := p.list
	facts := []show.Fact{
		{Name: "Sessions", Text: fmt.Sprintf("%d, with %s", l.sessions, match.Count(l.readings, "reading"))},
		{Name: "Horns", Text: fmt.Sprint(len(l.horns))}, {Name: "Mouthpieces", Text: fmt.Sprint(len(l.mouthpieces))},
		{Name: "Designs", Text: fmt.Sprint(len(l.designs))}, {Name: "Setups measured", Text: fmt.Sprint(len(l.setups))}, {Name: "Contributors", Text: fmt.Sprint(len(l.contributors))},
	}
	if p.model != nil {
		facts = append(facts, show.Fact{Name: "Predictions", Text: fmt.Sprintf("of %s, from %s", p.model.At.Format("2 January 2006, 15:04 UTC"), match.Count(p.model.Report.Sessions, "session"))})
	}
	return show.SitePage{Site: p.Site, Kicker: "Measured intonation, pooled", Home: &show.HomePage{
		Lead:  "How many cents sharp or flat each note of a horn with a mouthpiece is, as many people measured it; and what that says of setups that nobody has played.",
		Facts: facts,
	}}, nil
}

// gear finds the horn or mouthpiece of an address.
func (p page) gear() (piece, error) {
	id := catalog.ID(strings.ToUpper(p.PathValue("id")))
	x, ok := p.list.byID[id]
	if horns := strings.HasPrefix(p.URL.Path, "/horns/"); !ok || (x.horn != nil) != horns {
		return x, notThere.with("no horn or mouthpiece of the pool has this address")
	}
	return x, nil
}

// href is the address of the page about a piece.
func (p piece) href() string {
	if p.horn != nil {
		return "horns/" + string(p.horn.ID)
	}
	return "mouthpieces/" + string(p.mouthpiece.ID)
}

func (p piece) link() show.Link { return show.Link{Text: p.label(), Href: p.href()} }

// known is what pages about gear need.
func (p page) known() (*fit.Model, error) {
	if p.model != nil {
		return p.model, nil
	}
	if p.list.sessions == 0 {
		return nil, notThere.with("nothing was measured yet, so that nothing can be predicted")
	}
	return nil, notReady.with("what the measurements say is being worked out for the first time").after(30)
}

func gearPage(s *Server, p page) (show.SitePage, error) {
	x, err := p.gear()
	if err != nil {
		return show.SitePage{}, err
	}
	out := show.SitePage{Site: p.Site, Heading: x.label(), Kicker: "Mouthpiece", Terms: cmp.Or(x.designName(), "design not known") + " · " + x.detail()}
	g := &show.GearPage{Measured: p.measuredWith(x)}
	if x.horn != nil {
		out.Kicker, g.Facts = "Horn", show.HornFacts(*x.horn)
		g.Links = []show.Link{{Text: "Which mouthpieces suit it", Href: x.href() + "/rank"}}
	} else {
		g.Facts = show.MouthpieceFacts(*x.mouthpiece)
		g.Links = []show.Link{{Text: "Which horns it suits", Href: x.href() + "/rank"}}
	}
	if x.design != "" {
		g.Links = append(g.Links, show.Link{Text: "Others of its design", Href: designHref(x.horn != nil, x.design)})
	}
	g.Facts = append(g.Facts, show.Fact{Name: "Measured", Text: fmt.Sprintf("%s with %s", match.Count(x.sessions, "session"), match.Count(x.readings, "reading"))})
	if len(x.by) > 0 {
		g.Facts = append(g.Facts, show.Fact{Name: "By", Text: someOf(x.by)})
	}
	if p.model != nil {
		if g.Profile, err = profileOf(p.model, x); err != nil {
			return out, err
		}
		out.Fit = factsOf(p.model)
	}
	out.Gear = g
	return out, nil
}

func profileOf(m *fit.Model, x piece) (*match.Profile, error) {
	criteria := match.Criteria{}.For(nil)
	if x.horn != nil {
		return match.HornProfile(m, *x.horn, criteria)
	}
	return match.MouthpieceProfile(m, *x.mouthpiece, criteria)
}

func factsOf(m *fit.Model) *show.FitFacts {
	return &show.FitFacts{At: m.At, Digest: m.Digest, Sessions: m.Report.Sessions, Readings: m.Report.Readings, NoiseCents: m.ReadingNoise()}
}

func designHref(horn bool, key string) string {
	part := "mouthpieces"
	if horn {
		part = "horns"
	}
	return part + "?design=" + url.QueryEscape(key)
}

// cautions stand with what may send somebody to a shop or a workshop.
var cautions = []string{
	"Wash and disinfect a shared mouthpiece before the next player takes it.",
	"Rest between mouthpieces and stop when your lips are sore; a change takes days to settle.",
	"Altering a horn or a mouthpiece can't be undone: slides, the gap or another mouthpiece come first, cutting and drilling are a repair technician's work.",
}

func rankPage(s *Server, p page) (show.SitePage, error) {
	x, err := p.gear()
	if err != nil {
		return show.SitePage{}, err
	}
	m, err := p.known()
	if err != nil {
		return show.SitePage{}, err
	}
	n, err := pageNumber(p.Request)
	if err != nil {
		return show.SitePage{}, err
	}
	if n > maxRankPages {
		return show.SitePage{}, notThere.with("lists end after %d pairings", maxRankPages*rankRows)
	}
	q := match.Question{Criteria: match.Criteria{}.For(nil), Limit: n * rankRows, Sort: match.SortError}
	byLabel := map[string]string{}
	for _, other := range others(p.list, x) {
		byLabel[other.label()] = other.href()
		if other.horn != nil {
			q.Horns = append(q.Horns, *other.horn)
		} else {
			q.Mouthpieces = append(q.Mouthpieces, *other.mouthpiece)
		}
	}
	q.FromHorn, q.FromMouthpiece = x.horn, x.mouthpiece
	ranking, err := match.Rank(p.Context(), m, q)
	if err != nil {
		return show.SitePage{}, rankProblem(err)
	}
	from := (n - 1) * rankRows
	if from >= len(ranking.Pairings) {
		return show.SitePage{}, notThere.with("the list ends before")
	}
	out := show.SitePage{Site: p.Site, Heading: x.label(), Kicker: "Horn, and mouthpieces for it", Terms: "Played by a typical player · every note alike · equal temperament"}
	out.Fit = factsOf(m)
	if x.mouthpiece != nil {
		out.Kicker = "Mouthpiece, and horns for it"
	}
	out.Rank = &show.RankPage{
		Ranking: ranking, From: from, ToleranceCents: q.Criteria.ToleranceCents, Cautions: cautions,
		Pager: pager(p.Request, n, rankRows, min(ranking.Considered, maxRankPages*rankRows)), Href: func(label string) string { return byLabel[label] },
	}
	return out, nil
}

// others is what may go with a piece.
func others(l *listing, x piece) []piece {
	if x.horn != nil {
		return l.mouthpieces
	}
	return l.horns
}

// rankProblem tells people what the ranking says.
func rankProblem(err error) error {
	if kind := catalog.KindOf(err); kind == catalog.Invalid || kind == catalog.NotFound {
		return &problem{kindOfProblem: notThere, detail: err.Error(), err: err}
	}
	return err
}
