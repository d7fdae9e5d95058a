package show

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/match"
)

// Widths of a matrix: labels of horns and of mouthpieces are cut to these.
const (
	hornLabel       = 18
	mouthpieceLabel = 10
	cellWidth       = 5 // "12.3*"
	labelLines      = 4
)

// Matrix draws horns by mouthpieces, the error in each cell, as many columns as
// there is room for; what is left out is counted.
func Matrix(w io.Writer, s Style, m *match.Matrix) error {
	who := "a typical player"
	if m.Player != "" {
		who = m.Player
	}
	columns, widths := matrixColumns(s, m)
	heading := Clean(fmt.Sprintf("Horns by mouthpieces, played by %s", who))
	lines := append([]string{s.Paint(Strong, heading), ""}, matrixHead(s, m, columns, widths)...)
	for i, horn := range m.Horns {
		line := squareOff(Clean(horn), hornColumn(m), false, s.glyphs().ellipsis)
		for k := range columns {
			line += gutter + matrixCell(s, m.Rows[i][k], widths[k])
		}
		lines = append(lines, strings.TrimRight(line, " "))
	}
	if _, err := fmt.Fprintln(w, strings.Join(lines, "\n")); err != nil {
		return err
	}
	return Sentences(w, s, append(matrixLegend(m, columns), m.Notes...))
}

// hornColumn is the width of the column of horns.
func hornColumn(m *match.Matrix) int {
	widest := Width("horn")
	for _, h := range m.Horns {
		widest = max(widest, Width(Clean(h)))
	}
	return min(hornLabel, widest)
}

// matrixColumns finds how many columns fit, and how wide they are.
func matrixColumns(s Style, m *match.Matrix) (columns int, widths []int) {
	room := s.Columns() - hornColumn(m)
	for _, label := range m.Mouthpieces {
		width := cellWidth
		for _, word := range strings.Fields(Clean(label)) {
			width = max(width, min(mouthpieceLabel, Width(word)))
		}
		if room -= len(gutter) + width; room < 0 && columns > 0 {
			break
		}
		widths = append(widths, width)
		columns++
	}
	return columns, widths
}

// matrixHead writes the labels of mouthpieces over their columns, a word or so
// a line, ending at the bottom.
func matrixHead(s Style, m *match.Matrix, columns int, widths []int) []string {
	g := s.glyphs()
	stacks := make([][]string, columns)
	height := 1
	for k, label := range m.Mouthpieces[:columns] {
		stacks[k] = strings.Split(Wrap(Clean(label), widths[k], "", ""), "\n")
		if len(stacks[k]) > labelLines {
			stacks[k] = append(stacks[k][:labelLines-1], g.ellipsis)
		}
		height = max(height, len(stacks[k]))
	}
	var out []string
	for i := range height {
		line := squareOff(pick(i == height-1, "horn", ""), hornColumn(m), false, g.ellipsis)
		for k, stack := range stacks {
			text := ""
			if at := i - (height - len(stack)); at >= 0 {
				text = stack[at]
			}
			line += gutter + squareOff(text, widths[k], true, g.ellipsis)
		}
		out = append(out, s.Paint(Strong, strings.TrimRight(line, " ")))
	}
	return out
}

// matrixCell writes an error, with a mark if it is the best of its row.
func matrixCell(s Style, c match.MatrixCell, width int) string {
	if !c.Judged {
		return s.Paint(Faint, squareOff("- ", width, true, ""))
	}
	text := fmt.Sprintf("%.1f", c.ErrorCents)
	if c.Best {
		return s.Paint(Strong, squareOff(text+"*", width, true, s.glyphs().ellipsis))
	}
	return squareOff(text+" ", width, true, s.glyphs().ellipsis)
}

func matrixLegend(m *match.Matrix, columns int) []string {
	out := []string{"Each cell: cents left to the lip after the best slide and throws, all notes together, uncertainty included. * is the best of its row."}
	if slices.ContainsFunc(m.Rows, func(row []match.MatrixCell) bool {
		return slices.ContainsFunc(row[:columns], func(c match.MatrixCell) bool { return !c.Judged })
	}) {
		out[0] += " - was not judged: it does not fit, or the filters leave it out."
	}
	if m.MoreHorns > 0 {
		out = append(out, fmt.Sprintf("%s more: --top %d shows them too.", match.Count(m.MoreHorns, "horn"), len(m.Horns)+m.MoreHorns))
	}
	if rest := len(m.Mouthpieces) - columns; rest > 0 {
		out = append(out, fmt.Sprintf("%s more than there is room for: use a wider terminal, filters such as --stock, or --csv.", match.Count(rest, "mouthpiece")))
	}
	return out
}

// MatrixCSV writes the whole matrix: a line a horn, a column a mouthpiece, in
// full; empty where a pairing was not judged.
func MatrixCSV(w io.Writer, m *match.Matrix) error {
	out := csv.NewWriter(w)
	return writeMatrix(m, catalog.WriteCell, out.Write, func() error { out.Flush(); return out.Error() })
}

// MatrixTabs writes the same with tabs.
func MatrixTabs(w io.Writer, m *match.Matrix) error {
	return writeMatrix(m, Clean, func(record []string) error {
		_, err := fmt.Fprintln(w, strings.Join(record, "\t"))
		return err
	}, func() error { return nil })
}

func writeMatrix(m *match.Matrix, label func(string) string, write func([]string) error, end func() error) error {
	record := []string{"horn"}
	for _, x := range m.Mouthpieces {
		record = append(record, label(x))
	}
	if err := write(record); err != nil {
		return err
	}
	for i, horn := range m.Horns {
		record = append(record[:0], label(horn))
		for _, c := range m.Rows[i] {
			cell := ""
			if c.Judged {
				cell = full(c.ErrorCents)
			}
			record = append(record, cell)
		}
		if err := write(record); err != nil {
			return err
		}
	}
	return end()
}
