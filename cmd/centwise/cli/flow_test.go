package cli

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/sqlstore"
	"centwise/match"
	"centwise/match/fit"
)

// world is a catalog on disk with a few sessions, and an engine whose answers
// are simple sums, so that what commands make of them can be worked out by hand.
type world struct {
	t    *testing.T
	path string
	// shares gives the cents that each item adds to every note on a valve
	// combination, by label.
	shares map[string]map[string]float64
	label  map[catalog.ID]string
	opened int // engines asked for
}

func newWorld(t *testing.T) *world {
	w := &world{t: t, path: filepath.Join(t.TempDir(), "catalog.db"), label: map[catalog.ID]string{},
		shares: map[string]map[string]float64{
			"Alder":       {"13": 24, "123": 30},
			"Rowan":       {"12": 9},
			"Plover 16.2": {"0": 6, "13": -20, "123": -24},
			"Dunlin 16.6": {"2": -12},
			"blue-kite":   {"1": 8},
		}}
	store, err := sqlstore.Open(context.Background(), w.path, sqlstore.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	c := catalog.Changes{
		Horns: []catalog.Horn{{ID: catalog.NewID(), Label: "Alder", Key: pitch.KeyBb}, {ID: catalog.NewID(), Label: "Rowan", Key: pitch.KeyC, Loaner: true}},
		Mouthpieces: []catalog.Mouthpiece{{ID: catalog.NewID(), Label: "Plover 16.2", RimMM: 16.2, Stock: []string{"cupboard"}},
			{ID: catalog.NewID(), Label: "Dunlin 16.6", RimMM: 16.6}, {ID: catalog.NewID(), Label: "Ruff 16.0", Shank: catalog.ShankCornet}},
		Players: []catalog.Player{{ID: catalog.NewID(), Label: "blue-kite"}},
	}
	played := time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC)
	c.Sessions = []catalog.Session{
		{Name: "lb-1", Horn: c.Horns[0].ID, Mouthpiece: c.Mouthpieces[0].ID, Player: c.Players[0].ID, Contributor: "lamp-keeper", At: played,
			Readings: []catalog.Reading{{Slot: pitch.Slot{Partial: 2}, Cents: -3}, {Slot: pitch.Slot{Partial: 3}, Cents: 12.5, Repeat: 1}, {Slot: pitch.Slot{Partial: 3}, Cents: 13, Repeat: 2}}},
		{Name: "lb-2", Horn: c.Horns[1].ID, Mouthpiece: c.Mouthpieces[1].ID, Player: c.Players[0].ID, At: played.AddDate(0, 0, 7),
			Readings: []catalog.Reading{{Slot: pitch.Slot{Partial: 2}, Cents: 1}, {Slot: pitch.Slot{Partial: 4}, Cents: 180, Odd: true}}},
	}
	if err := store.Apply(context.Background(), c); err != nil {
		t.Fatal(err)
	}
	for _, h := range c.Horns {
		w.label[h.ID] = h.Label
	}
	for _, m := range c.Mouthpieces {
		w.label[m.ID] = m.Label
	}
	w.label[c.Players[0].ID] = "blue-kite"
	return w
}

// run runs a command line on the world and gives the exit code and what was
// printed.
func (w *world) run(args ...string) (code int, out, errOut string) {
	w.t.Helper()
	return w.runWith("", args...)
}

func (w *world) runWith(in string, args ...string) (code int, out, errOut string) {
	s, outBuffer, errBuffer := Test(in)
	f := NewFactory(s)
	f.Getenv = func(name string) string {
		if name == "CENTWISE_CATALOG" {
			return w.path
		}
		return ""
	}
	f.Engine = func(context.Context, catalog.Store, catalog.Counter) (match.Engine, error) {
		w.opened++
		return w, nil
	}
	code = Run(context.Background(), f, args)
	return code, outBuffer.String(), errBuffer.String()
}

func (w *world) share(id catalog.ID, slots []pitch.Slot) []float64 {
	out := make([]float64, len(slots))
	for j, s := range slots {
		out[j] = w.shares[w.label[id]][s.Valves.String()]
	}
	return out
}

