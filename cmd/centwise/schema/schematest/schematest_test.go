package schematest

import (
	"slices"
	"strings"
	"testing"
)

const horn = `"id": "01KB8Z3J6V0M5T9Q4X2R7C1NWD", "label": "Alder", "maker": "", "model": "", "serial": "", "key": "Bb", "instrument": "trumpet",
	"valves": 3, "receiver": "trumpet", "bore_mm": 11.66, "bore_geometry": "", "throw1_mm": 0, "throw3_mm": 0, "loaner": false, "owner": "",
	"tags": [], "revision": 1, "at": "2026-11-25T10:00:00Z", "contributor": "", "retired": false`

const measured = `"measured": {"sessions": 0, "readings": 0, "horns": 0, "mouthpieces": 0, "players": 0}`

// A member more or less, a word, a unit's bound or a form that the schema does not
// know is seen, wherever it is, and the error says where.
func TestCheck(t *testing.T) {
	show := "{" + horn + `, "aliases": [], ` + measured + "}"
	list := `{"horns": [{` + horn + `}, {` + horn + `}]}`
	for _, tc := range []struct {
		name, schema, text string
		says               string // empty: it is right
	}{
		{"put together", "horn show", show, ""},
		{"list", "horn list", list, ""},
		{"empty list", "horn list", `{"horns": []}`, ""},
		{"more at the top", "horn show", strings.Replace(show, "{", `{"weight_g": 1100, `, 1), ":\n  at /weight_g: no such member"},
		{"more in a list", "horn list", strings.Replace(list, `"label"`, `"nick": "A", "label"`, 1), ":\n  at /horns/0/nick: no such member"},
		{"more in a member", "horn show", strings.Replace(show, `"readings"`, `"notes": 3, "readings"`, 1), ":\n  at /measured/notes: no such member"},
		{"less in a list", "horn list", strings.Replace(list, `"loaner": false, `, "", 1), "at /horns/0: missing property 'loaner'"},
		{"less in a shared part", "horn show", strings.Replace(show, `"tags": [],`, "", 1), "missing property 'tags'"},
		{"another word", "horn show", strings.Replace(show, `"trumpet"`, `"bugle"`, 1), "at /instrument: value must be one of"},
		{"below nought", "horn show", strings.Replace(show, "11.66", "-1", 1), "at /bore_mm: minimum"},
		{"text for a number", "horn show", strings.Replace(show, "11.66", `"11.66"`, 1), "at /bore_mm: got string, want number"},
		{"null for a list", "horn list", `{"horns": null}`, "at /horns: got null, want array"},
		{"no time", "horn show", strings.Replace(show, "2026-11-25T10:00:00Z", "25 November", 1), "at /at: '25 November' is not valid date-time"},
		{"null where it may be", "rank", `{"sorted_by": "error", "weights": "even", "considered": 0, "pairings": [], "left_out": {"retired": 2}}`, ""},
		{"a map's values", "rank", `{"sorted_by": "error", "weights": "even", "considered": 0, "pairings": [], "left_out": {"retired": "two"}}`, "at /left_out/retired"},
		{"more in an alternative", "rank", `{"sorted_by": "error", "weights": "even", "considered": 0, "pairings": [], "colour": 1}`, ":\n  at /colour: no such member"},
		{"two texts", "horn list", list + list, "no JSON"},
		{"no schema", "lift", "{}", "cmd/centwise/schema/command/lift.json"},
	} {
		err := Check(tc.schema, []byte(tc.text))
		switch {
		case tc.says == "" && err != nil:
			t.Errorf("%s: %v", tc.name, err)
		case tc.says != "" && err == nil:
			t.Errorf("%s: nothing is said", tc.name)
		case tc.says != "" && !strings.Contains(err.Error(), tc.says):
			t.Errorf("%s: %v; want %q", tc.name, err, tc.says)
		}
	}
}

func TestSeen(t *testing.T) {
	text := `{"sorted_by": "error", "weights": "even", "considered": 3, "left_out": {"retired": 1, "other key": 2}, "colour": 1,
		"pairings": []}`
	got, err := Seen("rank", []byte(text))
	want := []string{"ranking.considered", "ranking.left_out", "ranking.pairings", "ranking.sorted_by", "ranking.weights", "reasons.*"}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("seen %q, %v; want %q", got, err, want)
	}
	for _, tc := range []struct {
		name string
		list func(string) ([]string, error)
		want []string
	}{
		{"Places", Places, append(want, "matrix.rows[][].judged", "gain.chance_better")},
		{"Members", Members, []string{"considered", "left_out.*", "pairings[].worst.note", "rows[][].judged", "lists[].pairings[].gain.chance_better"}},
	} {
		all, err := tc.list("rank")
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range tc.want {
			if !slices.Contains(all, m) {
				t.Errorf("%s is not among the %s: %q", m, tc.name, all)
			}
		}
	}
}
