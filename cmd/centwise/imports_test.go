package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// mayImport says which packages of ours the packages under a folder may import;
// the longest folder that fits counts. Imports point one way: cmd -> importers,
// match -> catalog -> catalog/pitch.
var mayImport = map[string][]string{
	"cmd/centwise":          {"cmd/centwise", "importers", "match", "catalog"},
	"cmd/centwise/form":     {"cmd/centwise/form", "cmd/centwise/show"},
	"cmd/centwise/show":     {"match", "catalog"},
	"cmd/centwise/scenario": {"catalog"},
	"cmd/speedtable":        {"match", "catalog"},
	"cmd/poolload":          {"cmd/centwise/wire", "match", "catalog"},
	"cmd/centwise/wire":     {"catalog"},
	"cmd/centwise/remote":   {"cmd/centwise/wire", "catalog"},
	"cmd/centwise/server":   {"cmd/centwise/wire", "cmd/centwise/show", "cmd/centwise/server", "match", "catalog"},
	"importers":             {"importers", "catalog"},
	"match":                 {"match", "catalog"},
	"match/tuning":          {"catalog"},
	"match/aircolumn":       {"catalog"},
	"match/fit":             {"match/fit", "match/aircolumn", "catalog"},
	"catalog":               {"catalog/pitch"},
	"catalog/pitch":         {},
	"catalog/sqlstore":      {"catalog"},
	"catalog/storetest":     {"catalog"},
	"catalog/pool":          {"catalog"},
}

// Only catalog/sqlstore knows databases: nobody else may import a driver, nor
// the store itself below cmd.
var databases = []string{"database/sql", "modernc.org/sqlite", "github.com/jackc/pgx/v5", "github.com/pressly/goose/v3", "centwise/catalog/sqlstore"}

var mayUseDatabases = []string{"catalog/sqlstore", "catalog/sqlstore/pgtest", "cmd/centwise/cli"}

// Names that say nothing about what is inside.
var emptyNames = []string{"util", "utils", "common", "helper", "helpers", "misc", "shared", "lib"}

func TestImportsPointOneWay(t *testing.T) {
	seen := 0
	walkGo(t, func(folder, name, imported string) {
		seen++
		if slices.ContainsFunc(databases, func(root string) bool { return under(imported, root) }) && !slices.Contains(mayUseDatabases, folder) {
			t.Errorf("%s imports %s, which only these may: %s", name, imported, strings.Join(mayUseDatabases, ", "))
		}
		ours, ok := strings.CutPrefix(imported, "centwise/")
		if !ok {
			return
		}
		if allowed := allowedIn(folder); !slices.ContainsFunc(allowed, func(root string) bool { return under(ours, root) }) {
			t.Errorf("%s imports %s; %s may import only %s", name, ours, folder, strings.Join(allowed, ", "))
		}
	})
	if seen < 100 {
		t.Fatalf("only %d imports found: the walk missed the code", seen)
	}
}

func TestPackageNamesSayWhatIsInside(t *testing.T) {
	folders := map[string]bool{}
	walkGo(t, func(folder, _, _ string) { folders[folder] = true })
	for folder := range folders {
		if slices.Contains(emptyNames, path.Base(folder)) {
			t.Errorf("%s: name the package after what is inside", folder)
		}
	}
}

// The rules themselves: a back arrow is seen as one.
func TestRulesSeeBackArrows(t *testing.T) {
	for _, tc := range []struct {
		folder, imported string
		want             bool
	}{
		{"match", "catalog", true}, {"match", "match/fit", true}, {"match", "importers/sheet", false},
		{"importers/sheet", "match", false}, {"importers/sheet", "catalog/pitch", true},
		{"catalog", "match", false}, {"catalog", "catalog/pitch", true}, {"catalog", "catalog/sqlstore", false},
		{"catalog/pitch", "catalog", false}, {"match/fit", "match", false}, {"cmd/centwise/cli", "importers/sheet", true},
		{"cmd/centwise/show", "cmd/centwise/cli", false}, {"catalogs", "catalog", false},
	} {
		got := slices.ContainsFunc(allowedIn(tc.folder), func(root string) bool { return under(tc.imported, root) })
		if got != tc.want {
			t.Errorf("%s importing %s: allowed %v, want %v", tc.folder, tc.imported, got, tc.want)
		}
	}
}

func under(folder, root string) bool {
	return folder == root || strings.HasPrefix(folder, root+"/")
}

func allowedIn(folder string) []string {
	best := ""
	for root := range mayImport {
		if under(folder, root) && len(root) > len(best) {
			best = root
		}
	}
	return mayImport[best]
}

// walkGo calls visit for every import of every Go file of the module that is
// not a test; the arguments are slash-separated and relative to the module.
func walkGo(t *testing.T, visit func(folder, name, imported string)) {
	t.Helper()
	root := filepath.Join("..", "..")
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && file != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata") {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return nil
		}
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, spec := range parsed.Imports {
			imported, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			visit(path.Dir(rel), rel, imported)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// Every module that go.mod asks for itself has its reason in the guide.
func TestDependenciesHaveReasons(t *testing.T) {
	root := filepath.Join("..", "..")
	mod, err := os.ReadFile(filepath.Join(root, "go.mod"))
	if err != nil {
		t.Fatal(err)
	}
	guide, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	direct := 0
	for line := range strings.Lines(string(mod)) {
		words := strings.Fields(line)
		if len(words) != 2 || !strings.HasPrefix(line, "\t") {
			continue // what others ask for is marked as indirect
		}
		direct++
		if !strings.Contains(string(guide), "`"+words[0]+"`") {
			t.Errorf("DEVELOPERS.md does not say why %s is needed", words[0])
		}
	}
	if direct < 10 {
		t.Errorf("only %d direct dependencies found", direct)
	}
}
