package sheet

import (
	"bytes"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

func file(name, content string) File { return File{name, strings.NewReader(content)} }

func TestReadWeights(t *testing.T) {
	want := catalog.Weights{60: 12.5, 62: 3, 66: 0}
	for name, content := range map[string]string{
		"plain":                       "note,weight\nC4,12.5\nD4,3\nF#4,0\n",
		"other order, other spelling": "Weight,NOTE\n12.5,B#3\n3,C##4\n0,G♭4\n",
		"semicolons, decimal commas":  "note;weight\nC4;12,5\nD4;3,0\nGb4;0\n",
		"tabs, BOM, old line ends":    "\ufeffnote\tweight\rC4\t12.5\rD4\t3\rF#4\t0\r",
		"CRLF, empty rows, quotes":    "note,weight\r\n\r\n\"C4\",\"12,5\"\r\n,\r\nD4,3e0\r\nF#4,-0\r\n",
		"with the separator first":    "sep=;\nnote;weight\nC4;12.5\nD4;3\nF#4;0",
		"the rest of the header free": "note,weight,\nC4,12.5,\nD4,3,\nF#4,0,\n",
	} {
		if got, err := ReadWeights(file("w.csv", content)); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v, error %v", name, got, err)
		}
	}
}

func TestReadWeightsFromWorkbook(t *testing.T) {
	whole := book(t, "", func(x *excelize.File) {
		rowsOf(t, x, "Sheet1", []any{"note", "weight"}, []any{"C4", 12.5}, []any{"Bb4", 0.1})
	})
	got, err := ReadWeights(File{"w.xlsx", bytes.NewReader(whole)})
	if err != nil || !reflect.DeepEqual(got, catalog.Weights{60: 12.5, 70: 0.1}) {
		t.Errorf("%v, error %v", got, err)
	}
}

func TestWeightsRefused(t *testing.T) {
	for content, words := range map[string]string{
		"":                               "is empty",
		"note,weight\n":                  "no rows|below the header",
		"note\nC4\n":                     "w.csv:1|columns note and weight",
		"C4,3\nD4,5\n":                   "w.csv:1|note,weight",
		"note,weight,weight\nC4,3,4\n":   "weight|twice",
		"note,weight,bar\nC4,3,4\n":      "bar|columns note and weight",
		"note,weight\nC4,-1\n":           "w.csv:2|of C4 is -1, below nought|write 0",
		"note,weight\nC4,NaN\n":          "w.csv:2|finite",
		"note,weight\nC4,inf\n":          "w.csv:2|finite",
		"note,weight\nC4,\n":             "w.csv:2|of C4 is empty",
		"note,weight\nC4,two\n":          `w.csv:2|"two" is not a number|2.5`,
		"note,weight\nC4,12,5\n":         "w.csv:2|decimal comma, as in 12,5",
		"note,weight\nC4,\"1,250\"\n":    "w.csv:2|thousands",
		"note,weight\nC4,2\n\nB#3,4\n":   "w.csv:4|twice, first in line 2",
		"note,weight\nH4,2\n":            `w.csv:2|"H4" is not a note`,
		"note,weight\nC,2\n":             "w.csv:2|is not a note",
		"note,weight\nC8,2\n":            "w.csv:2|no fingering",
		"note,weight\nC4,0\nD4,0\n":      "all nought",
		"note,weight\nC4\n":              "w.csv:2|has 1 cells where the header has 2",
		"note,weight\nC4,\xff\n":         "w.csv:2|not UTF-8",
		"note,weight\nC4,\x00\n":         "not text",
		"\xff\xfen\x00o\x00":             "UTF-16",
		"note,weight\nC4,1e99\n":         "of C4|outside",
		"note,weight\nC4,x\nD4,y\nE4,-2": "3 problems|w.csv:2|w.csv:3|w.csv:4",
		"note,weight\nC4,\"2\n":          "w.csv:2|quot",
		"note,weight\nC4," + strings.Repeat("9", 1_000_000): "longer than",
	} {
		w, err := ReadWeights(file("w.csv", content))
		if err == nil || w != nil || catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%.40q: %v, error %v", content, w, err)
			continue
		}
		text := err.Error()
		for _, word := range strings.Split(words, "|") {
			if !strings.Contains(text, word) {
				t.Errorf("%.40q: error %q lacks %q", content, text, word)
			}
		}
	}
	folder, err := os.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	if _, err := ReadWeights(File{"there", folder}); err == nil || !strings.Contains(err.Error(), "is a folder") {
		t.Errorf("a folder: error %v", err)
	}
}

