package show

import (
	"bufio"
	"io"
	"strings"
)

// Pair is one line of a [Record]: a name and what it holds, with a unit.
type Pair struct {
	Name  string
	Value Cell
	Unit  string
}

// Record draws one record, a line for each name that holds something. Away
// from terminals every name has its line: name, tab, value.
func Record(w io.Writer, s Style, pairs []Pair) error {
	out := bufio.NewWriter(w)
	widest := 0
	for _, p := range pairs {
		widest = max(widest, Width(p.Name))
	}
	for _, p := range pairs {
		if !s.Terminal {
			out.WriteString(p.Name + "\t" + p.Value.full + "\n")
			continue
		}
		if p.Value.short == "" {
			continue
		}
		name := squareOff(p.Name, widest, false, "")
		text := strings.TrimSpace(p.Value.short + " " + p.Unit)
		indent := strings.Repeat(" ", widest+len(gutter))
		lines := Wrap(text, s.Columns(), indent, indent)
		out.WriteString(s.Paint(Faint, name) + gutter + s.Paint(p.Value.tone, strings.TrimPrefix(lines, indent)) + "\n")
	}
	return out.Flush()
}
