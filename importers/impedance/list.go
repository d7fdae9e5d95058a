package impedance

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// ListEntry is a file of a list and the valves that were pressed.
type ListEntry struct {
	File   string
	Valves pitch.Valves
}

// maxListed bounds a list: three fingerings of a thousand horns. So do
// maxListBytes, a hundred to each of them.
const (
	maxListed    = 10_000
	maxListBytes = 1 << 20
)

// ReadList reads a sheet with the columns file and valves, apart by commas,
// semicolons or tabs. Errors are of kind [catalog.Invalid] and name the line.
func ReadList(name string, content io.Reader) ([]ListEntry, error) {
	text, err := io.ReadAll(io.LimitReader(content, maxListBytes+1))
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.NotFound, What: "reading " + name, Hint: "check the name of the file", Err: err}
	}
	refuse := func(line int, format string, args ...any) error {
		return catalog.Errorf(catalog.Invalid, "write a line a curve under the header file,valves, as in: open.csv,0", "%s:%d: %s", name, line, fmt.Sprintf(format, args...))
	}
	if len(text) > maxListBytes {
		return nil, catalog.Errorf(catalog.Invalid, "split it, or leave columns out: only file and valves count", "%s: is larger than %d MB", name, maxListBytes>>20)
	}
	head, _, _ := strings.Cut(string(text), "\n")
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(text), "\ufeff")))
	r.FieldsPerRecord = -1
	for _, c := range ";\t" {
		if strings.ContainsRune(head, c) {
			r.Comma = c
		}
	}
	r.TrimLeadingSpace = r.Comma != '\t'
	var out []ListEntry
	file, valves := -1, -1
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if bad := (*csv.ParseError)(nil); errors.As(err, &bad) {
			return nil, refuse(bad.Line, "%v", bad.Err)
		}
		if err != nil {
			return nil, refuse(1, "%v", err)
		}
		line, _ := r.FieldPos(0)
		if file < 0 {
			file, valves = columnNamed(cells, "file"), columnNamed(cells, "valves")
			if file < 0 || valves < 0 {
				return nil, refuse(line, "the columns file and valves are not both there")
			}
			continue
		}
		if max(file, valves) >= len(cells) || strings.TrimSpace(cells[file]) == "" {
			return nil, refuse(line, "file or valves is missing")
		}
		v, err := pitch.ParseValves(cells[valves])
		if err != nil {
			return nil, refuse(line, "%v", err)
		}
		if out = append(out, ListEntry{strings.TrimSpace(cells[file]), v}); len(out) > maxListed {
			return nil, refuse(line, "names more than %d files", maxListed)
		}
	}
	if len(out) == 0 {
		return nil, refuse(1, "names no file")
	}
	return out, nil
}

func columnNamed(header []string, name string) int {
	return slices.IndexFunc(header, func(c string) bool { return strings.EqualFold(strings.TrimSpace(c), name) })
}
