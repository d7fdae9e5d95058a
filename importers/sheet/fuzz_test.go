package sheet

import (
	"archive/zip"
	"bytes"
	"context"
	"io"
	"testing"

	"github.com/xuri/excelize/v2"
)

// Whatever a file holds, reading it does not crash; what is accepted is accepted
// by the catalog, and comes back the same after export and import.
func FuzzImport(f *testing.F) {
	f.Add([]byte(head+"a,reed-otter,Alder,Plover 16.2,C4,-3.5\n"), uint8(1))
	f.Add([]byte("\ufeffsession;player;horn;mouthpiece;C4;13/3\r\na;reed-otter;Alder;Plover 16.2;1,5 2/3;-4\r\n"), uint8(7))
	f.Add([]byte("kind\tlabel\ttags\trim_mm\nhorn\tAlder\t\"a;b\\,c\"\t\nmouthpiece\t'=P\t\t16,2\nplayer\tx\t\t\n"), uint8(0))
	f.Add([]byte("session,method,adapter,date,remark,player,horn,mouthpiece,fingering,partial,cents\ra,impedance,yes,2025-03-01,\"x\n\"\"y\"\"\",,A,B,0,2,900\r"), uint8(5))
	f.Add([]byte("PK\x03\x04"), uint8(0))
	f.Add(append([]byte{}, oleStart...), uint8(0))
	f.Fuzz(func(t *testing.T, content []byte, flags uint8) {
		o := Options{Create: flags&1 != 0, IgnoreExtra: flags&2 != 0, KeepOdd: flags&4 != 0}
		roundTrip(t, o, File{"sheet.csv", bytes.NewReader(content)})
	})
}

// The same for the rows of a workbook.
func FuzzWorkbook(f *testing.F) {
	whole := book(f, "", func(x *excelize.File) {
		rowsOf(f, x, "Sheet1", bookHead[:7], []any{"a", "reed-otter", "Alder", "Plover 16.2", 13, 3, -13.7}, []any{"a", "", "", "", 0, 2, "4,5"})
	})
	f.Add(sheetXML(f, whole))
	f.Add([]byte(`<worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>kind</t></is></c><c t="str"><v>label</v></c></row><row><c t="inlineStr"><is><r><t>horn</t></r></is></c><c><v>1.50000000000000001</v></c></row></sheetData></worksheet>`))
	f.Add([]byte(`<x:worksheet xmlns:x="u"><x:sheetData><x:row r="3"><x:c r="B3" t="s"><x:v>0</x:v></x:c><x:c r="C3" t="b"><x:v>1</x:v></x:c></x:row></x:sheetData></x:worksheet>`))
	f.Fuzz(func(t *testing.T, xml []byte) {
		roundTrip(t, Options{Create: true, IgnoreExtra: true, KeepOdd: true}, File{"visits.xlsx", bytes.NewReader(withSheet(t, whole, xml))})
	})
}

func roundTrip(t *testing.T, o Options, file File) {
	m := &memory{}
	have, err := look(context.Background(), m)
	if err != nil {
		t.Fatal(err)
	}
	changes, report, err := Plan(context.Background(), have, []File{file}, o)
	if err != nil {
		if ps, ok := err.(*Problems); !ok || ps.Count == 0 || len(ps.List) == 0 || err.Error() == "" {
			t.Fatalf("refused without a reason: %v", err)
		}
		return
	}
	if err := m.apply(changes); err != nil {
		t.Fatalf("the catalog does not accept what the import does: %v", err)
	}
	if len(m.sessions) != report.Sessions || len(m.horns) != len(report.Horns) {
		t.Fatalf("report %+v of a catalog with %d sessions and %d horns", *report, len(m.sessions), len(m.horns))
	}
	gear, sessions := m.exported(t)
	files := []File{{"gear.csv", bytes.NewReader(gear)}}
	if report.Sessions > 0 {
		files = append(files, File{"sessions.csv", bytes.NewReader(sessions)})
	}
	again := &memory{}
	if _, err := again.load(Options{KeepOdd: true}, files...); err != nil {
		t.Fatalf("what was exported is refused: %v\n%s\n%s", err, gear, sessions)
	}
	if again.digest() != m.digest() {
		t.Fatalf("imported again\n%+v\nbut was\n%+v\n%s\n%s", *again, *m, gear, sessions)
	}
}

const firstSheet = "xl/worksheets/sheet1.xml"

// sheetXML is the first sheet of a workbook, withSheet a copy of the workbook
// with another.
func sheetXML(t testing.TB, workbook []byte) (out []byte) {
	eachPart(t, workbook, func(name string, content []byte) {
		if name == firstSheet {
			out = content
		}
	})
	return out
}

func withSheet(t testing.TB, workbook, xml []byte) []byte {
	var parts []part
	eachPart(t, workbook, func(name string, content []byte) {
		if name == firstSheet {
			content = xml
		}
		parts = append(parts, part{name, string(content)})
	})
	return archive(t, parts...)
}

func eachPart(t testing.TB, workbook []byte, use func(name string, content []byte)) {
	z, err := zip.NewReader(bytes.NewReader(workbook), int64(len(workbook)))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		content, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		use(f.Name, content)
	}
}
