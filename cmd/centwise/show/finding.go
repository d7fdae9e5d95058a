package show

import (
	"fmt"
	"io"

	"centwise/catalog"
)

// Finding draws one finding of a check: what, where, how sure, and the command
// to type next.
func Finding(w io.Writer, s Style, f catalog.Finding) error {
	where := f.Session
	if where == "" {
		where = f.Subject
	}
	heading := fmt.Sprintf("%s %s (%.0f %% sure)", f.Kind, Clean(where), 100*f.Certainty)
	text := s.Paint(Strong, heading) + "\n" + Wrap(Clean(f.Detail), s.Columns(), "  ", "  ") + "\n"
	if f.Repair != "" {
		text += "  next: " + Clean(f.Repair) + "\n"
	}
	_, err := io.WriteString(w, text)
	return err
}