// Predict sums the shares; the interval has sd 2, and the draws shift every
// note on the second valve by -2, 0 and +2 cents.
func (w *world) Predict(s fit.Setup, slots []pitch.Slot) (fit.Prediction, error) {
	p := fit.Prediction{Setup: s, Slots: slots, Common: make([]float64, len(slots)), Pair: make([]float64, len(slots)),
		Horn: w.share(s.Horn, slots), Mouthpiece: w.share(s.Mouthpiece, slots), Player: w.share(s.Player, slots),
		Linked:   w.label[s.Horn] != "Rowan" || w.label[s.Mouthpiece] != "Plover 16.2",
		Evidence: fit.Evidence{Horn: 1, Mouthpiece: 1, HornPlayers: 1, Basis: fit.BasisMeasured}}
	for j := range slots {
		p.Mean = append(p.Mean, p.Horn[j]+p.Mouthpiece[j]+p.Player[j])
		p.SD = append(p.SD, 2)
	}
	for k := -1; k <= 1; k++ {
		draw := make([]float64, len(slots))
		for j, slot := range slots {
			draw[j] = p.Mean[j]
			if slot.Valves.Uses(2) {
				draw[j] += 2 * float64(k)
			}
		}
		p.Draws = append(p.Draws, draw)
	}
	return p, nil
}

