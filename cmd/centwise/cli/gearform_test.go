package cli

import (
	"context"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/cmd/centwise/form/formtest"
)

// answered runs a command line on the world; answers are what somebody who is
// asked would say.
func (w *world) answered(answers *formtest.Answers, args ...string) (code int, out, errOut string) {
	s, outBuffer, errBuffer := Test("")
	f := NewFactory(s)
	f.asking.instead = answers
	f.Getenv = func(name string) string { return map[string]string{"CENTWISE_CATALOG": w.path}[name] }
	code = Run(context.Background(), f, args)
	return code, outBuffer.String(), errBuffer.String()
}

func TestFormAdds(t *testing.T) {
	for _, tc := range []struct {
		name    string
		args    []string
		answers formtest.Answers
		says    string
		code    int
		doubts  int
		remarks int
	}{
		{name: "everything is asked", args: []string{"horn", "add"},
			answers: formtest.Answers{By: map[string]string{"Label": "Hazel", "Key": "C", "Bore": "11,7", "Loaner": "yes"}}, says: "added horn Hazel: key C, instrument trumpet, valves 3, receiver trumpet, bore 11.7 mm, loaner yes"},
		{name: "flags are answers", args: []string{"horn", "add", "Hazel", "--maker", "Tidewright", "--bore-mm", "11.7"},
			answers: formtest.Answers{By: map[string]string{"Key": "D", "Maker": "Northlamp", "Bore": ""}}, says: "added horn Hazel: maker Northlamp, key D, instrument trumpet, valves 3, receiver trumpet"},
		{name: "what is needed is asked for", args: []string{"horn", "add", "Hazel"}, says: "choose one of Bb, C", code: exitFailed},
		{name: "a label alone", args: []string{"mouthpiece", "add", "Knot 16.8"}, says: "added mouthpiece Knot 16.8: shank trumpet"},
		{name: "a name that is taken", args: []string{"player", "add", "blue-kite"}, says: `there is a player "blue-kite" already`, code: exitFailed},
		{name: "a near one is doubted, and added when agreed to", args: []string{"mouthpiece", "add", "plover 16.2"}, says: "added mouthpiece plover 16.2", doubts: 1, remarks: 1},
		{name: "left", args: []string{"player", "add"}, answers: formtest.Answers{By: map[string]string{"Handle": "fern-vole"}, Leave: true}, says: "nothing was changed", code: exitCancelled},
		{name: "flags suffice", args: []string{"player", "add", "fern-vole", "--level", "student"}, says: "added player fern-vole: level student"},
		{name: "nobody is asked", args: []string{"player", "add", "--no-input"}, says: "an argument is missing: a player needs a LABEL", code: exitUsage},
	} {
		w := newWorld(t)
		a := tc.answers
		code, _, errOut := w.answered(&a, tc.args...)
		if code != tc.code || !strings.Contains(strings.Join(strings.Fields(errOut), " "), tc.says) || len(a.Doubts) != tc.doubts || len(a.Remarks) != tc.remarks {
			t.Errorf("%s: exit %d, %q, doubts %q, remarks %q", tc.name, code, errOut, a.Doubts, a.Remarks)
		}
		suffices := tc.name == "flags suffice" || tc.name == "nobody is asked"
		if suffices != (len(a.Asked) == 0) {
			t.Errorf("%s: asked %q", tc.name, a.Asked)
		}
		if code != exitOK {
			if _, out, _ := w.run("catalog", "info", "--json"); !strings.Contains(out, `"horns": 2`) || !strings.Contains(out, `"players": 1`) {
				t.Errorf("%s: the catalog changed: %s", tc.name, out)
			}
		}
	}
}

