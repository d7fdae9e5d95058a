package show

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"

	"centwise/match"
)

// Site is what all pages of a pool server have.
type Site struct {
	Title   string // of the catalog
	Root    string // how to get to the first page from this one, as in "../"
	Here    string // address of the part of the site that the page belongs to, from the first page on
	Version string // of the program
	// Fit is what the numbers rest on; nil where there are none.
	Fit *FitFacts
	// Notice says that something is not up to date, or not ready; may be empty.
	Notice string
}

// SitePage is a page of a pool server: a site, headings, and one kind of content.
type SitePage struct {
	Site
	Kicker, Heading, Terms string

	Home     *HomePage
	List     *ListPage
	Gear     *GearPage
	Rank     *RankPage
	Problem  *ProblemPage
	Problems []ProblemPage
}

// HomePage is the first page.
type HomePage struct {
	Lead  string
	Facts []Fact
}

// Link leads to another page. Href counts from the first page on.
type Link struct{ Text, Href string }

// ListPage is a table of many rows, a page of them at a time.
type ListPage struct {
	Caption string
	Columns []string // the first one is that of the links
	Rows    []ListRow
	Empty   string // what to say when there are no rows
	Search  *SearchField
	Pager   Pager
	Words   []string
}

// ListRow is a row.
type ListRow struct {
	Links []Link // without an Href: text
	Small string // below them
	Cells []string
}

// SearchField narrows a list.
type SearchField struct {
	Label, Value string
	Action       string // address, from the first page on
	// Kept are other parameters that stay as they are.
	Kept []Fact
}

// Pager says which rows of a list a page shows, and leads to others; empty
// addresses lead nowhere.
type Pager struct {
	From, To, All  int
	Previous, Next string
}

// GearPage is about one horn or mouthpiece.
type GearPage struct {
	Facts    []Fact
	Links    []Link
	Profile  *match.Profile // nil: not known yet
	Measured *ListPage      // with what it was measured, and by whom
}

// RankPage is what goes with a horn or mouthpiece, some of it.
type RankPage struct {
	Ranking        *match.Ranking // from the first pairing to the last of the page
	From           int            // the first pairing shown, from 0
	ToleranceCents float64
	Pager          Pager
	// Href leads to the page about a label; empty for none.
	Href     func(label string) string
	Cautions []string
}

// ProblemPage says what went wrong.
type ProblemPage struct {
	ID, Title, Explanation string
	Status                 int
	Detail, Try            string
}

//go:embed sitepages.html
var siteText string

//go:embed sitepages.css
var siteStyle string

var siteTemplate = sync.OnceValue(func() *template.Template {
	t := template.Must(reportTemplate().Clone())
	return template.Must(template.Must(t.Parse(siteText)).Parse(`{{define "sitestyle"}}` + siteStyle + `{{end}}`))
})

// siteMenu leads to the parts of a site.
var siteMenu = []Link{
	{"Horns", "horns"}, {"Mouthpieces", "mouthpieces"}, {"Designs", "designs"}, {"Setups measured", "setups"}, {"Who measured", "contributors"},
}

// WriteHTML prints the page.
func (p SitePage) WriteHTML(w io.Writer) error {
	return siteTemplate().ExecuteTemplate(w, "site", p.view())
}

// StyleSource is what a Content-Security-Policy (CSP 3) must allow as style of the
// pages: the hash of the one style that all have.
var StyleSource = sync.OnceValue(func() string {
	var b bytes.Buffer
	if err := (SitePage{}).WriteHTML(&b); err != nil {
		panic("show: " + err.Error()) // tests would show it
	}
	_, rest, _ := strings.Cut(b.String(), "<style>")
	style, _, _ := strings.Cut(rest, "</style>")
	sum := sha256.Sum256([]byte(style))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
})

// siteView is a page as its template takes it: text that came from users is clean.
type siteView struct {
	Site
	Kicker, Heading, Terms, Invented string
	StaffLines                       []float64
	Menu                             []siteLink
	Home                             *HomePage
	List                             *listPageView
	Gear                             *gearPageView
	Rank                             *rankPageView
	Problem                          *ProblemPage
	Problems                         []ProblemPage
	Method                           []Fact
}

// siteLink is a link with the way from the page.
type siteLink struct {
	Text, Href string
	Current    bool
}

type listPageView struct {
	ListPage
	Rows []listRowView
}

type listRowView struct {
	Links []siteLink
	Small string
	Cells []string
}

type gearPageView struct {
	Facts    []Fact
	Links    []siteLink
	Profile  *profileView
	Measured *listPageView
}

