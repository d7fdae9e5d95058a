package show

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"

	"centwise/catalog/pitch"
)

// PaperForm is a form to fill in by hand at the music stand.
type PaperForm struct {
	Heads  []HeadLine // what is known of the session, and what is to be filled in
	Rules  []string   // how to measure
	Rounds [][]FormNote
	Seed   int64
	Enter  string // the command that takes the readings in this order
}

// HeadLine is a line of the head of a form; an empty value is left to fill in.
type HeadLine struct{ Name, Value, Unit string }

// FormNote is a note to be read.
type FormNote struct {
	Note, Valves string
	Sounds       string // the note that the tuner names; empty if not known
}

// FormNotes are the slots of a round as a form shows them. Transposition is in
// semitones; with known unset the sounding notes are left out.
func FormNotes(slots []pitch.Slot, transposition int, known bool) []FormNote {
	var out []FormNote
	for _, s := range slots {
		n := FormNote{Note: s.Note().String(), Valves: Fingering(s.Valves)}
		if known {
			n.Sounds = (s.Note() + pitch.Note(transposition)).String()
		}
		out = append(out, n)
	}
	return out
}

// Title is the heading of the form.
func (f PaperForm) Title() string { return fmt.Sprintf("Session sheet, order %d", f.Seed) }

// Closing says what to do with the form.
func (f PaperForm) Closing() string {
	return "Write - for flat and + for sharp. Type it in later, in this order, with:"
}

const (
	formColumns = 80 // of a typed page
	fillIn      = "________"
	// roundsAcross is how many rounds stand beside one another on a page.
	roundsAcross = 3
)

// Write prints the form as text.
func (f PaperForm) Write(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\n", f.Title())
	for _, h := range f.Heads {
		value := Clean(h.Value)
		if value == "" {
			value = strings.Repeat("_", 24)
		}
		fmt.Fprintf(&b, "%-14s %s\n", h.Name, strings.TrimSpace(value+" "+h.Unit))
	}
	b.WriteString("\n")
	for i, rule := range f.Rules {
		b.WriteString(Wrap(rule, formColumns, fmt.Sprintf("%d. ", i+1), "   ") + "\n")
	}
	for first := 0; first < len(f.Rounds); first += roundsAcross {
		b.WriteString("\n")
		f.writeRounds(&b, first, f.Rounds[first:min(first+roundsAcross, len(f.Rounds))])
	}
	fmt.Fprintf(&b, "\n%s\n  %s\n", f.Closing(), Clean(f.Enter))
	_, err := io.WriteString(w, b.String())
	return err
}

// writeRounds writes rounds beside one another, a line a note.
func (f PaperForm) writeRounds(b *strings.Builder, first int, rounds [][]FormNote) {
	sounds := len(rounds[0]) > 0 && rounds[0][0].Sounds != ""
	width := len(" 1 Eb4  1-2-3    ") + len(fillIn)
	if !sounds {
		width -= len("   ")
	}
	line := func(cells []string) {
		b.WriteString(strings.TrimRight(strings.Join(cells, "  "), " ") + "\n")
	}
	var heads []string
	for k := range rounds {
		heads = append(heads, fmt.Sprintf("%-*s", width, fmt.Sprintf("Round %d", first+k+1)))
	}
	line(heads)
	for i := range rounds[0] {
		var cells []string
		for _, round := range rounds {
			n := round[i]
			text := fmt.Sprintf("%2d %-3s %-5s ", i+1, n.Note, n.Valves)
			if sounds {
				text += fmt.Sprintf("%-3s ", n.Sounds)
			}
			cells = append(cells, text+fillIn)
		}
		line(cells)
	}
}

//go:embed paperform.html
var paperFormText string

var paperFormTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("form").Funcs(template.FuncMap{
		"add": func(a, b int) int { return a + b }, "clean": Clean,
	}).Parse(paperFormText))
})

// WriteHTML prints the form as a page to print on paper. It refers to nothing
// outside itself.
func (f PaperForm) WriteHTML(w io.Writer) error { return paperFormTemplate().Execute(w, f) }
