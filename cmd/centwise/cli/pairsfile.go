package cli

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"centwise/catalog"
)

// parsePairs reads horn, mouthpiece and player columns, in any order, separated
// by commas, semicolons or tabs. Every line must have a horn and a mouthpiece.
func parsePairs(in io.Reader, path string) ([]pairLine, error) {
	buffered := bufio.NewReaderSize(in, 1<<16)
	comma := separatorOf(buffered)
	r := csv.NewReader(buffered)
	r.Comma = comma
	header, err := r.Read()
	if err != nil {
		return nil, pairsError(path, err)
	}
	columns, err := pairColumns(path, header)
	if err != nil {
		return nil, err
	}
	var out []pairLine
	var problems []string
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, pairsError(path, err)
		}
		number, _ := r.FieldPos(0)
		line := pairLine{line: number}
		for i, to := range columns.into(&line) {
			*to = strings.TrimSpace(record[i])
		}
		if line.horn == "" || line.mouthpiece == "" {
			problems = append(problems, fmt.Sprintf("%s:%d: horn or mouthpiece is empty", path, number))
		}
		out = append(out, line)
	}
	if len(problems) > 0 {
		return nil, catalog.Errorf(catalog.Invalid, "fill them in", "%s", strings.Join(problems, "\n"))
	}
	return out, nil
}

// separatorOf guesses from the first line what separates columns, and passes
// over a byte order mark.
func separatorOf(in *bufio.Reader) rune {
	if mark, err := in.Peek(3); err == nil && string(mark) == "\uFEFF" {
		in.Discard(3)
	}
	head, _ := in.Peek(4096)
	first, _, _ := strings.Cut(string(head), "\n")
	for _, c := range []string{"\t", ";"} {
		if strings.Contains(first, c) {
			return rune(c[0])
		}
	}
	return ','
}

func pairsError(path string, err error) error {
	hint := "save it as CSV with the columns horn and mouthpiece"
	if errors.Is(err, io.EOF) {
		return catalog.Errorf(catalog.Invalid, hint, "%s is empty", path)
	}
	return &catalog.Error{Kind: catalog.Invalid, What: "reading " + path, Hint: hint, Err: err}
}

// pairPlaces says in which column what stands; -1 for a column that is missing.
type pairPlaces struct{ horn, mouthpiece, player int }

func pairColumns(path string, header []string) (pairPlaces, error) {
	p := pairPlaces{-1, -1, -1}
	places := map[string]*int{"horn": &p.horn, "mouthpiece": &p.mouthpiece, "player": &p.player}
	for i, name := range header {
		if !utf8.ValidString(name) {
			return p, catalog.Errorf(catalog.Invalid, "save it as UTF-8", "%s is not UTF-8 text", path)
		}
		at, ok := places[strings.ToLower(strings.TrimSpace(name))]
		switch {
		case !ok:
			return p, catalog.Errorf(catalog.Invalid, "keep only horn, mouthpiece and player", "%s: column %q is not known", path, name)
		case *at >= 0:
			return p, catalog.Errorf(catalog.Invalid, "keep one of them", "%s has the column %q twice", path, name)
		}
		*at = i
	}
	if p.horn < 0 || p.mouthpiece < 0 {
		return p, catalog.Errorf(catalog.Invalid, "give it a first line like: horn,mouthpiece,player", "%s lacks the column horn or mouthpiece", path)
	}
	return p, nil
}

// into gives the field of line for each column.
func (p pairPlaces) into(line *pairLine) map[int]*string {
	out := map[int]*string{p.horn: &line.horn, p.mouthpiece: &line.mouthpiece, p.player: &line.player}
	delete(out, -1)
	return out
}
