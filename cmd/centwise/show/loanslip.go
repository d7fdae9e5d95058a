package show

import (
	_ "embed"
	"html/template"
	"io"
	"sync"
)

// LoanSlips are slips to print, one for each student of a plan.
type LoanSlips struct {
	Slips []LoanSlip
}

// LoanSlip is what a student takes home with a horn.
type LoanSlip struct {
	Student, Name           string // a handle; the name may be empty
	Horn, Design            string
	Mouthpiece, PieceDesign string
	Own                     bool     // the mouthpiece is the student's
	Tune                    string   // where to set the tuning slide
	Slides                  []string // how far to extend valve slides
	Watch                   []string // notes left to the lip
}

// Hygiene says how to keep a lent mouthpiece clean.
func (s LoanSlip) Hygiene() string {
	if s.Own {
		return "Rinse your mouthpiece after playing and wash it once a week with lukewarm water, a little soap and a mouthpiece brush. Don't swap mouthpieces without washing and disinfecting them."
	}
	return "This mouthpiece was washed and disinfected before it was handed to you. It is yours alone until it comes back: rinse it after playing, wash it once a week with lukewarm water, a little soap and a mouthpiece brush, and wash and disinfect it before you return it."
}

// Care says how to keep the horn well.
func (LoanSlip) Care() []string {
	return []string{
		"Oil the valves before playing, grease the slides once a month, and empty the water before the horn goes into its case.",
		"Don't force a slide or a mouthpiece that sticks, and don't mend a dent: bring the horn back. Nothing may be bent, filed, cut or glued: altering an instrument can't be undone and is a repair technician's work.",
		"A new mouthpiece or horn takes days to settle. Rest as long as you play, and stop when your lips are sore. Loud playing at close range harms hearing, yours and your neighbour's.",
	}
}

//go:embed loanslip.html
var loanSlipText string

var loanSlipTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("slips").Funcs(template.FuncMap{"clean": Clean}).Parse(loanSlipText))
})

// WriteHTML prints the slips as a page to print on paper, two slips a sheet of
// A4. It refers to nothing outside itself.
func (s LoanSlips) WriteHTML(w io.Writer) error { return loanSlipTemplate().Execute(w, s) }
