package show

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
	"time"

	"centwise/catalog"
	"centwise/match"
)

// Report is a page to read on a screen or to print: about one setup, or about
// one horn or mouthpiece and what goes with it. It refers to nothing outside
// itself and needs no script.
type Report struct {
	Made    time.Time // in the reader's time zone
	Version string    // of the program
	Catalog catalog.Info
	Fit     FitFacts

	// Setup is the setup that the page is about; Sessions measured it.
	Setup    *match.Explanation
	Sessions []catalog.SessionSummary

	// Ranking is what goes with a horn or a mouthpiece, at least one pairing, and
	// Finalists the first of them note by note.
	Ranking        *match.Ranking
	ToleranceCents float64 // what counts as in tune
	Finalists      []*match.Explanation
	// Profile is what that horn or mouthpiece contributes, Gear what is known of it.
	Profile *match.Profile
	Gear    []Fact

	// Visit is the plan of a visit, and VisitEnter the command that takes what is
	// read there.
	Visit      *match.VisitSheet
	VisitEnter string

	Cautions []string
}

// FitFacts say which fit a page rests on.
type FitFacts struct {
	At                 time.Time
	Digest             string // of the data
	Sessions, Readings int
	NoiseCents         float64 // standard deviation of a good reading
}

// Fact is a name with what belongs to it.
type Fact struct{ Name, Text string }

//go:embed report.html
var reportText string

//go:embed reportcharts.html
var reportChartsText string

//go:embed reportvisit.html
var reportVisitText string

//go:embed report.css
var reportStyle string

var reportTemplate = sync.OnceValue(func() *template.Template {
	t := template.New("pages")
	for _, text := range []string{reportText, reportChartsText, reportVisitText, `{{define "style"}}` + reportStyle + `{{end}}`} {
		template.Must(t.Parse(text))
	}
	return t
})

// WriteHTML prints the page.
func (r Report) WriteHTML(w io.Writer) error {
	return reportTemplate().ExecuteTemplate(w, "report", r.view())
}

// reportView is a report as its template takes it: text that came from users is
// clean, and numbers are written out.
type reportView struct {
	Title, Kicker, Terms string
	Invented             string // title of the invented catalog, empty for a real one
	StaffLines           []float64
	Setup                *setupView
	Candidates           *candidatesView
	Profile              *profileView
	Visit                *visitView
	Cautions             []string
	Method               []Fact
}

// staffLines are where the lines of the staff below a heading lie.
var staffLines = []float64{0.5, 4.5, 8.5, 12.5, 16.5}

func (r Report) view() reportView {
	v := reportView{StaffLines: staffLines, Cautions: r.Cautions, Terms: r.terms(), Method: r.method()}
	if strings.Contains(strings.ToLower(r.Catalog.Title), "invented") {
		v.Invented = Clean(r.Catalog.Title)
	}
	v.Kicker, v.Title = r.heading()
	if r.Setup != nil {
		setup := newSetupView(r.Setup)
		v.Setup = &setup
	}
	if r.Ranking != nil {
		candidates := newCandidatesView(r.Ranking, r.ToleranceCents, r.Finalists)
		v.Candidates = &candidates
	}
	if r.Profile != nil {
		profile := newProfileView(r.Profile, r.Gear)
		v.Profile = &profile
	}
	if r.Visit != nil {
		visit := newVisitView(r.Visit, r.VisitEnter)
		v.Visit = &visit
	}
	return v
}

// heading names what the page is about.
func (r Report) heading() (kicker, title string) {
	switch {
	case r.Visit != nil:
		return "Visit, a sheet to take along", Clean(r.Visit.Name)
	case r.Setup != nil && r.Setup.Evidence.Pair > 0:
		return "Setup, measured and predicted", Clean(r.Setup.Horn + " with " + r.Setup.Mouthpiece)
	case r.Setup != nil:
		return "Setup, predicted", Clean(r.Setup.Horn + " with " + r.Setup.Mouthpiece)
	case r.Ranking.Horn != "":
		return "Horn, and mouthpieces for it", Clean(r.Ranking.Horn)
	}
	return "Mouthpiece, and horns for it", Clean(r.Ranking.Mouthpiece)
}

// terms say for whom, over what range and by what the page judges.
func (r Report) terms() string {
	if r.Visit != nil {
		return Clean(fmt.Sprintf("%s on %s · %s, %s each · about %d minutes", r.Visit.Player, r.Visit.Horn,
			match.Count(len(r.Visit.Tries), "mouthpiece"), match.Count(len(r.Visit.Notes), "note"), r.Visit.Minutes))
	}
	x := r.Setup
	if x == nil {
		x = r.Finalists[0]
	}
	parts := []string{"Played by " + played(x.Player)}
	if n := len(x.Notes); n > 0 {
		parts = append(parts, fmt.Sprintf("written notes %s to %s", x.Notes[0].Note, x.Notes[n-1].Note))
	}
	if x.Weighting == "" || x.Weighting == "even" {
		parts = append(parts, "every note alike")
	} else {
		parts = append(parts, "notes weighed by "+x.Weighting)
	}
	if x.Temperament == "equal" {
		parts = append(parts, "equal temperament")
	} else {
		parts = append(parts, "aiming for "+x.Temperament)
	}
	return Clean(strings.Join(parts, " · "))
}

// chance writes a chance: a few hundred draws make nothing certain.
func chance(c float64) string {
	switch {
	case c > 0.99:
		return "over 99 %"
	case c < 0.01:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*c)
}

// cleanAll makes sentences harmless that may hold text of users.
func cleanAll(texts []string) []string {
	out := make([]string, len(texts))
	for i, text := range texts {
		out[i] = Clean(text)
	}
	return out
}
