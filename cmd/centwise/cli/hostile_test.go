package cli

import (
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"golang.org/x/net/html"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/sqlstore"
)

// Text that tries to be something else: SQL, HTML, SVG, a formula, a command line,
// a format, a flag.
const (
	hostileHorn       = `<script>alert(1)</script>`
	hostileOtherHorn  = `=HYPERLINK("http://pwned.example","A")`
	hostileMouthpiece = `"><img src=x onerror=alert(1)>`
	hostileSecond     = `'; DROP TABLE sessions; --`
	hostileThird      = `@SUM(A1:A9)`
	hostilePlayer     = `+1+cmd|' /C calc'!A0`
	hostileSession    = `</title><svg onload=alert(1)>`
	hostileRest       = `-2 ${HOME} $(touch pwned) %s%n ]]> <iframe src="javascript:alert(1)"> & ` + "\u200f"
)

var hostileLabels = []string{hostileHorn, hostileOtherHorn, hostileMouthpiece, hostileSecond, hostileThird, hostilePlayer, hostileSession}

// hostileCatalog holds such text wherever a catalog holds text.
func hostileCatalog(t *testing.T, path string) {
	t.Helper()
	ctx := context.Background()
	store, err := sqlstore.Open(ctx, path, sqlstore.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	var c catalog.Changes
	for _, label := range []string{hostileHorn, hostileOtherHorn} {
		c.Horns = append(c.Horns, catalog.Horn{ID: catalog.NewID(), Label: label, Key: pitch.KeyBb, Loaner: true, Maker: hostileRest, Model: hostileHorn, Serial: "--force", Owner: hostileRest, Tags: []string{"=tag", "<i>"}})
	}
	for i, label := range []string{hostileMouthpiece, hostileSecond, hostileThird} {
		c.Mouthpieces = append(c.Mouthpieces, catalog.Mouthpiece{ID: catalog.NewID(), Label: label, RimMM: 16 + 0.2*float64(i), Maker: hostileThird, Model: label, Serial: `"` + strconv.Itoa(i), Owner: hostileRest, Stock: []string{"=list", "a, b"}})
	}
	c.Players = []catalog.Player{{ID: catalog.NewID(), Label: hostilePlayer, Tags: []string{"=tag"}}}
	for i, m := range c.Mouthpieces {
		s := catalog.Session{Name: hostileSession + strconv.Itoa(i), Horn: c.Horns[i%2].ID, Mouthpiece: m.ID, Player: c.Players[0].ID,
			Contributor: hostileOtherHorn, Remark: hostileRest + "\n=2+3", Source: hostileRest, Dynamic: "@mf"}
		for j, slot := range pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) {
			s.Readings = append(s.Readings, catalog.Reading{Slot: slot, Repeat: 1, Cents: float64((7*i+5*j)%13) - 6})
		}
		c.Sessions = append(c.Sessions, s)
	}
	if err := errors.Join(store.Apply(ctx, c), store.SetTitle(ctx, hostileHorn)); err != nil {
		t.Fatal(err)
	}
}