func (w *world) PredictMany(list []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error) {
	var out []fit.Prediction
	for _, s := range list {
		p, err := w.Predict(s, slots)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

func TestPredictPrintsTheShares(t *testing.T) {
	w := newWorld(t)
	code, out, errOut := w.run("predict", "alder", "plover 16.2", "--player", "blue-kite", "--csv", "--no-throws")
	if code != exitOK {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(rows) != 32 {
		t.Fatalf("%d rows (%v), want a heading and the 31 usual notes", len(rows), err)
	}
	byNote := map[string][]string{}
	for _, r := range rows {
		byNote[r[0]] = r
	}
	// note, concert, valves, partial, horn, mouthpiece, player, pair, cents, sd
	for note, want := range map[string]string{
		"F#3": "F#3|E3|123|2|30|-24|0|0|6|2", "G3": "G3|F3|13|2|24|-20|0|0|4|2", "C4": "C4|Bb3|0|2|0|6|0|0|6|2", "Bb4": "Bb4|Ab4|1|4|0|0|8|0|8|2",
	} {
		if got := strings.Join(byNote[note][:10], "|"); got != want {
			t.Errorf("%s: %s, want %s", note, got, want)
		}
	}
}

func TestPredictJSONAddsUp(t *testing.T) {
	w := newWorld(t)
	code, out, errOut := w.run("predict", "Alder", "Plover 16.2", "--json", "--range", "C4-G5")
	var got match.Explanation
	if err := json.Unmarshal([]byte(out), &got); err != nil || code != exitOK || errOut != "" {
		t.Fatalf("exit %d, %v, stderr %q", code, err, errOut)
	}
	if len(got.Notes) != 20 || got.Notes[0].Note != "C4" || got.Notes[19].Note != "G5" {
		t.Errorf("%d notes, want the 20 from C4 to G5", len(got.Notes))
	}
	for _, n := range got.Notes {
		if sum := n.Horn + n.Mouthpiece + n.Player + n.Pair; math.Abs(sum-n.Cents) > 1e-9 {
			t.Errorf("%s: shares sum to %v, not %v", n.Note, sum, n.Cents)
		}
		if left := n.Cents - n.Target - n.Slide - n.Throw; math.Abs(left-n.Left) > 1e-9 {
			t.Errorf("%s: left %v, want %v", n.Note, n.Left, left)
		}
	}
}

// Piped, the table is data and the sentences are talk.
func TestPredictPiped(t *testing.T) {
	w := newWorld(t)
	code, out, errOut := w.run("predict", "Alder", "Plover 16.2")
	if code != exitOK || !strings.HasPrefix(out, "note\tconcert\tvalves\t") || strings.Contains(out, "Plover") {
		t.Errorf("exit %d, output %q", code, out)
	}
	for _, want := range []string{"the worst note is", "disinfect", "Rest between mouthpieces"} {
		if !strings.Contains(strings.Join(strings.Fields(errOut), " "), want) {
			t.Errorf("stderr lacks %q: %s", want, errOut)
		}
	}
}

func TestPredictErrors(t *testing.T) {
	w := newWorld(t)
	for _, tc := range []struct {
		name, want string
		args       []string
		code       int
	}{
		{"unknown horn", `did you mean "Alder"`, []string{"predict", "Adler", "Plover 16.2"}, exitFailed},
		{"unknown mouthpiece", `did you mean "Plover 16.2"`, []string{"predict", "Alder", "Plover 16.3"}, exitFailed},
		{"unknown player", `did you mean "blue-kite"`, []string{"predict", "Alder", "Plover 16.2", "--player", "blue-kit"}, exitFailed},
		{"shank", "does not fit", []string{"predict", "Alder", "Ruff 16.0"}, exitFailed},
		{"range", "--range", []string{"predict", "Alder", "Plover 16.2", "--range", "G5-C4"}, exitUsage},
		{"no note", "range", []string{"predict", "Alder", "Plover 16.2", "--range", "C8-D8"}, exitFailed},
	} {
		code, out, errOut := w.run(tc.args...)
		if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
			t.Errorf("%s: exit %d, want %d; output %q; stderr %s", tc.name, code, tc.code, out, errOut)
		}
	}
	if code, _, errOut := w.run("predict", "Alder", "Ruff 16.0", "--adapter", "--json"); code != exitOK {
		t.Errorf("with an adapter: exit %d: %s", code, errOut)
	}
}

func TestPredictPairs(t *testing.T) {
	w := newWorld(t)
	pairs := "horn,mouthpiece,player\nalder,Plover 16.2,\nRowan,Dunlin 16.6,blue-kite\n"
	code, out, errOut := w.runWith(pairs, "predict", "--pairs", "-", "--csv")
	if code != exitOK || errOut != "" {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(rows) != 1+2*45 {
		t.Fatalf("%d rows (%v), want a heading and 45 slots for each pair", len(rows), err)
	}
	if got := strings.Join(rows[0], ","); got != "horn,mouthpiece,fingering,partial,cents,sd,linked" {
		t.Errorf("heading %s", got)
	}
	found := map[string]bool{}
	for _, r := range rows {
		found[strings.Join(r, ",")] = true
	}
	for _, want := range []string{"alder,Plover 16.2,13,3,4,2,true", "Rowan,Dunlin 16.6,1,4,8,2,true", "Rowan,Dunlin 16.6,2,5,-12,2,true", "Rowan,Dunlin 16.6,0,7,0,2,true"} {
		if !found[want] {
			t.Errorf("no line %q", want)
		}
	}
	if w.opened != 1 {
		t.Errorf("%d fits for one batch", w.opened)
	}
}

func TestPredictPairsUnknown(t *testing.T) {
	w := newWorld(t)
	path := filepath.Join(t.TempDir(), "pairs.csv")
	text := "horn,mouthpiece\nAdler,Plover 16.2\nAlder,Dunlin 16.6\nRowan,Nosuch\n"
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	code, out, errOut := w.run("predict", "--pairs", path, "--csv")
	if code != exitFailed || out != "" {
		t.Errorf("exit %d, output %q", code, out)
	}
	for _, want := range []string{path + `:2: no horn "Adler" in the catalog; did you mean "Alder"?`, path + `:4: no mouthpiece "Nosuch"`, "--skip-unknown"} {
		if !strings.Contains(errOut, want) {
			t.Errorf("stderr lacks %q:\n%s", want, errOut)
		}
	}
	code, out, errOut = w.run("predict", "--pairs", path, "--json", "--skip-unknown")
	var got struct{ Predictions []match.PairCents }
	if err := json.Unmarshal([]byte(out), &got); err != nil || code != exitSkipped || len(got.Predictions) != 45 {
		t.Errorf("exit %d, %d predictions (%v)", code, len(got.Predictions), err)
	}
	if !strings.Contains(errOut, "left out 2 lines") {
		t.Errorf("stderr %s", errOut)
	}
}

// Plover takes back what Alder does too much on 13 and 123, so it comes first.
func TestRankFromAHorn(t *testing.T) {
	w := newWorld(t)
	code, out, errOut := w.run("rank", "--horn", "Alder", "--json")
	var got match.Ranking
	if err := json.Unmarshal([]byte(out), &got); err != nil || code != exitOK || errOut != "" {
		t.Fatalf("exit %d, %v, stderr %q", code, err, errOut)
	}
	if got.Horn != "Alder" || len(got.Pairings) != 2 || got.Pairings[0].Mouthpiece != "Plover 16.2" || got.Pairings[1].Mouthpiece != "Dunlin 16.6" {
		t.Errorf("got %+v", got)
	}
	if sum := got.Pairings[0].ChanceBest + got.Pairings[1].ChanceBest; math.Abs(sum-1) > 1e-9 {
		t.Errorf("chances of being best sum to %v", sum)
	}
	if got.LeftOut["shank does not fit the receiver"] != 1 {
		t.Errorf("left out %v", got.LeftOut)
	}
}

func TestRankFilters(t *testing.T) {
	w := newWorld(t)
	for _, tc := range []struct {
		name string
		args []string
		want string // horn/mouthpiece of the pairings, sorted by the command
	}{
		{"by horn key", []string{"--key", "C", "--mouthpiece", "Dunlin 16.6"}, "Rowan/Dunlin 16.6"},
		{"loaners", []string{"--mouthpiece", "Plover 16.2", "--loaner"}, "Rowan/Plover 16.2"},
		{"stock", []string{"--horn", "Alder", "--stock", "cupboard"}, "Alder/Plover 16.2"},
		{"rim", []string{"--horn", "Alder", "--rim-mm", "16.5-"}, "Alder/Dunlin 16.6"},
		{"shank with adapter", []string{"--horn", "Alder", "--shank", "cornet", "--adapter"}, "Alder/Ruff 16.0"},
		{"linked", []string{"--mouthpiece", "Plover 16.2", "--linked"}, "Alder/Plover 16.2"},
		{"top", []string{"--horn", "Alder", "--top", "1"}, "Alder/Plover 16.2"},
	} {
		code, out, errOut := w.run(append([]string{"rank", "--json"}, tc.args...)...)
		var got match.Ranking
		if err := json.Unmarshal([]byte(out), &got); err != nil || code != exitOK {
			t.Errorf("%s: exit %d, %v: %s", tc.name, code, err, errOut)
			continue
		}
		var list []string
		for _, p := range got.Pairings {
			list = append(list, p.Horn+"/"+p.Mouthpiece)
		}
		if strings.Join(list, " ") != tc.want {
			t.Errorf("%s: %v, want %s", tc.name, list, tc.want)
		}
	}
}

func TestRankErrors(t *testing.T) {
	w := newWorld(t)
	for _, tc := range []struct {
		name, want string
		args       []string
		code       int
	}{
		{"nothing left", "no pairing is left to rank", []string{"rank", "--horn", "Alder", "--stock", "attic"}, exitFailed},
		{"misspelt list", `did you mean "cupboard"?`, []string{"rank", "--horn", "Alder", "--stock", "cuboard"}, exitFailed},
		{"no cup", "Try: --cup-cm3 1-1.3", []string{"rank", "--horn", "Alder", "--cup-cm3", "big"}, exitUsage},
		{"comfort of nobody", "--comfort needs a --player", []string{"rank", "--comfort"}, exitUsage},
		{"order", "--sort", []string{"rank", "--sort", "price"}, exitUsage},
		{"top below nought", "below nought", []string{"rank", "--top", "-1"}, exitUsage},
		{"unknown horn", `did you mean "Rowan"`, []string{"rank", "--horn", "Rowann"}, exitFailed},
	} {
		code, out, errOut := w.run(tc.args...)
		if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
			t.Errorf("%s: exit %d, want %d; output %q; stderr %s", tc.name, code, tc.code, out, errOut)
		}
	}
}

func TestRankSaysWhatToDoNext(t *testing.T) {
	w := newWorld(t)
	_, _, errOut := w.run("rank", "--horn", "Alder", "--player", "blue-kite")
	text := strings.Join(strings.Fields(errOut), " ")
	for _, want := range []string{"centwise predict Alder 'Plover 16.2' --player blue-kite", "measure one session", "disinfect"} {
		if !strings.Contains(text, want) {
			t.Errorf("stderr lacks %q: %s", want, errOut)
		}
	}
}

func TestSessionList(t *testing.T) {
	w := newWorld(t)
	for _, tc := range []struct {
		name string
		args []string
		want string
	}{
		{"all", nil, "lb-1 lb-2"}, {"by horn", []string{"--horn", "rowan"}, "lb-2"}, {"by mouthpiece", []string{"--mouthpiece", "Plover 16.2"}, "lb-1"},
		{"by contributor", []string{"--contributor", "lamp-keeper"}, "lb-1"}, {"since", []string{"--since", "2026-03-05"}, "lb-2"},
		{"limit", []string{"--limit", "1"}, "lb-1"}, {"by player", []string{"--player", "blue-kite"}, "lb-1 lb-2"},
	} {
		code, out, errOut := w.run(append([]string{"session", "list", "--json"}, tc.args...)...)
		var got struct {
			Sessions []struct {
				Session, Player string
				Readings        int
			}
		}
		if err := json.Unmarshal([]byte(out), &got); err != nil || code != exitOK {
			t.Errorf("%s: exit %d, %v: %s", tc.name, code, err, errOut)
			continue
		}
		var names []string
		for _, s := range got.Sessions {
			names = append(names, s.Session)
			if s.Player != "blue-kite" || s.Readings == 0 {
				t.Errorf("%s: %+v", tc.name, s)
			}
		}
		if strings.Join(names, " ") != tc.want {
			t.Errorf("%s: %v, want %s", tc.name, names, tc.want)
		}
	}
	if code, _, _ := w.run("session", "list", "--since", "yesterday"); code != exitUsage {
		t.Errorf("not a date: exit %d", code)
	}
}

func TestSessionShow(t *testing.T) {
	w := newWorld(t)
	code, out, _ := w.run("session", "show", "lb-2", "--csv")
	want := "note,fingering,partial,repeat,cents,odd\nC4,0,2,1,1,false\nC5,0,4,1,180,true\n"
	if code != exitOK || out != want {
		t.Errorf("exit %d, %q", code, out)
	}
	code, out, _ = w.run("session", "show", "lb-1", "--json")
	var got struct {
		Session, Horn string
		Slots         []struct {
			Note  string
			Cents float64
		}
		Retraction any
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || code != exitOK || got.Horn != "Alder" || len(got.Slots) != 3 || got.Retraction != nil {
		t.Errorf("exit %d, %v: %+v", code, err, got)
	}
}

func TestSessionRetract(t *testing.T) {
	w := newWorld(t)
	if code, _, _ := w.run("session", "retract", "lb-1"); code != exitUsage {
		t.Errorf("without a reason: exit %d", code)
	}
	if code, _, errOut := w.run("session", "retract", "lb-1", "--reason", "x", "--replaced-by", "lb-1"); code != exitUsage {
		t.Errorf("replaced by itself: exit %d: %s", code, errOut)
	}
	code, _, errOut := w.run("session", "retract", "lb-1", "--reason", "wrong mouthpiece", "--replaced-by", "lb-2", "--contributor", "fern-vole")
	if code != exitOK || !strings.Contains(errOut, "retracted session lb-1") {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	if _, out, _ := w.run("session", "list"); strings.Contains(out, "lb-1") {
		t.Errorf("still listed: %s", out)
	}
	_, out, _ := w.run("session", "list", "--retracted", "--json")
	for _, want := range []string{`"reason": "wrong mouthpiece"`, `"contributor": "fern-vole"`, `"replaced_by": "0`} {
		if !strings.Contains(out, want) {
			t.Errorf("no %s in %s", want, out)
		}
	}
	var info catalog.Info
	_, out, _ = w.run("catalog", "info", "--json")
	if err := json.Unmarshal([]byte(out), &info); err != nil || info.Sessions != 1 || info.Retracted != 1 {
		t.Errorf("info %+v (%v)", info, err)
	}
}

func TestGearShowCounts(t *testing.T) {
	w := newWorld(t)
	_, out, _ := w.run("player", "show", "blue-kite", "--json")
	var got struct{ Measured measured }
	if err := json.Unmarshal([]byte(out), &got); err != nil || got.Measured != (measured{Sessions: 2, Readings: 5, Horns: 2, Mouthpieces: 2, Players: 1}) {
		t.Errorf("%+v (%v)", got, err)
	}
}

func TestCheckOfACleanCatalog(t *testing.T) {
	w := newWorld(t)
	code, out, errOut := w.run("catalog", "check", "--json")
	var got struct{ Findings []catalog.Finding }
	if err := json.Unmarshal([]byte(out), &got); err != nil || code != exitOK || got.Findings == nil || len(got.Findings) != 0 {
		t.Errorf("exit %d, %v, %s %s", code, err, out, errOut)
	}
}

// A damaged catalog is said to be, with exit code 1, and is not fitted.
func TestCheckOfADamagedCatalog(t *testing.T) {
	w := newWorld(t)
	content, err := os.ReadFile(w.path)
	if err != nil {
		t.Fatal(err)
	}
	// Overwrite the cells of one reading's session in place: an orphan row.
	broken := bytes.Replace(content, []byte("lb-1"), []byte("lb-9"), 1)
	if bytes.Equal(broken, content) {
		t.Fatal("the name of the session is not in the file")
	}
	if err := os.WriteFile(w.path, broken, 0o644); err != nil {
		t.Fatal(err)
	}
	code, _, errOut := w.run("catalog", "check", "--json")
	if code != exitFailed || w.opened != 0 || !strings.Contains(errOut, "damaged") {
		t.Errorf("exit %d, %d fits: %s", code, w.opened, errOut)
	}
}
