package sheet

import (
	"reflect"
	"strings"
	"testing"
)

func readClass(text string, extra bool) ([]ClassRow, error) {
	return ReadClass(File{Name: "class.csv", Content: strings.NewReader(text)}, extra)
}

func TestReadClass(t *testing.T) {
	got, err := readClass("Student;Mouthpiece;horn;key;instrument;keep;never;part;part name;low;high;bore_max_mm;keep_mouthpiece;name\n"+
		" reed-otter ;Plover 16.2;Hazel;eb;Cornet;yes;\"Elm, Larch\";march.mid;2;G3;A5;11,7;yes;R. Sedge\n"+
		"blue-kite;;;;;Rowan;;;;;;;no;\n\n", false)
	if err != nil {
		t.Fatal(err)
	}
	want := []ClassRow{
		{File: "class.csv", Line: 2, Student: "reed-otter", Name: "R. Sedge", Key: "Eb", Instrument: "cornet", Mouthpiece: "Plover 16.2", Horn: "Hazel", KeepNow: true,
			Never: []string{"Elm", "Larch"}, Part: "march.mid", PartName: "2", TopBore: 11.7, KeepOwn: true, RangeLow: 55, RangeHigh: 81},
		{File: "class.csv", Line: 3, Student: "blue-kite", Keep: "Rowan"},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

func TestReadClassRefuses(t *testing.T) {
	for name, tc := range map[string]struct {
		text  string
		words []string
	}{
		"empty":           {"", []string{"class.csv", "is empty"}},
		"no rows":         {"student,horn\n", []string{"has no rows"}},
		"no student":      {"horn,key\nHazel,Bb\n", []string{"student is a column that is missing"}},
		"unknown column":  {"student,mothpiece\na,b\n", []string{`"mothpiece"`, "did you mean mouthpiece?", "--ignore-extra"}},
		"column twice":    {"student,horn,Horn\na,b,c\n", []string{"horn is there twice"}},
		"empty student":   {"student,horn\n,Hazel\n", []string{"class.csv:2: student is empty"}},
		"student twice":   {"student\na\nA\n", []string{"class.csv:3", "is there twice, first in line 2"}},
		"bad cells":       {"student,key,low,bore_min_mm,keep_mouthpiece,instrument\na,H,X9,wide,perhaps,tuba\n", []string{"5 problems", "not a key", "not a note", "not a number", "neither yes nor no", "not an instrument"}},
		"range reversed":  {"student,low,high\na,C5,C4\n", []string{"lies above"}},
		"bore reversed":   {"student,bore_min_mm,bore_max_mm\na,12,11\n", []string{"more than the greatest"}},
		"below nought":    {"student,bore_min_mm\na,-1\n", []string{"below nought"}},
		"too many cells":  {"student,horn\na,b,c\n", []string{"has 3 cells where the header has 2"}},
		"unnamed column":  {"student,\na,b\n", []string{"has no name"}},
		"unclosed quotes": {"student,horn\na,\"b\n", []string{"quoted cell is not closed"}},
	} {
		_, err := readClass(tc.text, false)
		if err == nil {
			t.Errorf("%s: no error", name)
			continue
		}
		for _, w := range tc.words {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q does not say %q", name, err, w)
			}
		}
	}
	if rows, err := readClass("student,hobby,\na,chess,x\n", true); err != nil || len(rows) != 1 {
		t.Errorf("extra columns: %v, %v", rows, err)
	}
}

func TestReadLoans(t *testing.T) {
	read := func(text string) ([]LoanRow, error) {
		return ReadLoans(File{Name: "plan.csv", Content: strings.NewReader(text)})
	}
	got, err := read("student,horn,error_cents,mouthpiece,own_mouthpiece\nreed-otter,Hazel,3.1,Plover 16.2,yes\nblue-kite,'=Elm,3,,\nmoss-heron,,,Knot 16.4,false\n")
	want := []LoanRow{{2, "reed-otter", "Hazel", "Plover 16.2", true}, {3, "blue-kite", "=Elm", "", false}, {4, "moss-heron", "", "Knot 16.4", false}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v", got, err)
	}
	for text, words := range map[string]string{
		"student\na\n":                                 "horn is a column that is missing",
		"student,horn\n,Elm\n":                         "student is empty",
		"student,horn\na,Elm\na,Elm\n":                 "is there twice, first in line 2",
		"student,horn,own_mouthpiece\na,Elm,perhaps\n": "neither yes nor no",
	} {
		if _, err := read(text); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// Whatever the file, reading it gives rows with students or an error that says
// where, and never a panic.
func FuzzReadClass(f *testing.F) {
	f.Add("student,horn,key\nreed-otter,Hazel,Bb\n")
	f.Add("student;never;bore_max_mm\na;\"b, c\\, d\";11,5\n")
	f.Add("\ufeffsep=;\nstudent\n\"a\n")
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := readClass(text, true)
		if err != nil {
			if !strings.Contains(err.Error(), "class.csv") {
				t.Errorf("error %q does not say where", err)
			}
			return
		}
		for _, r := range rows {
			if r.Student == "" || r.Line < 1 || r.TopBore < 0 {
				t.Errorf("%+v", r)
			}
		}
	})
}