// Whatever stands in a catalog comes out harmless: nothing acts on a terminal,
// spreadsheet, browser or program that reads it, and nothing of it is lost.
func TestHostileTextStaysText(t *testing.T) {
	t.Chdir(t.TempDir())
	hostileCatalog(t, "catalog.db")
	if err := os.WriteFile("class.csv", []byte("student,mouthpiece\n\""+hostilePlayer+"\",\"'"+hostileThird+"\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		args  []string
		forms []string
	}{
		{[]string{"horn", "list"}, allForms}, {[]string{"mouthpiece", "list"}, allForms}, {[]string{"player", "list"}, allForms},
		{[]string{"horn", "show", hostileHorn}, noCSV}, {[]string{"mouthpiece", "show", hostileSecond}, noCSV}, {[]string{"player", "show", hostilePlayer}, noCSV},
		{[]string{"session", "list"}, allForms}, {[]string{"session", "show", hostileSession + "1"}, allForms},
		{[]string{"rank", "--horn", hostileHorn}, allForms}, {[]string{"rank", "--matrix"}, allForms}, {[]string{"rank", "--each-horn"}, allForms},
		{[]string{"rank", "--horn", hostileHorn, "--against", hostileThird}, allForms}, {[]string{"rank", "--horn", hostileOtherHorn, "--player", hostilePlayer, "--svg", "rank.svg"}, plainForm},
		{[]string{"predict", hostileHorn, hostileSecond}, allForms}, {[]string{"predict", hostileOtherHorn, hostileMouthpiece, "--chart", "--svg", "predict.svg"}, plainForm},
		{[]string{"adjust", hostileHorn, hostileThird}, noCSV}, {[]string{"next"}, allForms}, {[]string{"fit"}, noCSV},
		{[]string{"catalog", "info"}, noCSV}, {[]string{"catalog", "check"}, allForms},
		{[]string{"export", "sessions"}, plainForm}, {[]string{"export", "gear"}, plainForm}, {[]string{"pool", "export", "--show"}, plainForm},
		{[]string{"roster", "plan", "class.csv"}, allForms}, {[]string{"roster", "loans"}, allForms},
		{[]string{"visit", "plan", "--horn", hostileHorn, "--player", hostilePlayer, "--list", "=list", "--name", hostileSession}, plainForm},
		{[]string{"visit", "show"}, noCSV}, {[]string{"visit", "list"}, allForms},
		{[]string{"report", "--horn", hostileHorn, "--output", "horn.html"}, plainForm}, {[]string{"report", "--mouthpiece", hostileMouthpiece, "--output", "mouthpiece.html"}, plainForm},
		{[]string{"report", "--horn", hostileHorn, "--mouthpiece", hostileSecond, "--player", hostilePlayer, "--output", "setup.html"}, plainForm},
		{[]string{"report", "--visit", hostileSession, "--output", "visit.html"}, plainForm},
		{[]string{"measure", "--sheet", "--horn", hostileHorn, "--mouthpiece", hostileSecond, "--player", hostilePlayer, "--html", "sheet.html"}, plainForm},
		{[]string{"roster", "plan", "class.csv", "--slips", "slips.html"}, plainForm},
	} {
		for _, form := range tc.forms {
			t.Run(tc.args[0]+" "+tc.args[1%len(tc.args)]+form, func(t *testing.T) { hostileRun(t, tc.args, form) })
		}
	}
	for _, pattern := range []string{"*.html", "*.svg"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) < 2 {
			t.Fatalf("%s: %v, %v", pattern, files, err)
		}
		for _, name := range files {
			content, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			harmlessPage(t, name, string(content))
		}
	}
	if _, err := os.Stat("pwned"); err == nil {
		t.Error("a label was run as a command")
	}
}

// Somebody may write into a catalog's file what no command lets in: escape sequences
// that colour, hide or answer on a terminal stay out of all that is printed.
func TestTamperedFileActsOnNoTerminal(t *testing.T) {
	t.Chdir(t.TempDir())
	hostileCatalog(t, "catalog.db")
	tamper(t, "catalog.db", "UPDATE horn SET label = '=' || char(27) || '[2J' || char(8238) || label", "UPDATE horn_revision SET label = char(27) || label, maker = char(155) || maker",
		"UPDATE session SET remark = char(27) || ']0;title' || char(7), contributor = char(13) || contributor")
	for _, args := range [][]string{{"horn", "list"}, {"session", "list"}, {"rank", "--matrix"}, {"catalog", "check"}} {
		for _, form := range allForms {
			hostileRun(t, args, form, exitFailed) // the check says that the file is damaged
		}
	}
	for _, args := range [][]string{{"rank", "--matrix", "--csv"}, {"export", "gear"}, {"export", "sessions"}} {
		s, out, errOut := Test("")
		f := NewFactory(s)
		f.Getenv = func(name string) string { return map[string]string{"CENTWISE_CATALOG": "catalog.db"}[name] }
		if code := Run(context.Background(), f, args); code != exitOK {
			t.Fatalf("%q ended with %d: %s", args, code, errOut)
		}
		harmlessOnTerminal(t, strings.ReplaceAll(out.String(), "\u200f", "")) // which text from right to left needs
	}
}

