package scenario

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// text is what the scenario of a seed writes.
func text(t *testing.T, seed uint64) (gear, sessions string) {
	t.Helper()
	var g, s bytes.Buffer
	all := New(seed)
	if err := all.WriteGear(&g); err != nil {
		t.Fatal(err)
	}
	if err := all.WriteSessions(&s); err != nil {
		t.Fatal(err)
	}
	return g.String(), s.String()
}

// rows reads a sheet as one map a row.
func rows(t *testing.T, sheet string) []map[string]string {
	t.Helper()
	all, err := csv.NewReader(strings.NewReader(sheet)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, line := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			row[name] = line[i]
		}
		out = append(out, row)
	}
	return out
}

func TestSameSeedSameText(t *testing.T) {
	gear, sessions := text(t, DefaultSeed)
	again, sessionsAgain := text(t, DefaultSeed)
	if gear != again || sessions != sessionsAgain {
		t.Error("the same seed gave two scenarios")
	}
	other, otherSessions := text(t, DefaultSeed+1)
	if gear != other {
		t.Error("the gear depends on the seed")
	}
	if sessions == otherSessions {
		t.Error("two seeds gave the same sessions")
	}
}

func TestTitleSaysInvented(t *testing.T) {
	if !strings.Contains(Title, "Lantern Bay Youth Winds") || !strings.Contains(Title, "invented") {
		t.Errorf("title %q does not say that the orchestra is invented", Title)
	}
}

// Trees, birds and makers are the only names: nobody's real gear slips in.
func TestNamesAreInvented(t *testing.T) {
	trees := strings.Fields("Alder Rowan Hazel Aspen Birch Elm Larch Hawthorn Holly Linden Maple Willow Juniper Yew")
	birds := strings.Fields("Plover Dunlin Curlew Knot Turnstone Avocet Godwit Sanderling Whimbrel Stilt Ruff Phalarope Snipe Dotterel")
	handle := regexp.MustCompile(`^[a-z]+-[a-z]+$`)
	size := regexp.MustCompile(`^([A-Z][a-z]+) (1[5-7]\.\d)( second| third)?$`)
	gear, sessions := text(t, DefaultSeed)
	for _, row := range rows(t, gear) {
		label := row["label"]
		if maker := row["maker"]; row["kind"] != "player" && maker != "Tidewright" && maker != "Northlamp" {
			t.Errorf("%s is made by %q, want an invented maker", label, maker)
		}
		switch row["kind"] {
		case "horn":
			if !slices.Contains(trees, label) {
				t.Errorf("horn %q is not named after a tree of the list", label)
			}
		case "mouthpiece":
			parts := size.FindStringSubmatch(label)
			if parts == nil || !slices.Contains(birds, parts[1]) || row["model"] != parts[1]+" "+parts[2] {
				t.Errorf("mouthpiece %q, model %q, is not a shore bird with its millimetres", label, row["model"])
			} else if rim, _ := strconv.ParseFloat(row["rim_mm"], 64); figure(rim) != strings.TrimSuffix(parts[2], ".0") {
				t.Errorf("mouthpiece %q has a rim of %s mm", label, row["rim_mm"])
			}
		case "player":
			if !handle.MatchString(label) {
				t.Errorf("player %q is not a handle", label)
			}
		default:
			t.Errorf("%q is of kind %q", label, row["kind"])
		}
	}
	for _, row := range rows(t, sessions) {
		if !handle.MatchString(row["contributor"]) {
			t.Fatalf("contributor %q is not a handle", row["contributor"])
		}
	}
}

func TestSizes(t *testing.T) {
	gear, sessions := text(t, DefaultSeed)
	count := map[string]int{}
	for _, row := range rows(t, gear) {
		count[row["kind"]]++
	}
	if count["horn"] != 14 || count["mouthpiece"] != 18 || count["player"] != 12 {
		t.Errorf("%v, want 14 horns, 18 mouthpieces, 12 players", count)
	}
	names := map[string]bool{}
	for _, row := range rows(t, sessions) {
		names[row["session"]] = true
	}
	if len(names) != sessionCount {
		t.Errorf("%d sessions, want %d", len(names), sessionCount)
	}
}

// Every session is one the catalog would take: gear of the list, shanks that
// fit, notes of the range, deviations within the limits, repeats in order.
func TestSessionsAreValid(t *testing.T) {
	for seed := range uint64(20) {
		gear, sessions := text(t, seed)
		takes, fits, people := map[string]string{}, map[string]string{}, map[string]bool{}
		for _, row := range rows(t, gear) {
			switch row["kind"] {
			case "horn":
				takes[row["label"]] = row["receiver"]
			case "mouthpiece":
				fits[row["label"]] = row["shank"]
			default:
				people[row["label"]] = true
			}
		}
		setup := map[string]string{}
		seen := map[string]bool{}
		for _, row := range rows(t, sessions) {
			if shank, ok := fits[row["mouthpiece"]]; !ok || shank != takes[row["horn"]] || !people[row["player"]] {
				t.Fatalf("seed %d: %v is not played with gear of the list that fits", seed, row)
			}
			who := row["horn"] + row["mouthpiece"] + row["player"] + row["contributor"] + row["date"]
			if before, ok := setup[row["session"]]; ok && before != who {
				t.Fatalf("seed %d: session %s has two setups or players", seed, row["session"])
			}
			setup[row["session"]] = who
			note, err := pitch.ParseNote(row["note"])
			cents, err2 := strconv.ParseFloat(row["cents"], 64)
			if err != nil || err2 != nil || note < pitch.RangeLow || note > pitch.RangeHigh || cents < catalog.MinCents || cents > catalog.MaxCents {
				t.Fatalf("seed %d: %v", seed, row)
			}
			key := row["session"] + row["note"] + row["repeat"]
			if seen[key] {
				t.Fatalf("seed %d: %s reads %s twice as repeat %s", seed, row["session"], row["note"], row["repeat"])
			}
			seen[key] = true
		}
	}
}

