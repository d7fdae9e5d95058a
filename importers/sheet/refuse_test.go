package sheet

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"centwise/catalog"
)

const head = "session,player,horn,mouthpiece,note,cents\n"

// Every bad input names the place and what to do, and nothing is planned.
func TestRefusals(t *testing.T) {
	tests := []struct {
		name, content string
		o             Options
		want          []string // of each problem, in order, parts separated by |
	}{
		{"missing column", "session,horn,mouthpiece,note,cents\na,Alder,Plover 16.2,C4,1\n", Options{},
			[]string{`sheet.csv:1: player is a column that is missing|the header has "session", "horn"`}},
		{"no cents and no notes", "session,player,horn,mouthpiece\na,reed-otter,Alder,Plover 16.2\n", Options{},
			[]string{"cents is a column that is missing", "note is a column that is missing"}},
		{"fingering without partial", "session,player,horn,mouthpiece,fingering,cents\n", Options{}, []string{"partial is a column that is missing"}},
		{"partial without fingering", "session,player,horn,mouthpiece,partial,cents\n", Options{}, []string{"fingering is a column that is missing"}},
		{"unknown column", "session,player,horn,mouthpeice,note,cents\n", Options{},
			[]string{`has a column "mouthpeice", which is not known in a session sheet (did you mean mouthpiece?`, "mouthpiece is a column that is missing"}},
		{"extra column", head[:len(head)-1] + ",frame\na,reed-otter,Alder,Plover 16.2,C4,1,2\n", Options{}, []string{`has a column "frame"|--ignore-extra`}},
		{"column twice", "session,player,horn,mouthpiece,note,cents,Cents\n", Options{}, []string{`cents is there twice, as "cents" and "Cents"`}},
		{"no header", "a,reed-otter,Alder,Plover 16.2\n", Options{}, []string{`sheet.csv:1: begins with "a", "reed-otter"|no header`}},
		{"unknown label", head + "a,reed-otter,Aldr,Plover 16.2,C4,1\nb,reed-otter,Aldr,Plover 16.2,C4,1\n", Options{},
			[]string{`sheet.csv:2: horn "Aldr" is not in the catalog; 2 rows name it: 2, 3 (did you mean "Alder"?|--create`}},
		{"label differs by case", head + "a,reed-otter,alder,Plover 16.2,C4,1\n", Options{}, []string{`horn "alder" differs from "Alder" only by case or spaces (write it the same)`}},
		{"label differs by case, create", head + "a,reed-otter,alder,Plover 16.2,C4,1\n", Options{Create: true}, []string{`horn "alder" differs from "Alder"`}},
		{"label differs by spaces, create", head + "a,reed-otter,Alder,Plover16.2,C4,1\n", Options{Create: true}, []string{`mouthpiece "Plover16.2" differs from "Plover 16.2"`}},
		{"new labels alike", head + "a,reed-otter,Larch,Plover 16.2,C4,1\nb,reed-otter,LARCH,Plover 16.2,C4,1\n", Options{Create: true},
			[]string{`sheet.csv:3: horn "LARCH" differs from "Larch"`}},
		{"note off three valves", head + "a,reed-otter,Alder,Plover 16.2,C3,1\n", Options{}, []string{`sheet.csv:2: note "C3" is off the instrument with 3 valves`}},
		{"note too high", head + "a,reed-otter,Alder,Plover 16.2,G#6,1\n", Options{}, []string{`note "Ab6" is off the instrument`}},
		{"no note", head + "a,reed-otter,Alder,Plover 16.2,H4,1\n", Options{}, []string{`note "H4" is not a note`}},
		{"note empty", head + "a,reed-otter,Alder,Plover 16.2,,1\n", Options{}, []string{`sheet.csv:2: note is empty`}},
		{"cents out of range", head + "a,reed-otter,Alder,Plover 16.2,C4,151\n", Options{}, []string{`cents "151" is outside -150..150 cents for C4 (0/2)|--keep-odd`}},
		{"cents absurd", head + "a,reed-otter,Alder,Plover 16.2,C4,1e5\n", Options{KeepOdd: true}, []string{`cents "1e5" is more than ten octaves for C4`}},
		{"not finite", head + "a,reed-otter,Alder,Plover 16.2,C4,NaN\na,reed-otter,Alder,Plover 16.2,D4,-Inf\na,reed-otter,Alder,Plover 16.2,E4,1e999\n", Options{KeepOdd: true},
			[]string{`sheet.csv:2: cents "NaN" is not a finite number`, `sheet.csv:3: cents "-Inf" is not a finite number`, `sheet.csv:4: cents "1e999" is not a finite number`}},
		{"not a number", head + "a,reed-otter,Alder,Plover 16.2,C4,0x1p3\na,reed-otter,Alder,Plover 16.2,C4,3 cents\na,reed-otter,Alder,Plover 16.2,C4,\n", Options{},
			[]string{`cents "0x1p3" is not a number (write it as in -3.5)`, `cents "3 cents" is not a number`, "cents is empty"}},
		{"decimal comma", head + "a,reed-otter,Alder,Plover 16.2,C4,3,5\na,reed-otter,Alder,Plover 16.2,D4,-12,25\n", Options{},
			[]string{"sheet.csv:2: has 7 cells where the header has 6 (a decimal comma, as in 3,5,", "sheet.csv:3: |as in -12,25,"}},
		{"more cells", head + "a,reed-otter,Alder,Plover 16.2,C4,3,loud\n", Options{}, []string{"sheet.csv:2: has 7 cells where the header has 6 (give each row as many"}},
		{"fewer cells", head + "a,reed-otter,Alder,Plover 16.2,C4\n", Options{}, []string{"sheet.csv:2: has 5 cells where the header has 6"}},
		{"thousands", head + "a,reed-otter,Alder,Plover 16.2,C4,\"1,200\"\n", Options{}, []string{`cents "1,200" could mean thousands or a decimal comma`}},
		{"two horns", head + "a,reed-otter,Alder,Plover 16.2,C4,1\na,reed-otter,Rowan,Plover 16.2,D4,1\n", Options{},
			[]string{`sheet.csv:3: horn "Rowan" contradicts "Alder" in line 2 of the same session "a"`}},
		{"two players", head + "a,reed-otter,Alder,Plover 16.2,C4,1\n\na,blue-kite,Alder,Dunlin 16.6,D4,1\n", Options{},
			[]string{`sheet.csv:4: player "blue-kite" contradicts "reed-otter" in line 2`, `sheet.csv:4: mouthpiece "Dunlin 16.6" contradicts`}},
		{"two dates", "date," + head + "2025-03-01,a,reed-otter,Alder,Plover 16.2,C4,1\n2025-03-02,a,reed-otter,Alder,Plover 16.2,D4,1\n", Options{},
			[]string{`date "2025-03-02" contradicts "2025-03-01" in line 2`}},
		{"repeat twice", "repeat," + head + "1,a,reed-otter,Alder,Plover 16.2,C4,1\n1,a,reed-otter,Alder,Plover 16.2,C4,2\n", Options{},
			[]string{`sheet.csv:3: repeat "1" is there twice for C4 (0/2) in session "a", first in line 2`}},
		{"bad repeat", "repeat," + head + "0,a,reed-otter,Alder,Plover 16.2,C4,1\n1.5,a,reed-otter,Alder,Plover 16.2,C4,2\n10001,a,reed-otter,Alder,Plover 16.2,C4,2\n", Options{},
			[]string{`repeat "0" is not`, `repeat "1.5" is not`, `repeat "10001" is not`}},
		{"note against fingering", "session,player,horn,mouthpiece,note,fingering,partial,cents\na,reed-otter,Alder,Plover 16.2,C4,13,3,1\n", Options{},
			[]string{`note "C4" is not what fingering 13 gives on partial 3: that is D4`}},
		{"fingering gives no such note", "session,player,horn,mouthpiece,note,fingering,cents\na,reed-otter,Alder,Plover 16.2,C4,2,1\n", Options{},
			[]string{`fingering "2" gives no C4 on any partial`}},
		{"partial is not the usual one", "session,player,horn,mouthpiece,note,partial,cents\na,reed-otter,Alder,Plover 16.2,E5,6,1\n", Options{},
			[]string{`partial "6" is not the usual one of E5, which is 5`}},
		{"fourth valve", "session,player,horn,mouthpiece,fingering,partial,cents\na,reed-otter,Alder,Plover 16.2,24,2,1\n", Options{},
			[]string{`fingering "24" needs a fourth valve, which "Alder" has not got`}},
		{"bad fingering and partial", "session,player,horn,mouthpiece,fingering,partial,cents\na,reed-otter,Alder,Plover 16.2,5,2,1\na,reed-otter,Alder,Plover 16.2,1,13,1\na,reed-otter,Alder,Plover 16.2,,2,1\na,reed-otter,Alder,Plover 16.2,1,,1\na,reed-otter,Alder,Plover 16.2,,,1\n", Options{},
			[]string{`fingering "5" is not a fingering`, `partial "13" is not a partial`, "sheet.csv:4: fingering is empty", "sheet.csv:5: partial is empty", "sheet.csv:6: fingering is empty"}},
		{"session empty", head + " ,reed-otter,Alder,Plover 16.2,C4,1\n", Options{}, []string{"sheet.csv:2: session is empty"}},
		{"player empty", head + "a,,Alder,Plover 16.2,C4,1\n", Options{}, []string{`player is empty in every row of the session "a"`}},
		{"sessions alike", head + "a,reed-otter,Alder,Plover 16.2,C4,1\nA,reed-otter,Alder,Plover 16.2,C4,1\n", Options{}, []string{`sheet.csv:3: session "A" differs only by case from the session "a"`}},
		{"shank", head + "a,reed-otter,Alder,Turnstone 16.8,C4,1\n", Options{}, []string{`mouthpiece "Turnstone 16.8"|flugelhorn shank, which does not fit the trumpet receiver|adapter`}},
		{"traits", "date,a4_hz,temperature_c,method,adapter," + head + "31.3.2025,340,warm,ear,perhaps,a,reed-otter,Alder,Plover 16.2,C4,1\n", Options{},
			[]string{`date "31.3.2025" is not a date (write year, month and day, as in 2025-03-31`, `temperature_c "warm" is not a number`, `adapter "perhaps" is neither yes nor no`}},
		{"traits out of range", "a4_hz,temperature_c,method," + head + "340,70,ear,a,reed-otter,Alder,Plover 16.2,C4,1\n", Options{},
			[]string{`a4_hz "340" is 340, outside 380..500 Hz`, `temperature_c "70"|Fahrenheit`, `method "ear"|tuner, recording, impedance`}},
		{"cell without a column name", "session,player,horn,mouthpiece,note,cents,\na,reed-otter,Alder,Plover 16.2,C4,1,\nb,reed-otter,Alder,Plover 16.2,C4,1,x\n", Options{},
			[]string{`sheet.csv:3: "x" stands in column 7, which has no name`}},
		{"quotes", head + "a,reed-otter,Al\"der,Plover 16.2,C4,1\nb,\"reed\" otter,Alder,Plover 16.2,C4,1\n", Options{},
			[]string{"sheet.csv:2: a quotation mark at place 16", "sheet.csv:3: a quoted cell is not closed"}},
		{"quote not closed", head + "a,reed-otter,Alder,Plover 16.2,C4,1\nb,\"reed-otter,Alder,Plover 16.2,C4,1\nc,reed-otter,Alder,Plover 16.2,C4,1\n", Options{},
			[]string{"sheet.csv:3: a quoted cell is not closed"}},
		{"line after quoted line ends", head + "a,reed-otter,\"Lar\nch\",Plover 16.2,C4,1\nb,reed-otter,Alder,Plover 16.2,C4,x\n", Options{Create: true},
			[]string{`sheet.csv:4: cents "x" is not a number`}},
		{"cell after a quoted line end", "remark," + head + "\"one\ntwo\",a,reed-otter,Alder,Plover 16.2,C4,x\n", Options{}, []string{`sheet.csv:3: cents "x"`}},
		{"not UTF-8", head + "a,reed-otter,Alder,Plover 16.2,C4,1\nb,reed-otter,B\xe9,Plover 16.2,C4,1\n", Options{}, []string{"sheet.csv:3: is not UTF-8 text: byte E9 at place 15"}},
		{"cut off character", head + "a,reed-otter,Alder,Plover 16.2,C4,1\xc3", Options{}, []string{"sheet.csv:2: is not UTF-8 text: byte C3 at place 36"}},
		{"UTF-16", "\xff\xfes\x00e\x00", Options{}, []string{"sheet.csv:1: is UTF-16 text"}},
		{"zero bytes", head + "a,reed-otter,Alder,Plover 16.2,C4,1\x00\n", Options{}, []string{"sheet.csv:2: holds a zero byte"}},
		{"binary", "\x7fELF\x02\x01\x01\x00\x00\xff\xfe", Options{}, []string{"sheet.csv:1: holds a zero byte"}},
		{"empty file", "", Options{}, []string{"sheet.csv: is empty"}},
		{"blank file", "\n \n\t\n", Options{}, []string{"sheet.csv: is empty"}},
		{"empty cells only", ",,\n,,\n", Options{}, []string{"sheet.csv: is empty"}},
		{"header only", head, Options{}, []string{"sheet.csv:1: is a header without rows"}},
		{"sheet of a text file", head, Options{Sheet: "Visits"}, []string{`sheet.csv: is no workbook, so it has no sheet "Visits"`}},
		{"wide: note off the instrument", "session,player,horn,mouthpiece,C3,C4\na,reed-otter,Alder,Plover 16.2,1,1\n", Options{}, []string{"sheet.csv:1: C3 is off the instrument"}},
		{"wide: four-valve note on three", "session,player,horn,mouthpiece,F3,C4\na,reed-otter,Alder,Plover 16.2,1,1\n", Options{}, []string{`sheet.csv:2: F3 "1" is a reading off the instrument with 3 valves`}},
		{"wide: same note twice", "session,player,horn,mouthpiece,F#4,Gb4,12/4,A4\n", Options{}, []string{`Gb4 is the same as the column "F#4"`, `A4 is the same as the column "12/4"`}},
		{"wide: session twice", "session,player,horn,mouthpiece,C4\na,reed-otter,Alder,Plover 16.2,1\nb,reed-otter,Alder,Plover 16.2,1\na,reed-otter,Alder,Plover 16.2,1\n", Options{},
			[]string{`sheet.csv:4: session "a" has a row already: line 2`}},
		{"wide: no readings", "session,player,horn,mouthpiece,C4\na,reed-otter,Alder,Plover 16.2,\n", Options{}, []string{`session "a" has no readings`}},
		{"wide: bad readings", "session,player,horn,mouthpiece,C4,D4\na,reed-otter,Alder,Plover 16.2,1 x,-151/3\n", Options{},
			[]string{`sheet.csv:2: C4 "x" is not a number`, `sheet.csv:2: D4 "-151" is outside -150..150 cents for D4`}},
		{"wide: reading's column", "session,player,horn,mouthpiece,repeat,C4\n", Options{}, []string{`has a column "repeat", which is not known in a session sheet with a column a note`}},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			refused(t, bay(t), tc.o, []File{text("sheet.csv", tc.content)}, tc.want)
		})
	}
}

// refused checks that an import is refused with just these problems, whose
// texts hold the wanted parts, and that nothing changes.
func refused(t *testing.T, m *memory, o Options, files []File, want []string) {
	t.Helper()
	before := fmt.Sprint(*m)
	_, err := m.load(o, files...)
	var ps *Problems
	if !errors.As(err, &ps) {
		t.Fatalf("want problems, got %v", err)
	}
	if catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("kind of the error is %v, want Invalid", catalog.KindOf(err))
	}
	if fmt.Sprint(*m) != before {
		t.Error("the catalog changed")
	}
	if ps.Count != len(want) || len(ps.List) != len(want) {
		t.Errorf("%d problems, want %d:\n%v", ps.Count, len(want), err)
	}
	for i, w := range want {
		if i >= len(ps.List) {
			break
		}
		p := ps.List[i]
		for _, part := range strings.Split(w, "|") {
			if !strings.Contains(p.String(), part) {
				t.Errorf("problem %d is\n  %s\nwhich does not say\n  %s", i+1, p, part)
			}
		}
		if p.Hint == "" {
			t.Errorf("problem %d says nothing about what to do: %s", i+1, p)
		}
	}
}
