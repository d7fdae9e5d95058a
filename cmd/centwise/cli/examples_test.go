package cli

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
)

// Examples of help texts are run as they stand, each in a copy of a folder where
// the invented orchestra's catalog and the files lie that they name.

// prepared makes that folder.
var prepared = []string{
	"centwise demo --keep band.db > tour.txt",
	"centwise import home.csv",
	"centwise player edit amber-fox --tags beginners",
	"centwise player edit salt-crab --tags beginners",
	"centwise fit",
	"centwise export sessions --output sessions.csv",
	"cp sessions.csv sessions.xlsx", // a file's content says what it is
	"centwise export gear --output gear.csv",
	"centwise aircolumn bore > bore.csv",
	"centwise aircolumn bore > alder.csv",
	`centwise listen Alder "Plover 16.2" --output scale.wav`,
	`centwise listen Alder "Plover 16.2" --output up.wav`,
	`centwise listen Alder "Plover 16.2" --output down.wav`,
	"centwise pool export north.jsonl.gz --contributor lamp-keeper",
	"centwise pool export south.jsonl.gz --contributor tide-table",
	"centwise roster plan class.csv --csv > plan.csv",
	"cp band.db planned.db",
	"centwise visit plan --player reed-otter --horn Alder --stock shop.csv --notes 31 --catalog planned.db",
	`centwise visit record --try A --read "G5 -3 -4" --catalog planned.db`,
}

// broughtFiles are files that somebody brings along.
var broughtFiles = map[string]string{
	"home.csv":     "session,contributor,player,horn,mouthpiece,C4,E4,G4,C5,D5,E5\nhome-1,lamp-keeper,reed-otter,Alder,Plover 16.2,-4,2,3,0,-2,-6\n",
	"class.csv":    "student,mouthpiece,horn\nreed-otter,Plover 16.2,Alder\nblue-kite,Knot 16.4,Hazel\nsalt-crab,Dunlin 16.6,Elm\n",
	"shop.csv":     "kind,label\nmouthpiece,Godwit 16.5\nmouthpiece,Sanderling 16.3\nmouthpiece,Stilt 16.7\n",
	"pairs.csv":    "horn,mouthpiece\nAlder,Plover 16.2\n",
	"readings.txt": strings.Repeat("-3\n", 93),
}

// copiedFiles are test data under the names that examples give them.
var copiedFiles = map[string]string{
	"march.musicxml": "score/lantern-walk.musicxml", "march.mid": "score/lantern-walk.mid",
	"open.csv": "impedance/open.csv", "v1.csv": "impedance/valve1.csv", "v2.csv": "impedance/valve2.txt",
	"v1.txt": "impedance/valve1.csv", "again.txt": "impedance/valve1.csv",
	"curves.csv": "impedance/curves.csv", "open-again.csv": "impedance/open-again.csv", "valve1.csv": "impedance/valve1.csv", "valve2.txt": "impedance/valve2.txt", "valves12.dat": "impedance/valves12.dat",
}

// before is what else has to be done before examples that begin in some way.
var before = []struct {
	examples string
	lines    []string
}{
	{"centwise export", []string{"rm sessions.csv", "rm gear.csv"}},
	{"centwise pool merge lantern-bay", []string{"centwise pool export lantern-bay.jsonl.gz"}},
	{"centwise player edit reed-otter --weights", []string{"centwise part march.mid 1 --save march.csv"}},
	{"centwise man pages", []string{"mkdir pages"}},
	{"centwise catalog info --catalog catalog-", []string{"centwise catalog backup catalog-2026-11-25.db"}},
	{"centwise rank --catalog lantern-bay.db", []string{"centwise catalog backup lantern-bay.db"}},
	{"centwise horn add Alder", []string{"centwise horn edit Alder --label Oak"}},
	{"centwise horn add Rowan", []string{"centwise horn edit Rowan --label Oak"}},
	{"centwise mouthpiece add", []string{`centwise mouthpiece edit "Plover 16.2" --label Tern`, `centwise mouthpiece edit "Dunlin 16.6" --label Gull`}},
	{"centwise player add", []string{"centwise player edit reed-otter --label old-otter", "centwise player edit blue-kite --label old-kite"}},
	{"centwise measure --resume", []string{unfinished}},
	{"centwise roster return", []string{"centwise roster commit plan.csv", "centwise roster commit --student amber-fox --horn Elm"}},
	{"centwise session drafts discard", []string{unfinished}},
	{"centwise pool link horn", []string{`centwise horn add "Old Alder" --key Bb`}},
	{"centwise pool unlink horn", []string{`centwise horn add "Old Alder" --key Bb`, `centwise pool link horn "Old Alder" Alder`}},
	{"centwise pool link mouthpiece-design", twoSpellings},
	{"centwise pool unlink mouthpiece-design", append(twoSpellings, `centwise pool link mouthpiece-design "Northlmap Plover" "Northlamp Plover"`)},
	{"centwise pool token revoke --contributor", []string{"centwise pool token add reed-otter"}},
	{"centwise visit record", planned}, {"centwise visit result", planned}, {"centwise visit show", planned}, {"centwise report --visit", planned},
	{"centwise visit discard", []string{"cp planned.db band.db", "centwise visit plan --player reed-otter --horn Alder --stock shop.csv --name harbour-shop"}},
}

