package server

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

// Rows of a page.
const (
	listRows     = 50
	rankRows     = 40
	maxRankPages = 25
	fewSetups    = 50 // on the page of a piece
	fewNames     = 6  // in a cell
)

// pageNumber is which page of a list is asked for, from 1.
func pageNumber(r *http.Request) (int, error) {
	text := r.URL.Query().Get("page")
	if text == "" {
		return 1, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > 1_000_000 {
		return 0, badRequest.with("page is not a number of a page")
	}
	return n, nil
}

// pager leads to the pages beside page n.
func pager(r *http.Request, n, rows, all int) show.Pager {
	p := show.Pager{From: (n-1)*rows + 1, To: min(n*rows, all), All: all}
	to := func(n int) string {
		q := r.URL.Query()
		q.Set("page", strconv.Itoa(n))
		return strings.TrimPrefix(r.URL.Path, "/") + "?" + q.Encode()
	}
	if n > 1 {
		p.Previous = to(n - 1)
	}
	if n*rows < all {
		p.Next = to(n + 1)
	}
	return p
}

// cut gives the rows of a page and its pager.
func cut[T any](r *http.Request, list []T) ([]T, show.Pager, error) {
	n, err := pageNumber(r)
	if err != nil {
		return nil, show.Pager{}, err
	}
	from := (n - 1) * listRows
	if from >= len(list) && n > 1 {
		return nil, show.Pager{}, notThere.with("the list ends before")
	}
	return list[from:min(from+listRows, len(list))], pager(r, n, listRows, len(list)), nil
}

// searched is what is searched for, ready for comparing.
func searched(r *http.Request) (shown, folded string) {
	shown = catalog.NormalLabel(r.URL.Query().Get("q"))
	shown = strings.ToValidUTF8(shown[:min(len(shown), 200)], "")
	return shown, catalog.Fold(shown)
}

// anyHolds reports whether one of the texts holds what is searched for.
func anyHolds(folded string, texts ...string) bool {
	return folded == "" || slices.ContainsFunc(texts, func(t string) bool { return strings.Contains(catalog.Fold(t), folded) })
}

func hornsPage(_ *Server, p page) (show.SitePage, error) {
	return piecesPage(p, "Horns", "horns", p.list.horns)
}

func mouthpiecesPage(_ *Server, p page) (show.SitePage, error) {
	return piecesPage(p, "Mouthpieces", "mouthpieces", p.list.mouthpieces)
}

func piecesPage(p page, heading, part string, all []piece) (show.SitePage, error) {
	shown, folded := searched(p.Request)
	wanted := p.URL.Query().Get("design")
	var list []piece
	for _, x := range all {
		if (wanted == "" || x.design == wanted) && anyHolds(folded, x.label(), x.designName()) {
			list = append(list, x)
		}
	}
	rows, pages, err := cut(p.Request, list)
	out := show.SitePage{Site: p.Site, Heading: heading, Terms: match.Count(len(list), strings.TrimSuffix(part, "s")), List: &show.ListPage{
		Caption: "By label, with the sessions that measured each.", Columns: []string{"label", "sessions", "measured by"}, Pager: pages,
		Empty: "None fits.", Search: &show.SearchField{Label: "Label or design", Value: shown, Action: part},
	}}
	if wanted != "" {
		out.List.Search.Kept = []show.Fact{{Name: "design", Text: wanted}}
		if len(list) > 0 {
			out.Terms = "Of the design " + list[0].designName() + " · " + out.Terms
		}
	}
	for _, x := range rows {
		out.List.Rows = append(out.List.Rows, show.ListRow{Links: []show.Link{x.link()}, Small: join(x.designName(), x.detail(), sizeOf(x)),
			Cells: []string{strconv.Itoa(x.sessions), strconv.Itoa(len(x.by))}})
	}
	return out, err
}

// join writes what there is of some texts in a line.
func join(texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(t string) bool { return t == "" }), " · ")
}

// sizeOf is the size that players ask for first.
func sizeOf(x piece) string {
	if x.mouthpiece == nil || x.mouthpiece.RimMM == 0 {
		return ""
	}
	return "rim " + strconv.FormatFloat(x.mouthpiece.RimMM, 'f', -1, 64) + " mm"
}

func designsPage(_ *Server, p page) (show.SitePage, error) {
	shown, folded := searched(p.Request)
	var list []design
	for _, d := range p.list.designs {
		if anyHolds(folded, d.name) {
			list = append(list, d)
		}
	}
	rows, pages, err := cut(p.Request, list)
	out := show.SitePage{Site: p.Site, Heading: "Designs", Terms: match.Count(len(list), "design"), List: &show.ListPage{
		Caption: "Maker and model, with how many pieces of each are in the pool.", Columns: []string{"design", "pieces", "measured", "sessions"}, Pager: pages,
		Empty: "None fits.", Search: &show.SearchField{Label: "Maker or model", Value: shown, Action: "designs"},
	}}
	for _, d := range rows {
		kind := "mouthpiece"
		if d.horn {
			kind = "horn"
		}
		out.List.Rows = append(out.List.Rows, show.ListRow{Links: []show.Link{{Text: d.name, Href: designHref(d.horn, d.key)}}, Small: join(kind, d.detail),
			Cells: []string{strconv.Itoa(d.pieces), strconv.Itoa(d.measured), strconv.Itoa(d.sessions)}})
	}
	return out, err
}

