package sheet

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"path"
	"strings"

	"centwise/catalog"
)

// Names as ECMA-376 part 1 gives them; "strict" workbooks use another prefix, so
// only the ends are compared.
const worksheetRelation = "/relationships/worksheet"

type sheetPart struct{ name, path string }

// findSheet finds the worksheet of a name, the first one if it is empty.
func findSheet(archive *zip.Reader, name string) (sheetPart, error) {
	sheets, err := listSheets(archive)
	if err != nil {
		return sheetPart{}, err
	}
	var names []string
	for _, s := range sheets {
		if name == "" || strings.EqualFold(s.name, name) {
			return s, nil
		}
		names = append(names, s.name)
	}
	if len(names) == 0 {
		return sheetPart{}, &stop{0, "is no workbook with sheets", saveAs}
	}
	hint := "it has " + quotedList(names, 10)
	if near := catalog.Near(name, names, 1); len(near) == 1 {
		hint = fmt.Sprintf("did you mean %q? %s", near[0], hint)
	}
	return sheetPart{}, &stop{0, fmt.Sprintf("has no sheet %q", name), hint}
}

// listSheets lists the worksheets in the order of their tabs.
func listSheets(archive *zip.Reader) ([]sheetPart, error) {
	var book struct {
		Sheets []struct {
			Name string     `xml:"name,attr"`
			Attr []xml.Attr `xml:",any,attr"`
		} `xml:"sheets>sheet"`
	}
	var relations struct {
		List []struct {
			ID     string `xml:"Id,attr"`
			Type   string `xml:"Type,attr"`
			Target string `xml:"Target,attr"`
		} `xml:"Relationship"`
	}
	if !hasPart(archive, "xl/workbook.xml") {
		return nil, &stop{0, "is not a workbook this program can read", saveAs}
	}
	if err := decodePart(archive, "xl/workbook.xml", &book); err != nil {
		return nil, err
	}
	if err := decodePart(archive, "xl/_rels/workbook.xml.rels", &relations); err != nil {
		return nil, err
	}
	targets := map[string]string{}
	for _, r := range relations.List {
		if strings.HasSuffix(r.Type, worksheetRelation) {
			targets[r.ID] = partPath(r.Target)
		}
	}
	var out []sheetPart
	for _, s := range book.Sheets {
		for _, a := range s.Attr {
			if target, ok := targets[a.Value]; ok && a.Name.Local == "id" {
				out = append(out, sheetPart{s.Name, target})
			}
		}
	}
	return out, nil
}