const unfinished = `- centwise measure --horn Alder --mouthpiece "Plover 16.2" --player reed-otter`

var twoSpellings = []string{
	"centwise mouthpiece add Tern --maker Northlmap --model Plover --rim-mm 16.2",
	"centwise mouthpiece add Gull --maker Northlamp --model Plover --rim-mm 16.2",
}

var planned = []string{"cp planned.db band.db"}

// unattended are examples that need somebody who types, or agrees.
var unattended = map[string]int{
	"centwise measure": exitUsage,
	`centwise import recording scale.wav --horn Alder --mouthpiece "Plover 16.2" --player reed-otter`:     exitUsage,
	`centwise measure --horn Alder --mouthpiece "Plover 16.2" --player reed-otter --a4-hz 442 --rounds 2`: exitFailed,
	"centwise measure --resume":                                  exitFailed,
	"centwise session drafts discard 01KB8Z3J6V0M5T9Q4X2R7C1NWD": exitFailed, // every id is another
	"centwise pool token revoke 01KQ3V5T8Y2M4N6P7R9S1T3V5W":      exitFailed,
	"centwise visit record":                                      exitUsage,
}

func TestExamplesRun(t *testing.T) {
	stage := prepare(t)
	done := map[string]bool{} // several commands have the same examples
	walk(newRootCmd(closedFactory(t)), func(cmd *cobra.Command) {
		for _, line := range strings.Split(cmd.Example, "\n") {
			line = strings.TrimSpace(line)
			if done[line] || strings.Contains(line, "://") || strings.HasPrefix(line, "centwise pool serve") { // need a server, or are one
				continue
			}
			done[line] = true
			t.Run(line, func(t *testing.T) {
				folder := t.TempDir()
				if err := os.CopyFS(folder, os.DirFS(stage)); err != nil {
					t.Fatal(err)
				}
				t.Chdir(folder)
				for _, b := range before {
					if strings.HasPrefix(line, b.examples) {
						runLines(t, b.lines)
					}
				}
				runLine(t, line, unattended[line])
			})
		}
	})
}

// prepare makes the folder that every example gets a copy of.
func prepare(t *testing.T) string {
	t.Helper()
	stage := t.TempDir()
	data, err := filepath.Abs("../../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	for name, from := range copiedFiles {
		content, err := os.ReadFile(filepath.Join(data, from))
		if err != nil {
			t.Fatal(err)
		}
		broughtFiles[name] = string(content)
	}
	for name, content := range broughtFiles {
		if err := os.WriteFile(filepath.Join(stage, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(stage)
	runLines(t, prepared)
	return stage
}

// runLines runs what must be done before: lines of centwise that end well, or not
// where a "-" stands before them; rm, mkdir and cp.
func runLines(t *testing.T, lines []string) {
	t.Helper()
	for _, line := range lines {
		verb, rest, _ := strings.Cut(line, " ")
		var err error
		switch verb {
		case "rm":
			err = os.Remove(rest)
		case "cp":
			from, to, _ := strings.Cut(rest, " ")
			var content []byte
			if content, err = os.ReadFile(from); err == nil {
				err = os.WriteFile(to, content, 0o644)
			}
		case "mkdir":
			err = os.Mkdir(rest, 0o755)
		case "-":
			runLine(t, rest, exitFailed)
		default:
			runLine(t, line, exitOK)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// runLine runs a command line with its redirections in the present folder, whose
// band.db is the catalog.
func runLine(t *testing.T, line string, want int) {
	t.Helper()
	s, out, errOut := Test("")
	if _, from, ok := strings.Cut(line, " < "); ok {
		in, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		s.In = bytes.NewReader(in)
	}
	home, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	f := NewFactory(s)
	f.Now = func() time.Time { return time.Date(2026, 11, 25, 19, 30, 0, 0, time.UTC) }
	f.Getenv = func(name string) string { return map[string]string{"CENTWISE_CATALOG": "band.db", "HOME": home}[name] }
	words := shellWords(line)[1:]
	for i, w := range words {
		if rest, ok := strings.CutPrefix(w, "~/"); ok {
			words[i] = rest
		}
	}
	if code := Run(context.Background(), f, words); code != want {
		t.Fatalf("%s\nended with %d, want %d:\n%s", line, code, want, errOut)
	}
	if _, to, ok := strings.Cut(line, " > "); ok && !strings.HasPrefix(to, "~") {
		if err := os.WriteFile(to, out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
