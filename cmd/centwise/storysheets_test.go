package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/xuri/excelize/v2"
)

// write FILE TEXT writes text with the escapes of a Go string: \r, \xff.
func write(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: write FILE TEXT")
	}
	text, err := strconv.Unquote(`"` + args[1] + `"`)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(text), 0o644))
}

// workbook FILE CSV [formula=CELL] [merge=CELL:CELL] [password=WORD] [sheet=NAME]
// makes a workbook of a CSV file: numbers as numbers, and what is asked for.
func workbook(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: workbook FILE CSV [formula=CELL] [merge=CELL:CELL] [password=WORD] [sheet=NAME]")
	}
	rows, err := csv.NewReader(strings.NewReader(ts.ReadFile(args[1]))).ReadAll()
	ts.Check(err)
	f := excelize.NewFile()
	defer f.Close()
	sheet, save := "Sheet1", excelize.Options{}
	for _, arg := range args[2:] {
		if name, ok := strings.CutPrefix(arg, "sheet="); ok {
			_, err := f.NewSheet(name)
			ts.Check(err)
			sheet = name
		}
	}
	for i, row := range rows {
		for j, text := range row {
			cell, err := excelize.CoordinatesToCellName(j+1, i+1)
			ts.Check(err)
			var value any = text
			if number, err := strconv.ParseFloat(text, 64); err == nil {
				value = number
			}
			ts.Check(f.SetCellValue(sheet, cell, value))
		}
	}
	for _, arg := range args[2:] {
		name, value, _ := strings.Cut(arg, "=")
		switch name {
		case "formula":
			ts.Check(f.SetCellFormula(sheet, value, "1+2"))
		case "merge":
			from, to, _ := strings.Cut(value, ":")
			ts.Check(f.MergeCell(sheet, from, to))
		case "password":
			save.Password = value
		case "sheet":
		default:
			ts.Fatalf("workbook: unknown %s", arg)
		}
	}
	ts.Check(f.SaveAs(ts.MkAbs(args[0]), save))
}

// json FILE MEMBER[=VALUE]... checks members of a JSON object; a MEMBER is a
// path of names and numbers with dots between, and len is how many there are.
func jsonMembers(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: json FILE MEMBER[=VALUE]...")
	}
	decoder := json.NewDecoder(strings.NewReader(ts.ReadFile(args[0])))
	decoder.UseNumber()
	var root any
	ts.Check(decoder.Decode(&root))
	for _, arg := range args[1:] {
		path, want, compare := strings.Cut(arg, "=")
		got := root
		for _, step := range strings.Split(path, ".") {
			var ok bool
			if got, ok = member(got, step); !ok {
				ts.Fatalf("no member %s in %s", path, ts.ReadFile(args[0]))
			}
		}
		if text := fmt.Sprint(got); compare && text != want {
			ts.Fatalf("%s is %s, want %s", path, text, want)
		}
	}
}

func member(of any, step string) (any, bool) {
	switch v := of.(type) {
	case map[string]any:
		m, ok := v[step]
		return m, ok
	case []any:
		if step == "len" {
			return len(v), true
		}
		if i, err := strconv.Atoi(step); err == nil && i < len(v) {
			return v[i], true
		}
	}
	return nil, false
}

// refuses ARGS... runs centwise import, which must end with exit code 1, print
// no data, say what to do about every problem, and leave the catalog as it was.
func refuses(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: refuses FILE...")
	}
	before := catalogInfo(ts)
	exits(ts, false, append([]string{"1", "centwise", "import"}, args...))
	if out := ts.ReadFile("stdout"); out != "" {
		ts.Fatalf("it printed data: %s", out)
	}
	said := ts.ReadFile("stderr")
	if !strings.Contains(said, "Try: ") && !strings.Contains(said, " (") {
		ts.Fatalf("it does not say what to do: %s", said)
	}
	if after := catalogInfo(ts); after != before {
		ts.Fatalf("the catalog changed from\n%sto\n%s", before, after)
	}
}

// catalogInfo is what the catalog holds, or that there is none.
func catalogInfo(ts *testscript.TestScript) string {
	cmd := exec.Command("centwise", "catalog", "info", "--json")
	for _, name := range []string{"PATH", "HOME", "XDG_DATA_HOME", "CENTWISE_CATALOG", "TMPDIR"} {
		cmd.Env = append(cmd.Env, name+"="+ts.Getenv(name))
	}
	cmd.Dir = ts.MkAbs(".")
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	cmd.Run() // without a catalog it says so
	var lines []string
	for line := range strings.Lines(out.String()) {
		if !strings.Contains(line, `"bytes"`) { // room, not content
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "")
}