// Horns, mouthpieces and players hang together but for the flugelhorn, its two
// mouthpieces and its player; one mouthpiece was never measured.
func TestOneTinyIsland(t *testing.T) {
	for seed := range uint64(20) {
		_, sessions := text(t, seed)
		parent := map[string]string{}
		var find func(string) string
		find = func(x string) string {
			if p, ok := parent[x]; ok && p != x {
				return find(p)
			}
			parent[x] = x
			return x
		}
		for _, row := range rows(t, sessions) {
			parent[find(row["mouthpiece"])] = find(row["horn"])
			parent[find(row["player"])] = find(row["horn"])
		}
		parts := map[string][]string{}
		items := 0
		for x := range parent {
			root := find(x)
			parts[root] = append(parts[root], x)
			items++
		}
		if len(parts) != 2 {
			t.Fatalf("seed %d: %d parts, want the orchestra and an island", seed, len(parts))
		}
		island := parts[find("Yew")]
		slices.Sort(island)
		if want := []string{"Dotterel 16.6", "Snipe 16.3", "Yew", "fern-vole"}; !slices.Equal(island, want) {
			t.Errorf("seed %d: the island is %v, want %v", seed, island, want)
		}
		if _, ok := parent[neverMeasured]; ok {
			t.Errorf("seed %d: %s was measured", seed, neverMeasured)
		}
		if items != 14+17+12 {
			t.Errorf("seed %d: %d items were measured, want all but one", seed, items)
		}
	}
}

// Deviations look like a trumpet's (Univ. of Tennessee at Chattanooga teaching
// chart: low D and C# very sharp, fourth-space E flat).
func TestDeviationsAreRealistic(t *testing.T) {
	_, sessions := text(t, DefaultSeed)
	sum, n := map[string]float64{}, map[string]float64{}
	all, count := 0.0, 0.0
	for _, row := range rows(t, sessions) {
		cents, _ := strconv.ParseFloat(row["cents"], 64)
		sum[row["note"]] += cents
		n[row["note"]]++
		all += cents
		count++
	}
	mean := func(note string) float64 { return sum[note]/n[note] - all/count }
	for note, sharp := range map[string]float64{"C#4": 20, "D4": 10, "F#3": 20} {
		if mean(note) < sharp {
			t.Errorf("%s is %.1f cents off on average, want sharp by %.0f and more", note, mean(note), sharp)
		}
	}
	if mean("E5") > -4 {
		t.Errorf("E5 is %.1f cents off on average, want flat", mean("E5"))
	}
}

// Copies of one design are more alike than horns of two, as three quarters of
// the variance lie between designs.
func TestCopiesAreAlike(t *testing.T) {
	alike, unlike := 0.0, 0.0
	for seed := range uint64(200) {
		s := New(seed)
		for i := range notes {
			alike += math.Pow(s.horns[0].nature[i]-s.horns[1].nature[i], 2)
			unlike += math.Pow(s.horns[0].nature[i]-s.horns[9].nature[i], 2)
		}
	}
	if ratio := alike / unlike; math.Abs(ratio-0.25) > 0.05 {
		t.Errorf("copies differ by %.2f of the variance of two designs, want 0.25", ratio)
	}
}

func TestSlipsAreThere(t *testing.T) {
	s := New(DefaultSeed)
	for _, slip := range slips {
		sit := s.sessions[slip.session]
		expected := add(common(), s.horns[sit.horn].nature, s.mouthpieces[sit.mouthpiece].nature, s.players[sit.player].nature)
		var rest []float64
		for _, r := range sit.readings {
			rest = append(rest, r.cents-expected[r.note])
		}
		sorted := slices.Sorted(slices.Values(rest))
		middle := sorted[len(sorted)/2]
		worst := max(sorted[len(sorted)-1]-middle, middle-sorted[0])
		if worst < 0.6*math.Abs(slip.cents) {
			t.Errorf("session %s: the worst reading is %.0f cents off, want the slip of %.0f", sit.name, worst, slip.cents)
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }

func TestWriteErrorsAreReported(t *testing.T) {
	s := New(DefaultSeed)
	if s.WriteGear(full{}) == nil || s.WriteSessions(full{}) == nil {
		t.Error("a full disk went unnoticed")
	}
}
