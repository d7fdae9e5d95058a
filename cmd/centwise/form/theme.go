package form

import (
	"io"

	"github.com/charmbracelet/huh"
	"github.com/charmbracelet/lipgloss"
	"github.com/muesli/termenv"

	// Keeps huh's libraries from querying the terminal when they are loaded.
	_ "centwise/cmd/centwise/form/quiet"
)

// Columns of a page: the names of questions, and at least as many for answers.
const nameColumns = 24

// look is how a page is drawn. Bold and reverse video carry what must be seen;
// the one colour, for what is wrong, goes where colours are not wanted.
type look struct {
	title, help, wrong, plain lipgloss.Style
	theme                     *huh.Theme
}

func newLook(out io.Writer, colour bool) look {
	r := lipgloss.NewRenderer(out, termenv.WithUnsafe())
	r.SetColorProfile(termenv.ANSI256) // bold and the cursor are no colours
	r.SetHasDarkBackground(true)       // never asked for: nothing depends on it
	plain := r.NewStyle()
	l := look{plain: plain, title: plain.Bold(true), help: plain, wrong: plain.Bold(true)}
	if colour {
		l.wrong = l.wrong.Foreground(lipgloss.Color("1"))
	}
	l.theme = pageTheme(plain)
	return l
}

// pageTheme draws one question a line: a mark, the name, the answer.
func pageTheme(plain lipgloss.Style) *huh.Theme {
	t := huh.ThemeBase()
	t.Form.Base, t.Group.Base, t.Group.Title, t.Group.Description = plain, plain, plain, plain
	t.FieldSeparator = plain.SetString("\n")
	fields := func(mark string, strong bool) huh.FieldStyles {
		name := plain.Bold(strong).SetString(mark).Width(nameColumns)
		return huh.FieldStyles{
			Base: plain, Card: plain, Title: name, Description: plain, NoteTitle: plain,
			ErrorIndicator: plain, ErrorMessage: plain,
			SelectSelector: plain.SetString("> "), Option: plain, SelectedOption: plain.Bold(strong), UnselectedOption: plain,
			PrevIndicator: plain, NextIndicator: plain.SetString("  < >"),
			TextInput: huh.TextInputStyles{Cursor: plain, CursorText: plain, Placeholder: plain.Faint(true), Prompt: plain, Text: plain},
		}
	}
	t.Focused, t.Blurred = fields(">", true), fields(" ", false)
	t.Blurred.NextIndicator = plain
	return t
}