func TestReadTarget(t *testing.T) {
	got, err := ReadTarget(File{filepath.Join("parts", "choir.csv"), strings.NewReader("note,cents\nE,-13.7\nBb,-31.2\nA#4,3\nC5,\u22122\n")})
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]float64{"E4": -13.7, "E5": -13.7, "Bb3": -31.2, "Bb4": 3, "C5": -2, "C4": 0, "G4": 0} {
		n, err := pitch.ParseNote(name)
		if err != nil {
			t.Fatal(err)
		}
		if c := got.Target(n); c != want {
			t.Errorf("the target of %s is %g, want %g", name, c, want)
		}
	}
	if got.Name != "table choir.csv" {
		t.Errorf("named %q", got.Name)
	}
	for content, words := range map[string]string{
		"note,weight\nC4,3\n":         "note and cents",
		"note,cents\nC4,101\n":        "t.csv:2|cents of C4 are 101|decimal point",
		"note,cents\nC,-100.5\n":      "t.csv:2|outside",
		"note,cents\nBb,3\nA#,4\n":    "t.csv:3|twice, first in line 2",
		"note,cents\nC4,3\nB#3,4\n":   "t.csv:3|twice",
		"note,cents\nC4,NaN\n":        "finite",
		"note,cents\nH,3\n":           "every octave",
		"note,cents\nC9,3\n":          "no fingering",
		"note,cents\n":                "no rows",
		"note,cents\n\"C\" x,3\nD,4x": "t.csv:2|t.csv:3",
	} {
		_, err := ReadTarget(file("t.csv", content))
		if err == nil || catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%q: error %v", content, err)
			continue
		}
		text := err.Error()
		for _, word := range strings.Split(words, "|") {
			if !strings.Contains(text, word) {
				t.Errorf("%q: error %q lacks %q", content, text, word)
			}
		}
	}
}

// Whatever a file holds, it is refused for a reason or gives weights that a
// player can keep and that come back from a gear list.
func FuzzReadWeights(f *testing.F) {
	for _, content := range []string{"note,weight\nC4,12.5\n", "note;weight\nBb4;1,5\n", "note,weight\nC4,\"1", "\ufeffweight\tnote\r1\tC4", "note,weight\nC4,-0\nD4,1e9\n"} {
		f.Add([]byte(content))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		w, err := ReadWeights(File{"w.csv", bytes.NewReader(content)})
		if err != nil {
			if catalog.KindOf(err) != catalog.Invalid || err.Error() == "" {
				t.Fatalf("refused without a reason: %v", err)
			}
			return
		}
		p := catalog.Player{Label: "reed-otter", Weights: w}
		p.Normalize()
		if err := p.Validate(); err != nil {
			t.Fatal(err)
		}
		var back catalog.Player
		if err := weightsField.set(&back, weightsField.get(&p), pointDecimals); err != nil || !reflect.DeepEqual(back.Weights, w) {
			t.Fatalf("%v comes back as %v, error %v", w, back.Weights, err)
		}
		if _, err := ReadTarget(File{"t.csv", bytes.NewReader(bytes.Replace(content, []byte("weight"), []byte("cents"), 1))}); err != nil && catalog.KindOf(err) != catalog.Invalid {
			t.Fatal(err)
		}
	})
}