func setupsPage(_ *Server, p page) (show.SitePage, error) {
	shown, folded := searched(p.Request)
	by := p.URL.Query().Get("by")
	var list []setup
	for _, s := range p.list.setups {
		if (by == "" || slices.Contains(s.by, by)) && anyHolds(folded, p.label(s.horn), p.label(s.mouthpiece)) {
			list = append(list, s)
		}
	}
	rows, pages, err := cut(p.Request, list)
	out := show.SitePage{Site: p.Site, Heading: "Setups measured", Terms: match.Count(len(list), "setup"), List: &show.ListPage{
		Caption: "Most sessions first.", Columns: []string{"setup", "sessions", "readings"}, Pager: pages, Empty: "None fits.",
		Search: &show.SearchField{Label: "Horn or mouthpiece", Value: shown, Action: "setups"},
	}}
	if by != "" {
		out.Terms = "Measured by " + by + " · " + out.Terms
		out.List.Search.Kept = []show.Fact{{Name: "by", Text: by}}
	}
	for _, s := range rows {
		out.List.Rows = append(out.List.Rows, p.setupRow(s, s.horn, s.mouthpiece))
	}
	return out, err
}

// label is what gear is called.
func (p page) label(id catalog.ID) string {
	if x, ok := p.list.byID[id]; ok {
		return x.label()
	}
	return string(id)
}

// setupRow is a row about a setup that leads to some of its gear.
func (p page) setupRow(s setup, ids ...catalog.ID) show.ListRow {
	row := show.ListRow{Small: "by " + someOf(s.by), Cells: []string{strconv.Itoa(s.sessions), strconv.Itoa(s.readings)}}
	for _, id := range ids {
		link := show.Link{Text: p.label(id)}
		if x, ok := p.list.byID[id]; ok {
			link.Href = x.href()
		}
		row.Links = append(row.Links, link)
	}
	return row
}

// someOf names the first few of many.
func someOf(names []string) string {
	shown := make([]string, 0, fewNames+1)
	for i, name := range names {
		if i == fewNames {
			shown = append(shown, fmt.Sprintf("%d more", len(names)-i))
			break
		}
		if name == "" {
			name = "nobody named"
		}
		shown = append(shown, name)
	}
	return strings.Join(shown, ", ")
}

// measuredWith lists what a piece was measured with.
func (p page) measuredWith(x piece) *show.ListPage {
	out := &show.ListPage{Caption: "Most sessions first.", Columns: []string{"horn", "sessions", "readings"}, Empty: "Nobody has measured it yet: what is said of it rests on its design, or its dimensions."}
	if x.horn != nil {
		out.Columns[0] = "mouthpiece"
	}
	for i, at := range x.setups {
		if i == fewSetups {
			out.Words = []string{fmt.Sprintf("And with %d more.", len(x.setups)-i)}
			break
		}
		s := p.list.setups[at]
		other := s.horn
		if x.horn != nil {
			other = s.mouthpiece
		}
		out.Rows = append(out.Rows, p.setupRow(s, other))
	}
	return out
}

func contributorsPage(_ *Server, p page) (show.SitePage, error) {
	shown, folded := searched(p.Request)
	var list []contributor
	for _, c := range p.list.contributors {
		if anyHolds(folded, c.name) {
			list = append(list, c)
		}
	}
	rows, pages, err := cut(p.Request, list)
	out := show.SitePage{Site: p.Site, Heading: "Who measured", Terms: match.Count(len(list), "contributor"), List: &show.ListPage{
		Caption: "Most sessions first. Each name leads to the setups that it measured.", Columns: []string{"contributor", "sessions", "horns", "mouthpieces"}, Pager: pages,
		Empty: "None fits.", Search: &show.SearchField{Label: "Contributor", Value: shown, Action: "contributors"},
	}}
	for _, c := range rows {
		link := show.Link{Text: c.name, Href: "setups?by=" + url.QueryEscape(c.name)}
		if c.name == "" {
			link = show.Link{Text: "nobody named"}
		}
		out.List.Rows = append(out.List.Rows, show.ListRow{Links: []show.Link{link}, Small: join(match.Count(c.readings, "reading"), match.Count(c.pairs, "setup")),
			Cells: []string{strconv.Itoa(c.sessions), strconv.Itoa(c.horns), strconv.Itoa(c.mouthpieces)}})
	}
	return out, err
}
