package sheet

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"fmt"
	"hash/crc32"
	"io"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

// book makes a workbook, saved without a password or with one.
func book(t testing.TB, password string, fill func(f *excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	fill(f)
	var b bytes.Buffer
	if err := f.Write(&b, excelize.Options{Password: password}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func rowsOf(t testing.TB, f *excelize.File, sheet string, rows ...[]any) {
	t.Helper()
	for i, r := range rows {
		if err := f.SetSheetRow(sheet, fmt.Sprintf("A%d", i+1), &r); err != nil {
			t.Fatal(err)
		}
	}
}

var (
	bookHead = []any{"session", "player", "horn", "mouthpiece", "fingering", "partial", "cents", "date", "remark"}
	bookRow  = []any{"a", "reed-otter", "Alder", "Plover 16.2", 13, 3, -13.7, "2025-03-01", "windy"}
)

func TestWorkbook(t *testing.T) {
	data := book(t, "", func(f *excelize.File) {
		day := time.Date(2025, 3, 1, 18, 30, 0, 0, time.UTC)
		rowsOf(t, f, "Sheet1", []any{}, bookHead,
			[]any{"a", "reed-otter", "Alder", "Plover 16.2", 13, 3, -13.7, day},
			[]any{}, []any{"a", "reed-otter", "Alder", "Plover 16.2", 0, 2, "4,25", day, ""},
			[]any{"a", "reed-otter", "Alder", "Plover 16.2", "2", "2", 1.0 / 3})
		// The number shown is rounded, the number kept is not.
		style, err := f.NewStyle(&excelize.Style{NumFmt: 1})
		if err != nil {
			t.Fatal(err)
		}
		if err := f.SetCellStyle("Sheet1", "G3", "G3", style); err != nil {
			t.Fatal(err)
		}
		if _, err := f.NewSheet("Visits 2025"); err != nil {
			t.Fatal(err)
		}
		rowsOf(t, f, "Visits 2025", []any{"session", "player", "horn", "mouthpiece", "C4", "13/3"}, []any{"b", "blue-kite", "Rowan", "Dunlin 16.6", 1, "2 3"})
	})
	m := bay(t)
	if _, err := m.load(Options{}, File{"visits.xlsx", bytes.NewReader(data)}); err != nil {
		t.Fatal(err)
	}
	s := m.session(t, "a")
	if got, want := readingsText(s), "2/2#1=0.333333333333333 0/2#1=4.25 13/3#1=-13.7"; got != want {
		t.Errorf("readings %s, want %s", got, want)
	}
	if !s.At.Equal(time.Date(2025, 3, 1, 18, 30, 0, 0, time.UTC)) || s.Source != "visits.xlsx [Sheet1]" {
		t.Errorf("session %+v", s)
	}
	// The content tells what a file is, not its name; names of sheets are found whatever the case.
	if _, err := m.load(Options{Sheet: "visits 2025"}, File{"visits.csv", bytes.NewReader(data)}); err != nil {
		t.Fatal(err)
	}
	if got, want := readingsText(m.session(t, "b")), "0/2#1=1 13/3#1=2 13/3#2=3"; got != want {
		t.Errorf("readings %s, want %s", got, want)
	}
	refused(t, m, Options{Sheet: "Visits 2052"}, []File{{"visits.xlsx", bytes.NewReader(data)}},
		[]string{`visits.xlsx: has no sheet "Visits 2052" (did you mean "Visits 2025"? it has "Sheet1", "Visits 2025")`})
}

// A label typed as a number is the number that the spreadsheet shows.
func TestWorkbookNumberAsLabel(t *testing.T) {
	m := &memory{}
	data := book(t, "", func(f *excelize.File) {
		rowsOf(t, f, "Sheet1", []any{"kind", "label", "serial", "rim_mm"}, []any{"mouthpiece", 16.6, "00123", 16.6})
		if err := f.SetCellDefault("Sheet1", "B2", "16.600000000000001"); err != nil {
			t.Fatal(err)
		}
	})
	if _, err := m.load(Options{}, File{"gear.xlsx", bytes.NewReader(data)}); err != nil {
		t.Fatal(err)
	}
	if x := m.mouthpieces[0]; x.Label != "16.6" || x.Serial != "00123" || x.RimMM != 16.6 {
		t.Errorf("mouthpiece %+v", x)
	}
}

func TestWorkbookRefusals(t *testing.T) {
	good := book(t, "", func(f *excelize.File) { rowsOf(t, f, "Sheet1", bookHead, bookRow) })
	for _, tc := range []struct {
		name string
		data []byte
		want []string
	}{
		{"formula", book(t, "", func(f *excelize.File) {
			rowsOf(t, f, "Sheet1", bookHead, bookRow, bookRow)
			for _, cell := range []string{"G2", "B3"} {
				if err := f.SetCellFormula("Sheet1", cell, "1+1"); err != nil {
					t.Fatal(err)
				}
			}
		}), []string{"visits.xlsx [Sheet1]:2: cell G2 holds a formula|paste them as values", "visits.xlsx [Sheet1]:3: cell B3 holds a formula"}},
		{"merged", book(t, "", func(f *excelize.File) {
			rowsOf(t, f, "Sheet1", bookHead, bookRow, bookRow)
			if err := f.MergeCell("Sheet1", "A2", "A3"); err != nil {
				t.Fatal(err)
			}
		}), []string{"visits.xlsx [Sheet1]:2: cells A2:A3 are merged (split them"}},
		{"password", book(t, "tide", func(f *excelize.File) { rowsOf(t, f, "Sheet1", bookHead, bookRow) }), []string{"visits.xlsx: is protected by a password"}},
		{"old kind", append(append([]byte{}, oleStart...), make([]byte, 512)...), []string{"visits.xlsx: is a workbook of the old kind"}},
		{"bad cell", book(t, "", func(f *excelize.File) {
			rowsOf(t, f, "Sheet1", bookHead, bookRow, []any{"a", "", "", "", 13, 3, "#DIV/0!"}, []any{"a", "", "", "", 13, 3, 5, 0.5}, []any{"b", "reed-otter", "Alder", "Plover 16.2", 0, 2, 1, 0.5})
		}), []string{`visits.xlsx [Sheet1]:3: cents "#DIV/0!" is not a finite number`, `visits.xlsx [Sheet1]:4: date "0.5" contradicts`, `visits.xlsx [Sheet1]:5: date "0.5" is not a date`}},
		{"more cells", book(t, "", func(f *excelize.File) { rowsOf(t, f, "Sheet1", bookHead, append(bookRow[:9:9], "x")) }), []string{"visits.xlsx [Sheet1]:2: has 10 cells where the header has 9"}},
		{"empty", book(t, "", func(*excelize.File) {}), []string{"visits.xlsx [Sheet1]: is empty"}},
		{"header only", book(t, "", func(f *excelize.File) { rowsOf(t, f, "Sheet1", bookHead) }), []string{"visits.xlsx [Sheet1]:1: is a header without rows"}},
		{"cut off", good[:len(good)/2], []string{"visits.xlsx: is a damaged workbook"}},
		{"no workbook", archive(t, part{"mimetype", "application/vnd.oasis.opendocument.spreadsheet"}), []string{"visits.xlsx: is not a workbook this program can read"}},
		{"no sheets", archive(t, part{"xl/workbook.xml", "<workbook/>"}, part{"xl/_rels/workbook.xml.rels", "<Relationships/>"}), []string{"visits.xlsx: is no workbook with sheets"}},
		{"sheet missing", archive(t, bookParts("xl/worksheets/sheet2.xml", "<worksheet/>")...), []string{"visits.xlsx [Tide]: is a damaged workbook (xl/worksheets/sheet1.xml is missing)"}},
		{"sheet cut off", archive(t, bookParts("xl/worksheets/sheet1.xml", "<worksheet><sheetData><row>")...), []string{"[Tide]: is a damaged workbook (unexpected EOF)"}},
		{"rows out of order", archive(t, bookParts("xl/worksheets/sheet1.xml", `<worksheet><sheetData><row r="2"/><row r="1"/></sheetData></worksheet>`)...), []string{`row "1" is out of order`}},
		{"cells out of order", archive(t, bookParts("xl/worksheets/sheet1.xml", `<worksheet><sheetData><row r="1"><c r="B1"/><c r="A1"/></row></sheetData></worksheet>`)...), []string{`cell "A1" is out of order`}},
		{"endless text", archive(t, bookParts("xl/worksheets/sheet1.xml", "<worksheet><sheetData><row><c><v>"+strings.Repeat("1", 2<<20))...), []string{"a text is longer than 1048576 bytes"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			refused(t, bay(t), Options{}, []File{{"visits.xlsx", bytes.NewReader(tc.data)}}, tc.want)
		})
	}
}

// Many formulas: each counts, the first are named.
func TestWorkbookManyFormulas(t *testing.T) {
	var b strings.Builder
	for i := range 500 {
		fmt.Fprintf(&b, `<row r="%d"><c r="C%d"><f>1+1</f><v>2</v></c></row>`, i+1, i+1)
	}
	data := archive(t, bookParts("xl/worksheets/sheet1.xml", "<worksheet><sheetData>"+b.String()+"</sheetData></worksheet>")...)
	_, err := bay(t).load(Options{}, File{"visits.xlsx", bytes.NewReader(data)})
	ps, ok := err.(*Problems)
	if !ok || ps.Count != 500 || len(ps.List) != maxOddities || ps.List[49].What != "cell C50 holds a formula" {
		t.Errorf("%v", err)
	}
}

// A workbook that would unpack to ten gigabytes is refused for what it says of
// itself; one that lies about its size is refused when it is read past that.
func TestWorkbookBombs(t *testing.T) {
	const page = 1 << 20
	zeros := bytes.Repeat([]byte("<!-- -->"), page/8)
	bomb := func(size, stated uint64) []byte {
		var packed bytes.Buffer
		w, err := flate.NewWriter(&packed, flate.BestCompression)
		if err != nil {
			t.Fatal(err)
		}
		sum := crc32.NewIEEE()
		for range size / page {
			w.Write(zeros)
			sum.Write(zeros)
		}
		w.Close()
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for _, p := range bookParts("xl/worksheets/sheet2.xml", "") {
			addPart(t, z, p)
		}
		raw, err := z.CreateRaw(&zip.FileHeader{Name: "xl/worksheets/sheet1.xml", Method: zip.Deflate, CRC32: sum.Sum32(),
			CompressedSize64: uint64(packed.Len()), UncompressedSize64: stated})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := raw.Write(packed.Bytes()); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	for name, tc := range map[string]struct {
		data []byte
		want string
	}{
		"honest":      {bomb(4*page, 10<<30), "visits.xlsx [Tide]: unpacks to more than 512 MB"},
		"lying":       {bomb(64*page, 4096), "visits.xlsx [Tide]: is a damaged workbook"},
		"overflowing": {bomb(4*page, 1<<64-1), "visits.xlsx [Tide]: unpacks to more than 512 MB"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		refused(t, bay(t), Options{}, []File{{"visits.xlsx", bytes.NewReader(tc.data)}}, []string{tc.want})
		runtime.ReadMemStats(&after)
		if used := after.TotalAlloc - before.TotalAlloc; used > 16<<20 {
			t.Errorf("%s: %d MB were taken", name, used>>20)
		}
	}
}

func TestWorkbookTooLarge(t *testing.T) {
	refused(t, bay(t), Options{}, []File{{"visits.xlsx", io.MultiReader(bytes.NewReader(zipStart), io.LimitReader(&endless{}, maxWorkbook))}},
		[]string{"visits.xlsx: is a workbook of more than 64 MB"})
	pictures := archive(t, append(bookParts("xl/worksheets/sheet1.xml", "<worksheet/>"), part{"xl/media/image1.png", strings.Repeat("x", maxOtherParts+1)})...)
	refused(t, bay(t), Options{}, []File{{"visits.xlsx", bytes.NewReader(pictures)}}, []string{"holds more than 64 MB of pictures"})
}

type part struct{ name, content string }

// bookParts are the parts of a workbook with one sheet, Tide, which is to be
// sheet1.xml.
func bookParts(sheet, content string) []part {
	return []part{
		{"xl/workbook.xml", `<workbook xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="Tide" sheetId="1" r:id="rId1"/></sheets></workbook>`},
		{"xl/_rels/workbook.xml.rels", `<Relationships><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>`},
		{sheet, content},
	}
}

func archive(t testing.TB, parts ...part) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, p := range parts {
		addPart(t, z, p)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func addPart(t testing.TB, z *zip.Writer, p part) {
	t.Helper()
	w, err := z.Create(p.name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(w, p.content); err != nil {
		t.Fatal(err)
	}
}