func TestFormEdits(t *testing.T) {
	for _, tc := range []struct {
		name string
		by   map[string]string
		args []string
		says string
		code int
	}{
		{name: "a field", by: map[string]string{"Bore": "11.7"}, says: "changed horn Rowan: bore (none) -> 11.7"},
		{name: "emptied", by: map[string]string{"Loaner": "no"}, says: "changed horn Rowan: loaner yes -> (none)"},
		{name: "renamed", by: map[string]string{"Label": "Old Rowan"}, says: "changed horn Old Rowan: label Rowan -> Old Rowan"},
		{name: "taken", by: map[string]string{"Label": "Alder"}, says: `there is a horn "Alder" already`, code: exitFailed},
		{name: "nothing", says: "has these values already"},
		{name: "not a measure", by: map[string]string{"Third throw": "far"}, says: "write a number of mm", code: exitFailed},
		{name: "flags suffice", by: map[string]string{"Bore": "11.7"}, args: []string{"--throw3-mm", "20"}, says: "changed horn Rowan: throw3 (none) -> 20"},
	} {
		w := newWorld(t)
		code, _, errOut := w.answered(&formtest.Answers{By: tc.by}, append([]string{"horn", "edit", "Rowan"}, tc.args...)...)
		if code != tc.code || !strings.Contains(strings.Join(strings.Fields(errOut), " "), tc.says) {
			t.Errorf("%s: exit %d, %q, want %q", tc.name, code, errOut, tc.says)
		}
	}
}

// The same answers and flags make the same record, or both are refused.
func TestFormAndFlagsAgree(t *testing.T) {
	t.Run("horn", func(t *testing.T) { formAndFlagsAgree(t, hornKind) })
	t.Run("mouthpiece", func(t *testing.T) { formAndFlagsAgree(t, mouthpieceKind) })
	t.Run("player", func(t *testing.T) { formAndFlagsAgree(t, playerKind) })
}

// typed is what somebody answers in a form, and the same as arguments of add.
type typed struct {
	by   map[string]string
	args []string
}

func typedInto[T any](k *gearKind[T]) *rapid.Generator[typed] {
	return rapid.Custom(func(t *rapid.T) typed {
		label := rapid.SampledFrom([]string{"Alder", "Plover 16.2", "reed-otter", " Hazel  2 ", "é", "", strings.Repeat("x", 500)}).Draw(t, "label")
		out := typed{map[string]string{k.labelName(): label}, []string{label, "--anyway"}}
		for _, page := range k.pages {
			for _, asked := range page.fields {
				f, ok := k.field(asked.field)
				if !ok || rapid.IntRange(0, 2).Draw(t, "left out") == 0 && !slices.Contains(k.required, f.name) {
					continue
				}
				text := typedFor(f).Draw(t, f.name)
				out.by[asked.name] = text
				if text != "" {
					out.args = append(out.args, "--"+f.flag()+"="+text)
				}
			}
		}
		return out
	})
}

func formAndFlagsAgree[T any](t *testing.T, k *gearKind[T]) {
	agree := func(t rapid.TB, x typed) (accepted bool) {
		byFlags, flagsErr := built(k, nil, x.args...)
		byForm, formErr := built(k, &formtest.Answers{By: x.by})
		if (flagsErr == nil) != (formErr == nil) {
			t.Fatalf("flags %q: %v; form: %v", x.args, flagsErr, formErr)
		}
		if flagsErr == nil && !reflect.DeepEqual(byFlags, byForm) {
			t.Fatalf("flags %q give %+v, the form %+v", x.args, byFlags, byForm)
		}
		return flagsErr == nil
	}
	rapid.Check(t, func(t *rapid.T) { agree(t, typedInto(k).Draw(t, "typed")) })
	accepted := 0
	for seed := range examples {
		if agree(t, typedInto(k).Example(seed)) {
			accepted++
		}
	}
	if accepted < 5 {
		t.Errorf("of %d examples only %d were accepted", examples, accepted)
	}
}

// examples is how many cases, always the same, show that a property is not held
// up by cases that come to nothing.
const examples = 100

// typedFor draws texts that somebody may type for a field, mostly good ones.
func typedFor[T any](f gearField[T]) *rapid.Generator[string] {
	switch {
	case f.kind == "bool":
		return rapid.SampledFrom([]string{"true", "false"})
	case f.choices != nil:
		return rapid.SampledFrom(slices.Concat(f.choices, f.choices, f.choices, f.choices, []string{"tuba"}))
	case f.name == "range":
		return rapid.SampledFrom([]string{"", "F#3-C6", "G3..A5", "C6-F#3", "low", "C1-C9"})
	case f.unit != "":
		good := map[string][]string{"rim_mm": {"16.2", "16,8"}, "rim_min_mm": {"16", "16.4"}, "rim_max_mm": {"16.2", "17"}, "cup_cm3": {"1.2"}, "bore_mm": {"11.66", "11.7 mm"},
			"throat_mm": {"3.66"}, "backbore_mm": {"9"}, "length_mm": {"87"}, "cup_depth_mm": {"11.5"}}[f.name]
		good = append(good, "", "0")
		return rapid.SampledFrom(slices.Concat(good, good, good, good, good, []string{"8", "12", "-1", "wide", "NaN"}))
	}
	good := []string{"", "Tidewright", "  of  the pier", "Skerry, cupboard", "Ångström"}
	return rapid.SampledFrom(slices.Concat(good, good, good, good, []string{strings.Repeat("x", 400)}))
}

