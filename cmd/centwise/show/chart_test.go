package show

import (
	"bytes"
	"strings"
	"testing"

	"centwise/match"
)

func TestProfileChart(t *testing.T) {
	for _, tc := range []struct {
		name    string
		style   Style
		player  string
		concert bool
	}{
		{"chart_80.txt", Style{Terminal: true, Width: 80, Unicode: true}, "", false},
		{"chart_60_player.txt", Style{Terminal: true, Width: 60}, "reed-otter", false},
		{"chart_120_player.txt", Style{Terminal: true, Width: 120, Unicode: true, Colour: true}, "reed-otter", true},
		{"chart_piped.txt", Style{Width: 80, Unicode: true}, "reed-otter", false},
	} {
		var b bytes.Buffer
		if err := ProfileChart(&b, tc.style, explained(tc.player), tc.concert); err != nil {
			t.Fatal(err)
		}
		golden(t, tc.name, b.String())
	}
}

// Whatever the width: no line is longer, every deviation has its sign, bars of
// one length say one thing in every panel, and there is no colour unless the
// style has it.
func TestProfileChartFits(t *testing.T) {
	for width := 40; width <= 220; width++ {
		for _, player := range []string{"", "reed-otter"} {
			s := Style{Terminal: true, Width: width, Unicode: true}
			var b bytes.Buffer
			if err := ProfileChart(&b, s, explained(player), false); err != nil {
				t.Fatal(err)
			}
			for line := range strings.Lines(b.String()) {
				if got := Width(strings.TrimSuffix(line, "\n")); got > s.Columns() {
					t.Errorf("at %d columns a line takes %d: %q", width, got, line)
				}
			}
			for _, want := range []string{"+31.2", "+2.5", "-4.5", "-9.0", "+34.8"} {
				if !strings.Contains(b.String(), want) {
					t.Fatalf("at %d columns there is no %s", width, want)
				}
			}
			if strings.Contains(b.String(), "\x1b") {
				t.Fatalf("at %d columns there is colour", width)
			}
		}
	}
}

// matrixOf is a matrix of three horns; the last fits two mouthpieces only.
func matrixOf() *match.Matrix {
	m := &match.Matrix{Horns: []string{"Alder", "Rowan of the long cupboard", "Yew"}, MoreHorns: 2,
		Mouthpieces: []string{"Curlew 17.0 second", "Dunlin 16.6", "=Knot", "Phalaropewhistle 16.4"}}
	for i := range m.Horns {
		var row []match.MatrixCell
		for k := range m.Mouthpieces {
			judged := i < 2 || k > 1
			row = append(row, match.MatrixCell{Judged: judged, ErrorCents: 3.04 + float64(4*i+k), Best: judged && (k == 0 || i == 2 && k == 2)})
		}
		m.Rows = append(m.Rows, row)
	}
	return m
}

func TestMatrix(t *testing.T) {
	for name, s := range map[string]Style{
		"matrix_80.txt": {Terminal: true, Width: 80, Unicode: true}, "matrix_60.txt": {Terminal: true, Width: 60},
		"matrix_100_colour.txt": {Terminal: true, Width: 100, Unicode: true, Colour: true},
	} {
		m := matrixOf()
		if s.Width == 60 {
			m.Mouthpieces = append(m.Mouthpieces, "Snipe 16.3")
			for i := range m.Rows {
				m.Rows[i] = append(m.Rows[i], match.MatrixCell{})
			}
		}
		var b bytes.Buffer
		if err := Matrix(&b, s, m); err != nil {
			t.Fatal(err)
		}
		golden(t, name, b.String())
		for line := range strings.Lines(b.String()) {
			if !s.Colour && Width(strings.TrimSuffix(line, "\n")) > s.Columns() {
				t.Errorf("%s: too long: %q", name, line)
			}
		}
	}
}

func TestMatrixForPrograms(t *testing.T) {
	var b bytes.Buffer
	if err := MatrixCSV(&b, matrixOf()); err != nil {
		t.Fatal(err)
	}
	want := `horn,Curlew 17.0 second,Dunlin 16.6,'=Knot,Phalaropewhistle 16.4
Alder,3.04,4.04,5.04,6.04
Rowan of the long cupboard,7.04,8.04,9.04,10.04
Yew,,,13.04,14.04
`
	if b.String() != want {
		t.Errorf("CSV:\n%s", b.String())
	}
	b.Reset()
	if err := MatrixTabs(&b, matrixOf()); err != nil {
		t.Fatal(err)
	}
	if lines := strings.Split(b.String(), "\n"); lines[3] != "Yew\t\t\t13.04\t14.04" {
		t.Errorf("tabs: %q", lines[3])
	}
}
