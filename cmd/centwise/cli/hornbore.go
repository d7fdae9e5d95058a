package cli

import (
	"fmt"
	"io"
	"os"
	"strings"

	"centwise/catalog"
	"centwise/match/aircolumn"
)

// noBore takes a horn's described bore away.
const noBore = "none"

// hornBoreField is the bore of a horn as a file describes it. It is no cell of a
// gear list.
var hornBoreField = gearField[catalog.Horn]{
	name: "bore_geometry", kind: fileKind,
	usage: "its bore, from which predictions and what-ifs start: a file with the columns x_mm, diameter_mm and part, as for 'centwise aircolumn'; none to forget it",
	set: func(h *catalog.Horn, path string) (err error) {
		h.BoreGeometry = ""
		if path = strings.TrimSpace(path); path != "" && !strings.EqualFold(path, noBore) {
			h.BoreGeometry, err = readBoreGeometry(path)
		}
		return err
	},
	value:   func(h *catalog.Horn) any { return describeBore(h.BoreGeometry) },
	columns: []gearColumn[catalog.Horn]{},
}

// readBoreGeometry reads and checks a bore file, as far as a catalog keeps one.
func readBoreGeometry(path string) (string, error) {
	file, err := os.Open(path)
	var text []byte
	if err == nil {
		defer file.Close()
		text, err = io.ReadAll(io.LimitReader(file, catalog.MaxGeometryBytes+1))
	}
	if err != nil {
		return "", &catalog.Error{Kind: catalog.NotFound, What: "reading the bore", Hint: "name a file with the columns x_mm, diameter_mm and part", Err: err}
	}
	if len(text) > catalog.MaxGeometryBytes {
		return "", catalog.Errorf(catalog.Invalid, "describe the bore by fewer points", "%s is longer than %d bytes", path, catalog.MaxGeometryBytes)
	}
	bore, err := aircolumn.ReadBore(strings.NewReader(string(text)))
	if err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	for _, piece := range bore {
		if piece.Part == aircolumn.Bell {
			return strings.TrimPrefix(strings.ReplaceAll(string(text), "\r\n", "\n"), "\ufeff"), nil
		}
	}
	return "", fmt.Errorf("%s: %w", path, errNoBell)
}

var errNoBell error = catalog.Errorf(catalog.Invalid, "describe the horn to the end of the bell, in rows of the part bell", "the bore has no bell")

// describeBore says in a few words what a stored bore is.
func describeBore(geometry string) string {
	if geometry == "" {
		return ""
	}
	bore, err := aircolumn.ReadBore(strings.NewReader(geometry))
	if err != nil {
		return "can't be read"
	}
	length := 0.0
	for _, piece := range bore {
		length += piece.LengthMM
	}
	return fmt.Sprintf("%d pieces, %.0f mm", len(bore), length)
}