// labelName is what the form calls the label.
func (k *gearKind[T]) labelName() string {
	for _, page := range k.pages {
		for _, asked := range page.fields {
			if asked.field == labelField {
				return asked.name
			}
		}
	}
	return ""
}

// built is the record that add would store in an empty catalog: from flags, or
// from a form when there are answers.
func built[T any](k *gearKind[T], answers *formtest.Answers, args ...string) (catalog.Changes, error) {
	s, _, _ := Test("")
	f := NewFactory(s)
	now := time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC)
	f.Now = func() time.Time { return now }
	f.Getenv = func(string) string { return "" }
	f.Open = func(context.Context, string, sqlstore.Options) (catalog.Store, error) {
		return nil, catalog.Errorf(catalog.NotFound, "", "empty")
	}
	o := &gearAddOptions{factory: f}
	if answers != nil {
		if err := k.askAdd(context.Background(), answers, o); err != nil {
			return catalog.Changes{}, err
		}
	} else if err := parse(newGearAddCmd(f, k, func(got *gearAddOptions) error { o = got; return nil }), args...); err != nil {
		return catalog.Changes{}, err
	}
	item, err := k.build(o)
	if err != nil {
		return catalog.Changes{}, err
	}
	c := k.changes(item)
	for i := range c.Horns {
		c.Horns[i].Normalize()
	}
	for i := range c.Mouthpieces {
		c.Mouthpieces[i].Normalize()
	}
	for i := range c.Players {
		c.Players[i].Normalize()
	}
	return c, nil
}

// Enter alone, all the way through, changes nothing of any record.
func TestEnterAloneChangesNothing(t *testing.T) {
	t.Run("horn", func(t *testing.T) { enterChangesNothing(t, hornKind) })
	t.Run("mouthpiece", func(t *testing.T) { enterChangesNothing(t, mouthpieceKind) })
	t.Run("player", func(t *testing.T) { enterChangesNothing(t, playerKind) })
}

// storable draws records to store; some break a rule.
func storable[T any](k *gearKind[T]) *rapid.Generator[catalog.Changes] {
	return rapid.Custom(func(t *rapid.T) catalog.Changes {
		var item T
		for _, f := range k.fields {
			if f.kind != fileKind {
				_ = f.set(&item, typedFor(f).Draw(t, f.name)) // what can't be read stays out
			}
		}
		*k.name(&item), k.rev(&item).Number = "Alder", 1
		return k.changes(item).Normalized(time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC))
	})
}

func enterChangesNothing[T any](t *testing.T, k *gearKind[T]) {
	s, _, _ := Test("")
	enter := func(t rapid.TB, c catalog.Changes) (asked bool) {
		if c.Validate() != nil {
			return false
		}
		item := onlyOf[T](c)
		g := newGearForm(k, NewFactory(s), item, "Alder", nil)
		if err := (&formtest.Answers{}).Ask(context.Background(), g.form("Change", nil)); err != nil {
			t.Fatalf("%+v: %v", item, err)
		}
		if got := g.settings(); len(got) > 0 || g.label != "Alder" {
			t.Fatalf("%+v became %v", item, got)
		}
		return true
	}
	rapid.Check(t, func(t *rapid.T) { enter(t, storable(k).Draw(t, "record")) })
	asked := 0
	for seed := range examples {
		if enter(t, storable(k).Example(seed)) {
			asked++
		}
	}
	if asked < 5 {
		t.Errorf("of %d examples only %d came as far as the form", examples, asked)
	}
}

// onlyOf is the one record of its kind in c.
func onlyOf[T any](c catalog.Changes) (item T) {
	for _, records := range []any{c.Horns, c.Mouthpieces, c.Players} {
		if list, ok := records.([]T); ok {
			return list[0]
		}
	}
	return item
}