type rankPageView struct {
	Headline, Lead, Title string
	List                  listView
	Words                 []string
	Pager                 Pager
	Cautions              []string
}

func (p SitePage) view() siteView {
	v := siteView{Site: p.Site, Kicker: Clean(p.Kicker), Heading: Clean(p.Heading), Terms: Clean(p.Terms), StaffLines: staffLines,
		Home: p.Home, Problem: p.Problem, Problems: p.Problems}
	v.Title, v.Notice = Clean(p.Title), Clean(p.Notice)
	if v.Title == "" {
		v.Title = "A pool of measurements"
	}
	if strings.Contains(strings.ToLower(p.Title), "invented") {
		v.Invented = Clean(p.Title)
	}
	for _, l := range siteMenu {
		v.Menu = append(v.Menu, siteLink{l.Text, p.Root + l.Href, l.Href == p.Here})
	}
	if p.Home != nil {
		v.Home = &HomePage{Clean(p.Home.Lead), cleanFacts(p.Home.Facts)}
	}
	if p.List != nil {
		v.List = p.listView(p.List)
	}
	if p.Gear != nil {
		v.Gear = p.gearView()
	}
	if p.Rank != nil {
		v.Rank = p.rankView()
	}
	if p.Problem != nil {
		problem := *p.Problem
		problem.Detail, problem.Try = capital(Clean(problem.Detail)), Clean(problem.Try)
		v.Problem = &problem
	}
	if p.Fit != nil {
		v.Method = append([]Fact{{"Sessions behind it", fmt.Sprintf("%s with %s.", match.Count(p.Fit.Sessions, "session"), match.Count(p.Fit.Readings, "reading"))}}, p.Fit.method()...)
		v.Method = append(v.Method, Fact{"Worked out", fmt.Sprintf("on %s by centwise %s, from the data %s.", p.Fit.At.Format(pageDate), p.Version, shortDigest(p.Fit.Digest))})
	}
	return v
}

func cleanFacts(facts []Fact) (out []Fact) {
	for _, f := range facts {
		out = append(out, Fact{f.Name, Clean(f.Text)})
	}
	return out
}

// from makes addresses count from the page.
func (s Site) from(href string) string {
	if href == "" {
		return ""
	}
	return s.Root + href
}

func (s Site) links(list []Link) (out []siteLink) {
	for _, l := range list {
		out = append(out, siteLink{Clean(l.Text), s.from(l.Href), false})
	}
	return out
}

func (s Site) pager(p Pager) Pager {
	p.Previous, p.Next = s.from(p.Previous), s.from(p.Next)
	return p
}

func (s Site) listView(l *ListPage) *listPageView {
	v := &listPageView{ListPage: *l}
	v.Caption, v.Empty, v.Words, v.Pager = Clean(l.Caption), Clean(l.Empty), cleanAll(l.Words), s.pager(l.Pager)
	if l.Search != nil {
		search := *l.Search
		search.Action, search.Value, search.Kept = s.from(search.Action), Clean(search.Value), cleanFacts(search.Kept)
		v.Search = &search
	}
	for _, r := range l.Rows {
		v.Rows = append(v.Rows, listRowView{s.links(r.Links), Clean(r.Small), cleanAll(r.Cells)})
	}
	return v
}

func (p SitePage) gearView() *gearPageView {
	v := &gearPageView{Facts: cleanFacts(p.Gear.Facts), Links: p.links(p.Gear.Links)}
	if p.Gear.Profile != nil {
		profile := newProfileView(p.Gear.Profile, nil)
		v.Profile = &profile
	}
	if p.Gear.Measured != nil {
		v.Measured = p.listView(p.Gear.Measured)
	}
	return v
}

func (p SitePage) rankView() *rankPageView {
	r := p.Rank
	all := newCandidatesView(r.Ranking, r.ToleranceCents, nil)
	v := &rankPageView{Title: all.Title, List: all.List, Words: all.Words, Pager: p.pager(r.Pager), Cautions: r.Cautions}
	if r.From == 0 {
		v.Headline, v.Lead = all.Headline, all.Lead
	}
	v.Title = Clean(candidatesOf(r.Ranking))
	for i := range v.List.Lines {
		label := candidateName(r.Ranking, r.Ranking.Pairings[i])
		if r.Href != nil {
			v.List.Lines[i].Href = p.from(r.Href(label))
		}
	}
	v.List.Lines = v.List.Lines[min(r.From, len(v.List.Lines)):]
	return v
}
