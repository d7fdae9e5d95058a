package cli

import (
	"reflect"
	"testing"

	"centwise/match"
)

func TestRosterPlanOptions(t *testing.T) {
	usual := rosterAsk{needs: needFlags{"Bb", "trumpet"}, gear: rosterGearFlags{repair: repairTag}, changeCents: match.DefaultChangeCents}
	for _, tc := range []struct {
		name string
		args []string
		want func(*rosterPlanOptions)
		err  string
	}{
		{name: "usual", want: func(*rosterPlanOptions) {}},
		{name: "a class and what-ifs", args: []string{"class.csv", "--lock", "a=Elm", "--lock", "b", "--without", "Larch", "--add", "Holly", "--fairest", "--names"},
			want: func(o *rosterPlanOptions) {
				o.class, o.fairest, o.names = "class.csv", true, true
				o.gear.locks, o.gear.without, o.gear.added = []string{"a=Elm", "b"}, []string{"Larch"}, []string{"Holly"}
			}},
		{name: "mouthpieces", args: []string{"--spares", "cupboard", "--copies", "Plover 16.2=3", "--change-cents", "0", "--key", "any", "--slips", "s.html", "--save", "p.csv"},
			want: func(o *rosterPlanOptions) {
				o.gear.spares, o.gear.copies, o.changeCents, o.needs.key = "cupboard", []string{"Plover 16.2=3"}, 0, "any"
				o.slips, o.save = "s.html", "p.csv"
			}},
		{name: "two classes", args: []string{"a.csv", "b.csv"}, err: "one argument too many"},
		{name: "no number", args: []string{"--change-cents", "much"}, err: `--change-cents "much": a number is wanted`},
		{name: "both outputs", args: []string{"--json", "--csv"}, err: "cannot be used together"},
	} {
		var got *rosterPlanOptions
		f := closedFactory(t)
		err := parse(newRosterPlanCmd(f, func(o *rosterPlanOptions) error { got = o; return nil }), tc.args...)
		if tc.err != "" {
			if !usageOf(err, tc.err) {
				t.Errorf("%s: %v", tc.name, err)
			}
			continue
		}
		want := &rosterPlanOptions{rosterAsk: usual}
		tc.want(want)
		want.factory = f
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v\ngot  %+v\nwant %+v", tc.name, err, got, want)
		}
	}
}

func TestRosterNeeds(t *testing.T) {
	for _, tc := range []struct {
		flags           needFlags
		key, instrument string
		err             bool
	}{
		{needFlags{"Bb", "trumpet"}, "Bb", "trumpet", false}, {needFlags{"eb", "Cornet"}, "Eb", "cornet", false},
		{needFlags{"ANY", "any"}, "", "", false}, {needFlags{"H", "any"}, "", "", true}, {needFlags{"any", "tuba"}, "", "", true},
	} {
		key, instrument, err := tc.flags.needs()
		if (err != nil) != tc.err || err == nil && (string(key) != tc.key || string(instrument) != tc.instrument) {
			t.Errorf("%+v: %q, %q, %v", tc.flags, key, instrument, err)
		}
	}
}
