package main

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"
)

// table has a column a catalog and a row a command.
type table struct{ columns []column }

// write prints the table as Markdown.
func (t *table) write(out io.Writer) error {
	var b strings.Builder
	b.WriteString("| command: ms, MB |")
	for _, c := range t.columns {
		fmt.Fprintf(&b, " %d sessions, %d readings |", c.sessions, c.readings)
	}
	b.WriteString("\n|---|" + strings.Repeat("---|", len(t.columns)) + "\n")
	for i, r := range t.columns[0].rows {
		fmt.Fprintf(&b, "| %s |", r.name)
		for _, c := range t.columns {
			fmt.Fprintf(&b, " %s |", c.rows[i])
		}
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "\n%s", load())
	_, err := io.WriteString(out, b.String())
	return err
}

// String is the least, median and greatest time in ms, or the only one, and the
// memory in MB.
func (r row) String() string {
	times := slices.Sorted(slices.Values(r.times))
	ms := func(d time.Duration) string { return fmt.Sprintf("%.0f", d.Seconds()*1000) }
	text := ms(times[len(times)/2])
	if n := len(times); n > 1 {
		text = ms(times[0]) + " / " + ms(times[n/2]) + " / " + ms(times[n-1])
	}
	if r.memory > 0 {
		text += fmt.Sprintf(", %d", r.memory>>20)
	}
	return text
}

// load says what else the machine was doing, where the system tells.
func load() string {
	text, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "Load of the machine not known.\n"
	}
	return "Load averages at the end (1, 5, 15 minutes): " + strings.Join(strings.Fields(string(text))[:3], ", ") + "\n"
}