// partPath is the place in the archive of a target named by the workbook.
func partPath(target string) string {
	target = strings.ReplaceAll(target, `\`, "/")
	if strings.HasPrefix(target, "/") {
		return path.Clean(target[1:])
	}
	return path.Join("xl", target)
}

func hasPart(archive *zip.Reader, name string) bool {
	_, err := openPart(archive, name)
	return err == nil
}

func openPart(archive *zip.Reader, name string) (*zip.File, error) {
	for _, f := range archive.File {
		if strings.EqualFold(strings.ReplaceAll(f.Name, `\`, "/"), name) {
			return f, nil
		}
	}
	return nil, damaged(fmt.Errorf("%s is missing", name))
}

func decodePart(archive *zip.Reader, name string, into any) error {
	f, err := openPart(archive, name)
	if err != nil {
		return err
	}
	if f.UncompressedSize64 > maxOtherParts {
		return &stop{0, "has an index that is far too large", saveAs}
	}
	r, err := f.Open()
	if err != nil {
		return damaged(err)
	}
	defer r.Close()
	if err := xml.NewDecoder(r).Decode(into); err != nil {
		return damaged(err)
	}
	return nil
}

// oddities are cells that do not simply hold a value.
type oddities struct {
	formulas, merged     []oddity // the first of them
	formulaCount, merges int
}

func (o oddities) any() bool { return o.formulaCount+o.merges > 0 }

type oddity struct {
	line int
	cell string // address, as in C7
}

const maxOddities = 50

// scanSheet reads a worksheet once for its shape: formulas and merged cells,
// which the values alone do not show, and whether it is whole and in order.
func scanSheet(archive *zip.Reader, name string) (oddities, error) {
	f, err := openPart(archive, name)
	if err != nil {
		return oddities{}, err
	}
	r, err := f.Open()
	if err != nil {
		return oddities{}, damaged(err)
	}
	defer r.Close()
	s := scanner{d: xml.NewDecoder(&tagReader{src: r})}
	if err := s.run(); err != nil {
		return s.found, damaged(err)
	}
	return s.found, nil
}

// checkTexts reads the table of texts that the cells share, to see that it is
// whole. A workbook of numbers has none.
func checkTexts(archive *zip.Reader) error {
	f, err := openPart(archive, "xl/sharedStrings.xml")
	if err != nil {
		return nil
	}
	r, err := f.Open()
	if err == nil {
		defer r.Close()
		_, err = io.Copy(io.Discard, &tagReader{src: r})
	}
	if err != nil {
		return damaged(err)
	}
	return nil
}

// maxTagGap is the longest text in XML, in bytes: a decoder keeps a text in
// memory as a whole. A cell holds at most 32,767 characters.
const maxTagGap = 1 << 20

// tagReader passes XML on and refuses texts longer than maxTagGap.
type tagReader struct {
	src io.Reader
	gap int // bytes since the last tag began
}

func (t *tagReader) Read(p []byte) (int, error) {
	if len(p) > maxTagGap/2 {
		p = p[:maxTagGap/2]
	}
	n, err := t.src.Read(p)
	if last := bytes.LastIndexByte(p[:n], '<'); last >= 0 {
		t.gap = n - last
	} else {
		t.gap += n
	}
	if t.gap > maxTagGap {
		return n, fmt.Errorf("a text is longer than %d bytes", maxTagGap)
	}
	return n, err
}

// scanner follows the elements of a worksheet.
type scanner struct {
	d           *xml.Decoder
	found       oddities
	depth       int
	row, column int // of the cell it is in, from 1
	inCell      bool
}

func (s *scanner) run() error {
	for {
		token, err := s.d.RawToken()
		if err == io.EOF {
			if s.depth != 0 {
				return io.ErrUnexpectedEOF
			}
			return nil
		}
		if err != nil {
			return err
		}
		switch t := token.(type) {
		case xml.StartElement:
			s.depth++
			if err := s.start(t); err != nil {
				return err
			}
		case xml.EndElement:
			s.depth--
			if t.Name.Local == "c" {
				s.inCell = false
			}
		}
	}
}

func (s *scanner) start(t xml.StartElement) error {
	switch t.Name.Local {
	case "row":
		return s.startRow(attribute(t, "r"))
	case "c":
		s.inCell = true
		return s.startCell(attribute(t, "r"))
	case "f":
		if s.inCell {
			s.found.formulaCount++
			s.found.formulas = keep(s.found.formulas, oddity{s.row, cellName(s.column, s.row)})
		}
	case "mergeCell":
		area := attribute(t, "ref")
		_, line := cellPlace(area)
		s.found.merges++
		s.found.merged = keep(s.found.merged, oddity{line, area})
	}
	return nil
}

func keep(list []oddity, o oddity) []oddity {
	if len(list) < maxOddities {
		list = append(list, o)
	}
	return list
}

// startRow and startCell insist on rising numbers: a value out of order would
// be taken for another column's.
func (s *scanner) startRow(number string) error {
	next := s.row + 1
	if number != "" {
		if _, next = cellPlace("A" + number); next <= s.row {
			return fmt.Errorf("row %q is out of order", number)
		}
	}
	s.row, s.column = next, 0
	return nil
}

func (s *scanner) startCell(address string) error {
	next := s.column + 1
	if address != "" {
		column, line := cellPlace(address)
		if column <= s.column || line != s.row {
			return fmt.Errorf("cell %q is out of order", address)
		}
		next = column
	}
	s.column = next
	return nil
}

func attribute(t xml.StartElement, name string) string {
	for _, a := range t.Attr {
		if a.Name.Local == name && a.Name.Space == "" {
			return a.Value
		}
	}
	return ""
}

// cellPlace reads the address of a cell, C7, as column 3 and row 7; zeros when
// it is none. What follows a colon is passed over.
func cellPlace(address string) (column, line int) {
	i := 0
	for ; i < len(address) && address[i] >= 'A' && address[i] <= 'Z'; i++ {
		column = 26*column + int(address[i]-'A') + 1
		if column > 1<<14 { // most columns of a worksheet
			return 0, 0
		}
	}
	for ; i < len(address) && address[i] >= '0' && address[i] <= '9'; i++ {
		line = 10*line + int(address[i]-'0')
		if line > 1<<20 { // most rows of a worksheet
			return 0, 0
		}
	}
	if column == 0 || line == 0 || i < len(address) && address[i] != ':' {
		return 0, 0
	}
	return column, line
}

// quotedList writes up to n names for a message.
func quotedList(names []string, n int) string {
	var b strings.Builder
	for i, name := range names {
		if i == n {
			fmt.Fprintf(&b, " and %d more", len(names)-n)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%q", shortened(name))
	}
	return b.String()
}
