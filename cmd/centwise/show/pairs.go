package show

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"strconv"

	"centwise/catalog"
	"centwise/match"
)

// PairWriter prints the predictions of a batch one after the other.
type PairWriter struct {
	w       io.Writer
	csv     *csv.Writer // nil for JSON
	harmful bool        // a spreadsheet may read it
	count   int
}

var pairColumns = []string{"horn", "mouthpiece", "fingering", "partial", "cents", "sd", "linked"}

// NewPairWriter prints JSON, CSV or, with neither, tabs.
func NewPairWriter(w io.Writer, asJSON, asCSV bool) *PairWriter {
	p := &PairWriter{w: w}
	if !asJSON {
		p.csv = csv.NewWriter(w)
		p.harmful = asCSV
		if !asCSV {
			p.csv.Comma = '\t'
		}
	}
	return p
}

// Write prints one prediction.
func (p *PairWriter) Write(c match.PairCents) error {
	p.count++
	if p.csv == nil {
		return p.writeJSON(c)
	}
	if p.count == 1 {
		if err := p.csv.Write(pairColumns); err != nil {
			return err
		}
	}
	return p.csv.Write([]string{
		p.label(c.Horn), p.label(c.Mouthpiece), c.Fingering, strconv.Itoa(c.Partial),
		full(c.Cents), full(c.SD), strconv.FormatBool(c.Linked),
	})
}

func (p *PairWriter) label(text string) string {
	if p.harmful {
		return catalog.WriteCell(Clean(text))
	}
	return Clean(text)
}

func (p *PairWriter) writeJSON(c match.PairCents) error {
	line, err := json.Marshal(c)
	if err != nil {
		return err
	}
	before := ",\n    "
	if p.count == 1 {
		before = "{\n  \"predictions\": [\n    "
	}
	_, err = io.WriteString(p.w, before+string(escapeHidden(line)))
	return err
}

// Close ends the output.
func (p *PairWriter) Close() error {
	if p.csv == nil {
		end := "\n  ]\n}\n"
		if p.count == 0 {
			end = "{\n  \"predictions\": []\n}\n"
		}
		_, err := io.WriteString(p.w, end)
		return err
	}
	if p.count == 0 {
		if err := p.csv.Write(pairColumns); err != nil {
			return err
		}
	}
	p.csv.Flush()
	return p.csv.Error()
}
