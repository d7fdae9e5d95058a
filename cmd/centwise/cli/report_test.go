package cli

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestReportOptions(t *testing.T) {
	for _, tc := range []struct {
		name string
		args []string
		top  int
		err  string
	}{
		{name: "a setup", args: []string{"--horn", "Alder", "--mouthpiece", "Plover 16.2"}, top: shortlist},
		{name: "a horn and its shortlist", args: []string{"--horn", "Alder", "--top", "0", "--stock", "cupboard"}},
		{name: "nothing", err: "say what the report is about"},
		{name: "filters of one setup", args: []string{"--horn", "Alder", "--mouthpiece", "Plover 16.2", "--loaner"}, err: "--loaner does not go with"},
		{name: "a comparison of one setup", args: []string{"--horn", "Alder", "--mouthpiece", "Plover 16.2", "--against", "Rowan"}, err: "--against does not go with"},
		{name: "a visit", args: []string{"--visit", "saturday"}, top: shortlist},
		{name: "a visit and a horn", args: []string{"--visit", "saturday", "--horn", "Alder"}, err: "--horn does not go with the sheet of a visit"},
		{name: "a filtered visit", args: []string{"--visit", "saturday", "--stock", "cupboard"}, err: "--stock does not go with"},
		{name: "fewer than none", args: []string{"--horn", "Alder", "--top", "-1"}, err: "--top -1 is below nought"},
		{name: "an argument", args: []string{"Alder"}, err: "too many"},
	} {
		var got *reportOptions
		err := parse(newReportCmd(closedFactory(t), func(o *reportOptions) error { got = o; return nil }), tc.args...)
		if tc.err != "" {
			if !usageOf(err, tc.err) {
				t.Errorf("%s: error %v, want usage error with %q", tc.name, err, tc.err)
			}
			continue
		}
		if err != nil || got.rank.top != tc.top {
			t.Errorf("%s: %+v (%v)", tc.name, got, err)
		}
	}
}

// Every flag that a report on one setup refuses is a flag of the command.
func TestReportRefusesKnownFlags(t *testing.T) {
	cmd := newReportCmd(closedFactory(t), nil)
	for _, name := range slices.Concat(comparisonFlags, judgingFlags) {
		if cmd.Flags().Lookup(name) == nil {
			t.Errorf("no flag --%s", name)
		}
	}
}

// fitDay is when the fit was made, by the real clock.
var fitDay = regexp.MustCompile(`from the fit of [^,]+,`)

// The same catalog gives the same page on the same day, to the byte, from a
// stored fit and from a new one.
func TestReportsAreTheSame(t *testing.T) {
	path := t.TempDir() + "/band.db"
	run := func(args ...string) string {
		s, out, errOut := Test("")
		f := NewFactory(s)
		f.Getenv = func(string) string { return "" }
		f.Now = func() time.Time { return time.Date(2026, 3, 7, 12, 0, 0, 0, time.UTC) }
		if code := Run(context.Background(), f, append(args, "--catalog", path)); code != exitOK {
			t.Fatalf("%v: exit %d, %s", args, code, errOut)
		}
		return fitDay.ReplaceAllString(out.String(), "from the fit,")
	}
	const band = "../../../testdata/band/"
	run("import", band+"gear.csv", band+"sessions.csv", "--create")
	report := []string{"report", "--horn", "Alder", "--against", "Plover 16.2"}
	first := run(report...)
	if again := run(report...); again != first {
		t.Error("another page from the same fit")
	}
	run("fit", "--again")
	if again := run(report...); again != first {
		t.Error("another page from a new fit")
	}
	if !strings.Contains(first, "7 March 2026") {
		t.Error("the page has no date")
	}
}
