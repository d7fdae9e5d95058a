package cli

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/importers/sheet"
	"centwise/match"
	"centwise/match/tuning"
)

// parse runs a command line through a command whose run is replaced, and gives
// the error.
func parse(cmd *cobra.Command, args ...string) error {
	cmd.SetArgs(args)
	cmd.SetOut(io.Discard)
	cmd.SetErr(io.Discard)
	cmd.SilenceErrors, cmd.SilenceUsage = true, true
	cmd.SetFlagErrorFunc(flagError)
	return cmd.Execute()
}

func usageOf(err error, part string) bool {
	return codeOf(err) == exitUsage && strings.Contains(err.Error(), part)
}

func TestGearAddOptions(t *testing.T) {
	for _, tc := range []struct {
		name string
		args []string
		want gearAddOptions
		err  string
	}{
		{name: "fields in order", args: []string{"Alder", "--key", "Bb", "--throw3-mm", "12,5", "--loaner"},
			want: gearAddOptions{label: "Alder", set: settings{{"key", "Bb"}, {"throw3_mm", "12,5"}, {"loaner", "true"}}}},
		{name: "contributor from the environment", args: []string{"Alder"},
			want: gearAddOptions{label: "Alder", contributor: "lamp-keeper"}},
		{name: "contributor from the flag", args: []string{"Alder", "--contributor", "fern-vole", "--anyway", "--json"},
			want: gearAddOptions{label: "Alder", contributor: "fern-vole", anyway: true, json: true}},
		{name: "no label", err: "an argument is missing"},
		{name: "two labels", args: []string{"Alder", "Rowan"}, err: `"Rowan" is one argument too many`},
		{name: "not a key", args: []string{"Alder", "--key", "H"}, err: `"H" is not a key`},
		{name: "not a measure", args: []string{"Alder", "--bore-mm", "wide"}, err: "write a number of mm"},
		{name: "below nought", args: []string{"Alder", "--bore-mm", "-3"}, err: "write a number of mm"},
		{name: "not a number", args: []string{"Alder", "--bore-mm", "NaN"}, err: "write a number of mm"},
		{name: "five valves", args: []string{"Alder", "--valves", "5"}, err: "write 3 or 4"},
		{name: "unknown instrument", args: []string{"Alder", "--instrument", "tuba"}, err: "use one of trumpet, cornet, flugelhorn, piccolo"},
		{name: "unknown flag", args: []string{"Alder", "--colour", "red"}, err: "unknown flag"},
	} {
		f := closedFactory(t)
		f.Getenv = func(name string) string {
			return map[string]string{"CENTWISE_CONTRIBUTOR": "lamp-keeper"}[name]
		}
		var got *gearAddOptions
		err := parse(newGearAddCmd(f, hornKind, func(o *gearAddOptions) error { got = o; return nil }), tc.args...)
		if tc.err != "" {
			if !usageOf(err, tc.err) {
				t.Errorf("%s: error %v, want usage error with %q", tc.name, err, tc.err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		tc.want.factory = f
		if tc.want.contributor == "" {
			tc.want.contributor = "lamp-keeper"
		}
		if !reflect.DeepEqual(*got, tc.want) {
			t.Errorf("%s: %+v, want %+v", tc.name, *got, tc.want)
		}
	}
}

// Every flag of a field writes the field it is named after: each value set
// reads back from the record, and from nothing else.
func TestEveryFieldHasItsFlag(t *testing.T) {
	t.Run("horn", func(t *testing.T) { fieldsHaveFlags(t, hornKind, 14) })
	t.Run("mouthpiece", func(t *testing.T) { fieldsHaveFlags(t, mouthpieceKind, 15) })
	t.Run("player", func(t *testing.T) { fieldsHaveFlags(t, playerKind, 9) })
}

func fieldsHaveFlags[T any](t *testing.T, k *gearKind[T], fields int) {
	if len(k.fields) != fields {
		t.Errorf("%d fields, want %d", len(k.fields), fields)
	}
	texts := map[string]string{"bool": "true", "list": "a, b", "key": "Eb", "number": "4", "low-high": "G3-A5", "word": "", "text": "words", fileKind: filepath.Join(t.TempDir(), "w.csv")}
	content, reads := "note,weight\nC4,12.5\nA#3,2\n", "Bb3=2 C4=12.5"
	if k.noun == "horn" {
		content, reads = "x_mm,diameter_mm,part\n0,11.7,tube\n900,11.7,tube\n1400,120,bell\n", "2 pieces, 1400 mm"
	}
	if err := os.WriteFile(texts[fileKind], []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, field := range k.fields {
		text, ok := texts[field.kind]
		switch {
		case !ok:
			text = "1.25"
		case field.kind == "word":
			text = field.choices[len(field.choices)-1]
		}
		var item T
		if _, err := k.apply(&item, settings{{field.name, text}}); err != nil {
			t.Errorf("--%s %s: %v", field.flag(), text, err)
			continue
		}
		for _, other := range k.fields {
			changed := other.text(&item) != other.text(new(T))
			if changed != (other.name == field.name) {
				t.Errorf("--%s %s: field %s changed: %v", field.flag(), text, other.name, changed)
			}
		}
		want := strings.ReplaceAll(text, "true", "yes")
		if field.kind == fileKind {
			want = reads
		}
		if field.text(&item) != want {
			t.Errorf("--%s %s reads back as %q", field.flag(), text, field.text(&item))
		}
	}
}

func TestParseMeasure(t *testing.T) {
	for text, want := range map[string]float64{"12": 12, "12.5": 12.5, "12,5": 12.5, " 12.5 mm ": 12.5, "0": 0} {
		if got, err := parseMeasure(text, "mm"); err != nil || got != want {
			t.Errorf("parseMeasure(%q) = %v (%v), want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "1,2,3", "Inf", "-1", "12 in"} {
		if got, err := parseMeasure(text, "mm"); err == nil {
			t.Errorf("parseMeasure(%q) = %v, want an error", text, got)
		}
	}
}

func TestParseRange(t *testing.T) {
	for _, text := range []string{"F#3-C6", "F#3..C6", "Gb3 to C6", "F♯3–C6"} {
		low, high, err := parseRange(text)
		if err != nil || low != pitch.RangeLow || high != pitch.RangeHigh {
			t.Errorf("parseRange(%q) = %v, %v (%v)", text, low, high, err)
		}
	}
	for _, text := range []string{"", "C4", "C6-F#3", "C-D", "H3-C6"} {
		if _, _, err := parseRange(text); err == nil {
			t.Errorf("parseRange(%q): no error", text)
		}
	}
}

func TestGearEditOptions(t *testing.T) {
	var got *gearEditOptions
	cmd := func() *cobra.Command {
		return newGearEditCmd(closedFactory(t), playerKind, func(o *gearEditOptions) error { got = o; return nil })
	}
	if err := parse(cmd(), "reed-otter", "--rim-max-mm", "0", "--label", "reed-otter-2"); err != nil {
		t.Fatal(err)
	}
	if got.label != "reed-otter" || got.newLabel != "reed-otter-2" || !reflect.DeepEqual(got.set, settings{{"rim_max_mm", "0"}}) {
		t.Errorf("got %+v", *got)
	}
	if err := parse(cmd(), "reed-otter"); !usageOf(err, "nothing to change") {
		t.Errorf("without a field: %v", err)
	}
}

func TestNearLabels(t *testing.T) {
	for _, tc := range []struct {
		a, b string
		want bool
	}{
		{"Alder", "alder", true}, {"Alder", "Al-der", true}, {"Alder", "Aldar", true}, {"Plover 16.2", "plover16.2", true},
		{"Plover 16.2", "Plover 16.4", false}, {"Alder", "Alder 2", false}, {"Elm", "Ulm", false}, {"Alder", "Rowan", false},
		{"Alder", "Alder", false},
	} {
		if got := nearLabels(tc.a, tc.b); got != tc.want {
			t.Errorf("nearLabels(%q, %q) = %v, want %v", tc.a, tc.b, got, tc.want)
		}
	}
}

func TestPredictOptions(t *testing.T) {
	for _, tc := range []struct {
		name string
		args []string
		want predictOptions
		err  string
	}{
		{name: "a setup", args: []string{"Alder", "Plover 16.2", "--concert"}, want: predictOptions{horn: "Alder", mouthpiece: "Plover 16.2", concert: true}},
		{name: "a batch", args: []string{"--pairs", "pairs.csv", "--csv"}, want: predictOptions{pairs: "pairs.csv", output: outputFlags{csv: true}}},
		{name: "only a horn", args: []string{"Alder"}, err: "name a horn and a mouthpiece"},
		{name: "nothing", err: "name a horn and a mouthpiece"},
		{name: "both", args: []string{"Alder", "Plover 16.2", "--pairs", "pairs.csv"}, err: "not from arguments"},
		{name: "three", args: []string{"Alder", "Plover", "16.2"}, err: "put quotation marks"},
		{name: "a batch judges nothing", args: []string{"--pairs", "pairs.csv", "--range", "G3-A5"}, err: "--range does not go with --pairs"},
		{name: "skip without batch", args: []string{"Alder", "Plover 16.2", "--skip-unknown"}, err: "needs --pairs"},
		{name: "two outputs", args: []string{"Alder", "Plover 16.2", "--json", "--csv"}, err: "--json and --csv cannot"},
	} {
		var got *predictOptions
		f := closedFactory(t)
		err := parse(newPredictCmd(f, func(o *predictOptions) error { got = o; return nil }), tc.args...)
		if tc.err != "" {
			if codeOf(err) != exitUsage || !strings.Contains(err.Error()+hintOf(err), tc.err) {
				t.Errorf("%s: error %v, want usage error with %q", tc.name, err, tc.err)
			}
			continue
		}
		tc.want.factory, tc.want.judge = f, judgeFlags{}
		if err != nil || !reflect.DeepEqual(*got, tc.want) {
			t.Errorf("%s: %+v (%v), want %+v", tc.name, got, err, tc.want)
		}
	}
}

func hintOf(err error) string {
	_, hint := explain(err, codeOf(err))
	return hint
}

func TestJudgeCriteria(t *testing.T) {
	player := &catalog.Player{ToleranceCents: 7, RangeLow: 57, RangeHigh: 79}
	weighty := &catalog.Player{Label: "reed-otter", Weights: catalog.Weights{67: 2}}
	folder := t.TempDir()
	weights, target := filepath.Join(folder, "w.csv"), filepath.Join(folder, "t.csv")
	for path, content := range map[string]string{weights: "note,weight\nB#3,12.5\n", target: "note,cents\nE,-14\n"} {
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, tc := range []struct {
		name  string
		flags judgeFlags
		who   *catalog.Player
		check func(match.Criteria) bool
		err   string
	}{
		{name: "nothing given", check: func(c match.Criteria) bool {
			return c.Low == 0 && c.High == 0 && c.ToleranceCents == match.DefaultToleranceCents && c.Weights == nil && c.Register == "" && !c.NoThrows
		}},
		{name: "the player's own", who: player, check: func(c match.Criteria) bool { return c.Low == 57 && c.High == 79 && c.ToleranceCents == 7 }},
		{name: "flags before the player", flags: judgeFlags{notes: "G3-A5", tolerance: 3, noThrows: true}, who: player,
			check: func(c match.Criteria) bool { return c.Low == 55 && c.High == 81 && c.ToleranceCents == 3 && c.NoThrows }},
		{name: "register", flags: judgeFlags{register: "low"}, check: func(c match.Criteria) bool { return c.Register == tuning.RegisterLow }},
		{name: "the player's weights", who: weighty, check: func(c match.Criteria) bool { return c.Weights.Of(67) == 2 && c.Weights.Of(60) == 0 }},
		{name: "even before the player's weights", flags: judgeFlags{register: "even"}, who: weighty, check: func(c match.Criteria) bool { return c.Weights == nil }},
		{name: "weights of a file", flags: judgeFlags{weights: weights}, who: weighty, check: func(c match.Criteria) bool {
			return c.Weights.Of(67) == 0 && c.Weights.Of(60) == 12.5 && c.WeightsFrom == "file w.csv"
		}},
		{name: "a target", flags: judgeFlags{target: target}, check: func(c match.Criteria) bool {
			return c.Temperament.Target(64) == -14 && c.Temperament.Name == "table t.csv"
		}},
		{name: "weights and a register", flags: judgeFlags{weights: weights, register: "low"}, err: "together"},
		{name: "two targets", flags: judgeFlags{target: target, just: "C"}, err: "together"},
		{name: "just", flags: judgeFlags{just: "Eb"}, check: func(c match.Criteria) bool { return c.Temperament.Name == "just in Eb" }},
		{name: "not a range", flags: judgeFlags{notes: "low"}, err: "--range"},
		{name: "not a register", flags: judgeFlags{register: "loud"}, err: "not a register"},
		{name: "not a tonic", flags: judgeFlags{just: "H"}, err: "not a tonic"},
		{name: "tolerance below nought", flags: judgeFlags{tolerance: -1}, err: "outside 0.1 to 100"},
		{name: "tolerance beyond all", flags: judgeFlags{tolerance: math.Inf(1)}, err: "outside 0.1 to 100"},
		{name: "no tolerance", flags: judgeFlags{tolerance: math.NaN()}, err: "outside 0.1 to 100"},
	} {
		c, err := tc.flags.criteria(tc.who)
		switch {
		case tc.err != "":
			if !usageOf(err, tc.err) {
				t.Errorf("%s: error %v, want usage error with %q", tc.name, err, tc.err)
			}
		case err != nil || !tc.check(c):
			t.Errorf("%s: %+v (%v)", tc.name, c, err)
		}
	}
}

func TestRankOptions(t *testing.T) {
	for _, tc := range []struct {
		name string
		args []string
		top  int
		err  string
	}{
		{name: "people get a shortlist", args: []string{"--horn", "Alder"}, top: shortlist},
		{name: "programs get everything", args: []string{"--json"}, top: 0},
		{name: "asked for", args: []string{"--csv", "--top", "3"}, top: 3},
		{name: "all for people", args: []string{"--top", "0"}, top: 0},
		{name: "both", args: []string{"--horn", "Alder", "--mouthpiece", "Plover 16.2"}, err: "--horn and --mouthpiece cannot"},
		{name: "an argument", args: []string{"Alder"}, err: "too many"},
	} {
		var got *rankOptions
		err := parse(newRankCmd(closedFactory(t), func(o *rankOptions) error { got = o; return nil }), tc.args...)
		if tc.err != "" {
			if codeOf(err) != exitUsage || !strings.Contains(err.Error(), tc.err) {
				t.Errorf("%s: error %v, want usage error with %q", tc.name, err, tc.err)
			}
			continue
		}
		if err != nil || got.top != tc.top {
			t.Errorf("%s: %+v (%v), want top %d", tc.name, got, err, tc.top)
		}
	}
}

func TestFilterFlags(t *testing.T) {
	flags := filterFlags{key: "b-flat", instrument: "Cornet", shank: "cornet", rim: "16-16.6", cup: "1,1-", stock: "cupboard",
		owner: "reed-otter", tag: "x", loaner: true, measured: true, linked: true, comfort: true, retired: true}
	want := match.Filter{Key: pitch.KeyBb, Instrument: catalog.Cornet, RimMM: match.Limits{Min: 16, Max: 16.6}, CupCM3: match.Limits{Min: 1.1},
		Stock: "cupboard", Owner: "reed-otter", Tag: "x", Loaner: true, Measured: true, Linked: true, Comfort: true, Retired: true}
	if got, err := flags.filter(); err != nil || got != want {
		t.Errorf("got %+v (%v), want %+v", got, err, want)
	}
	for _, bad := range []filterFlags{{key: "H"}, {instrument: "tuba"}, {shank: "tuba"}, {rim: "16"}, {rim: "17-16"}, {cup: "a-b"}} {
		if _, err := bad.filter(); codeOf(err) != exitUsage {
			t.Errorf("%+v: error %v, want a usage error", bad, err)
		}
	}
}

func TestParsePairs(t *testing.T) {
	for _, tc := range []struct {
		name, text string
		want       []pairLine
		err        string
	}{
		{name: "commas", text: "horn,mouthpiece\nAlder,Plover 16.2\n", want: []pairLine{{2, "Alder", "Plover 16.2", ""}}},
		{name: "semicolons, any order, BOM, CRLF", text: "\ufeffPlayer;Mouthpiece;Horn\r\nreed-otter;Plover 16.2;Alder\r\n", want: []pairLine{{2, "Alder", "Plover 16.2", "reed-otter"}}},
		{name: "tabs and empty lines", text: "horn\tmouthpiece\n\nAlder\tDunlin 16.6\n", want: []pairLine{{3, "Alder", "Dunlin 16.6", ""}}},
		{name: "quoted", text: "horn,mouthpiece\n\"Alder, old\",Dunlin\n", want: []pairLine{{2, "Alder, old", "Dunlin", ""}}},
		{name: "only a header", text: "horn,mouthpiece\n"},
		{name: "empty", text: "", err: "is empty"},
		{name: "missing column", text: "horn,player\nAlder,x\n", err: "lacks the column"},
		{name: "unknown column", text: "horn,mouthpiece,colour\n", err: `column "colour" is not known`},
		{name: "twice", text: "horn,horn,mouthpiece\n", err: "twice"},
		{name: "too few cells", text: "horn,mouthpiece\nAlder\n", err: "record on line 2"},
		{name: "empty cell", text: "horn,mouthpiece\nAlder,Plover\n,Dunlin\n", err: "p.csv:3: horn or mouthpiece is empty"},
		{name: "not text", text: "horn,mouthpiece\x00\xff\n", err: "UTF-8"},
	} {
		got, err := parsePairs(strings.NewReader(tc.text), "p.csv")
		if tc.err != "" {
			if err == nil || !strings.Contains(err.Error(), tc.err) {
				t.Errorf("%s: error %v, want %q", tc.name, err, tc.err)
			}
			continue
		}
		if err != nil || !reflect.DeepEqual(got, tc.want) {
			t.Errorf("%s: %+v (%v), want %+v", tc.name, got, err, tc.want)
		}
	}
}

// Any text gives lines or an error, never a panic, and every line names a horn
// and a mouthpiece.
func FuzzParsePairs(f *testing.F) {
	f.Add("horn,mouthpiece\nAlder,Plover 16.2\n")
	f.Add("\ufeffmouthpiece;horn;player\r\na;b;c\r\n")
	f.Add("horn\tmouthpiece\n\"a\nb\"\tc\n")
	f.Add("horn,mouthpiece\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		lines, err := parsePairs(strings.NewReader(text), "p.csv")
		for _, l := range lines {
			if err != nil || l.horn == "" || l.mouthpiece == "" || l.line < 2 {
				t.Errorf("%+v (%v)", l, err)
			}
		}
	})
}

// The columns that a list of gear prints are those of gear lists, so that it can
// be imported.
func TestGearListsCanBeImported(t *testing.T) {
	check := func(noun string, table *show.Table) {
		var b bytes.Buffer
		if err := table.WriteCSV(&b); err != nil {
			t.Fatal(err)
		}
		for _, column := range strings.Split(strings.TrimSpace(b.String()), ",") {
			if !slices.Contains(sheet.GearColumns(), column) {
				t.Errorf("a list of %s has the column %q, which gear lists have not", noun, column)
			}
		}
	}
	check("horns", hornKind.table(nil))
	check("mouthpieces", mouthpieceKind.table(nil))
	check("players", playerKind.table(nil))
}

func TestTradeOptions(t *testing.T) {
	for _, tc := range []struct {
		args []string
		want tradeFlags
		err  string
	}{
		{args: []string{"--horn", "Alder", "--against", "Plover 16.2"}, want: tradeFlags{against: "Plover 16.2"}},
		{args: []string{"--pareto", "--against", "Alder + Plover 16.2"}, want: tradeFlags{against: "Alder + Plover 16.2", pareto: true}},
		{args: []string{"--pareto", "--each-horn"}, err: "--pareto and --each-horn"},
		{args: []string{"--against", "Alder", "--each-mouthpiece"}, err: "--against and --each-mouthpiece"},
		{args: []string{"--against", "Alder", "--matrix"}, err: "--against and --matrix"},
	} {
		f := closedFactory(t)
		var got *rankOptions
		err := parse(newRankCmd(f, func(o *rankOptions) error { got = o; return nil }), tc.args...)
		switch {
		case tc.err != "":
			if !usageOf(err, tc.err) {
				t.Errorf("%v: error %v, want usage error with %q", tc.args, err, tc.err)
			}
		case err != nil || got.trade != tc.want:
			t.Errorf("%v: %+v (%v), want %+v", tc.args, got, err, tc.want)
		}
	}
}

func TestFlagErrors(t *testing.T) {
	streams, _, _ := Test("")
	f := NewFactory(streams)
	for _, tc := range []struct {
		name      string
		args      []string
		says, try string
	}{
		{"misspelt", []string{"rank", "--hron", "Alder"}, "unknown flag: --hron", "centwise rank --horn"},
		{"misspelt, of all commands", []string{"rank", "--catalogue", "a.db"}, "unknown flag: --catalogue", "centwise rank --catalog"},
		{"like none", []string{"rank", "--xylophone"}, "unknown flag: --xylophone", "'centwise rank --help'"},
		{"not whole", []string{"rank", "--top", "2.5"}, `--top "2.5": a whole number is wanted`, "'centwise rank --help'"},
		{"not a number", []string{"listen", "--tempo", "slow"}, `--tempo "slow": a number is wanted`, "'centwise listen --help'"},
		{"not a key", []string{"horn", "add", "Alder", "--key", "H"}, `--key: "H" is not a key a trumpet is built in: use one of Bb, C, D, Eb, F, G, A`, "'centwise horn add --help'"},
		{"not yes or no", []string{"rank", "--measured=maybe"}, `--measured "maybe": true or false is wanted`, "'centwise rank --help'"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			root := newRootCmd(f)
			root.SetArgs(tc.args)
			says, try := explain(root.Execute(), exitUsage)
			if says != tc.says || try != tc.try {
				t.Errorf("%q, try %q; want %q, try %q", says, try, tc.says, tc.try)
			}
		})
	}
}