// tamper changes a database behind the program's back.
func tamper(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			t.Fatal(err)
		}
	}
}

var (
	plainForm = []string{""}
	noCSV     = []string{"", " --json"}
	allForms  = []string{"", " --json", " --csv"}
)

// hostileRun runs a command in a form, which may end in other ways than well, and
// looks at what it printed.
func hostileRun(t *testing.T, args []string, form string, ends ...int) {
	s, out, errOut := Test("")
	s.Style.Terminal = true
	f := NewFactory(s)
	f.Getenv = func(name string) string { return map[string]string{"CENTWISE_CATALOG": "catalog.db"}[name] }
	full := slices.Clone(args)
	if form != "" {
		full = append(full, strings.TrimSpace(form))
	}
	if code := Run(context.Background(), f, full); code != exitOK && code != exitSkipped && !slices.Contains(ends, code) {
		t.Fatalf("%q ended with %d: %s", full, code, errOut)
	}
	harmlessOnTerminal(t, errOut.String())
	switch {
	case form == " --json":
		harmlessJSON(t, out.Bytes())
	case form == " --csv" || args[0] == "export":
		harmlessCSV(t, out.String())
	case args[0] != "pool": // that prints JSON
		harmlessOnTerminal(t, out.String())
	}
}

func harmlessOnTerminal(t *testing.T, text string) {
	t.Helper()
	for i, r := range text {
		if r != '\n' && r != '\t' && (unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r)) {
			t.Errorf("%U at %d of %.300q", r, i, text)
			return
		}
	}
}

func harmlessJSON(t *testing.T, text []byte) {
	t.Helper()
	var v any
	if err := json.Unmarshal(text, &v); err != nil {
		t.Errorf("%v in %.300s", err, text)
	}
}

// harmlessCSV sees that no cell begins a formula, and that cells come in rows of
// one length.
func harmlessCSV(t *testing.T, text string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatalf("%v in %.300s", err, text)
	}
	for _, row := range rows {
		for _, cell := range row {
			if _, err := strconv.ParseFloat(cell, 64); err != nil && cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
				t.Errorf("the cell %q is a formula", cell)
			}
		}
	}
}

// harmlessPage sees that a page or drawing is well formed, runs nothing, and says
// the labels in full.
func harmlessPage(t *testing.T, name, text string) {
	t.Helper()
	if strings.HasSuffix(name, ".svg") {
		d := xml.NewDecoder(strings.NewReader(text))
		for {
			if _, err := d.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
	z := html.NewTokenizer(strings.NewReader(text))
	var said strings.Builder
	for z.Next() != html.ErrorToken {
		token := z.Token()
		if token.Type == html.TextToken {
			said.WriteString(token.Data + " ")
		}
		if slices.Contains([]string{"script", "img", "iframe", "object", "embed", "form", "base"}, token.Data) && token.Type != html.TextToken {
			t.Errorf("%s has an element %s", name, token.Data)
		}
		for _, a := range token.Attr {
			said.WriteString(a.Val + " ")
			if strings.HasPrefix(a.Key, "on") || strings.Contains(strings.ToLower(a.Val), "javascript:") && a.Key == "href" {
				t.Errorf("%s: %s has the attribute %s=%q", name, token.Data, a.Key, a.Val)
			}
		}
	}
	words := strings.Join(strings.Fields(said.String()), " ")
	if !slices.ContainsFunc(hostileLabels, func(label string) bool { return strings.Contains(words, label) }) {
		t.Errorf("%s says none of the labels: %.300s", name, words)
	}
}