// Every field is asked for, once, in words that fit the page; weights and bores come from a
// file and have their flag.
func TestFormsAskForEveryField(t *testing.T) {
	t.Run("horn", func(t *testing.T) { asksForEveryField(t, hornKind, "bore_geometry") })
	t.Run("mouthpiece", func(t *testing.T) { asksForEveryField(t, mouthpieceKind) })
	t.Run("player", func(t *testing.T) { asksForEveryField(t, playerKind, "weights") })
}

func asksForEveryField[T any](t *testing.T, k *gearKind[T], but ...string) {
	want := append([]string{labelField}, but...)
	for _, f := range k.fields {
		if !slices.Contains(but, f.name) {
			want = append(want, f.name)
		}
	}
	got := slices.Clone(but)
	for _, page := range k.pages {
		if len(page.fields) > 8 {
			t.Errorf("%s: %d questions are too many for a page of 20 lines", page.title, len(page.fields))
		}
		for _, asked := range page.fields {
			got = append(got, asked.field)
			f, _ := k.field(asked.field)
			if n := len(asked.name + " (" + f.unit + ")"); n > 21 && f.unit != "" || len(asked.name) > 21 {
				t.Errorf("%s: the name %q is too long", asked.field, asked.name)
			}
			if n := len(asked.help); n < 10 || n > 170 || !strings.HasSuffix(asked.help, ".") {
				t.Errorf("%s: help of %d characters: %q", asked.field, n, asked.help)
			}
		}
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("asked for %q, fields are %q", got, want)
	}
}

// An answer is checked with the others as they stand; what is wrong elsewhere
// does not hold it up.
func TestAnswersAreCheckedTogether(t *testing.T) {
	s, _, _ := Test("")
	for _, tc := range []struct {
		start  catalog.Player
		name   string
		answer string
		err    string
	}{
		{catalog.Player{RimMinMM: 17}, "Largest rim", "16", "smallest rim is 17, more than largest rim which is 16; exchange them"},
		{catalog.Player{RimMinMM: 17}, "Largest rim", "17.5", ""},
		{catalog.Player{RimMaxMM: 16}, "Smallest rim", "17", "it is 17, more than largest rim which is 16; exchange them"},
		{catalog.Player{RimMinMM: 99}, "Largest cup", "2", ""},
		{catalog.Player{}, "Largest cup", "0.1", "it is 0.1, outside 0.3..8 cm3; it looks like cubic inches: write 1.639 cm3"},
		{catalog.Player{}, "Tolerance", "much", "write a number of cents, as in 12.5; 0 for not known"},
	} {
		g := newGearForm(playerKind, NewFactory(s), tc.start, "reed-otter", nil)
		f := g.form("Add", nil)
		for _, page := range f.Pages {
			for _, q := range page.Questions {
				if q.Name != tc.name {
					continue
				}
				if _, err := q.Accept(tc.answer); err == nil && tc.err != "" || err != nil && err.Error() != tc.err {
					t.Errorf("%s %s: %v, want %q", tc.name, tc.answer, err, tc.err)
				}
			}
		}
	}
}

// A catalog that is broken or busy is said before anything is asked.
func TestFormNeedsTheCatalog(t *testing.T) {
	s, _, errOut := Test("")
	f := NewFactory(s)
	answers := &formtest.Answers{}
	f.asking.instead = answers
	f.Getenv = func(string) string { return "" }
	f.Open = func(context.Context, string, sqlstore.Options) (catalog.Store, error) {
		return nil, catalog.Errorf(catalog.Busy, "", "it is locked")
	}
	if code := Run(context.Background(), f, []string{"horn", "add"}); code != exitBusy || len(answers.Asked) > 0 {
		t.Errorf("exit %d, asked %q: %s", code, answers.Asked, errOut)
	}
}

func TestWhoIsAsked(t *testing.T) {
	env := map[string]string{}
	s, _, _ := Test("")
	f := NewFactory(s)
	f.Getenv = func(name string) string { return env[name] }
	if f.Asker() != nil {
		t.Error("nobody is there, and is asked")
	}
	s.Person = true
	if f.Asker() == nil {
		t.Error("somebody is there, and is not asked")
	}
	f.asking.noInput = true
	if f.Asker() != nil || f.MayAsk() {
		t.Error("--no-input was passed over")
	}
	if !errors.Is(notAsked(context.Canceled, "horn add"), context.Canceled) {
		t.Error("leaving is no longer leaving")
	}
}
