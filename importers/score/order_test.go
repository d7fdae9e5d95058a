package score

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// Marks for measures of one second.
const (
	forwardBar = `<barline location="left"><repeat direction="forward"/></barline>`
	backBar    = `<barline location="right"><repeat direction="backward"/></barline>`
)

func endingBars(numbers string, back bool) string {
	s := fmt.Sprintf(`<barline location="left"><ending number=%q type="start"/></barline>`, numbers) +
		fmt.Sprintf(`<barline location="right"><ending number=%q type="stop"/>`, numbers)
	if back {
		s += `<repeat direction="backward"/>`
	}
	return s + "</barline>"
}

func sound(attributes string) string {
	return "<direction><direction-type><words/></direction-type><sound " + attributes + "/></direction>"
}

// orderOf plays measures of one second with these marks: "1 2 1 2 3".
func orderOf(t *testing.T, marks ...string) (string, []string) {
	t.Helper()
	var measures []string
	for _, m := range marks {
		measures = append(measures, m+tone("C5", 1))
	}
	s := mustRead(t, solo(measures...))
	var r remarks
	visits, err := order(s.play.(*document).measures, &r)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, v := range visits {
		out = append(out, fmt.Sprint(v.measure+1))
	}
	p, err := s.Part("", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if p.Durations[72] != float64(len(visits)) || p.Seconds != float64(len(visits)) {
		t.Errorf("%d measures of a second were played, %v s counted of %v s", len(visits), p.Durations[72], p.Seconds)
	}
	return strings.Join(out, " "), r.list()
}

// The order in which musicians play repeats, endings and jumps (common practice,
// no source; MusicXML 4.0 for what its attributes mean).
func TestOrderOfPlay(t *testing.T) {
	none := ""
	both := func(marks ...string) string { return strings.Join(marks, "") }
	times := func(n int) string {
		return fmt.Sprintf(`<barline><repeat direction="backward" times="%d"/></barline>`, n)
	}
	for _, c := range []struct {
		name, want string
		marks      []string
	}{
		{"no marks", "1 2 3", []string{none, none, none}},
		{"a repeat from the beginning", "1 2 1 2 3", []string{none, backBar, none}},
		{"a repeat with its beginning", "1 2 3 2 3 4", []string{none, forwardBar, backBar, none}},
		{"two repeats, one beginning", "1 2 1 2 3 3 4", []string{none, backBar, backBar, none}},
		{"one measure", "1 2 2 3", []string{none, both(forwardBar, backBar), none}},
		{"three times", "1 2 1 2 1 2 3", []string{none, times(3), none}},
		{"once", "1 2 3", []string{none, times(1), none}},
		{"a beginning without an end", "1 2 3", []string{none, forwardBar, none}},
		{"the beginning in a sound", "1 2 3 2 3", []string{none, sound(`forward-repeat="yes"`), backBar}},
		{"two endings", "1 2 1 3 4", []string{none, endingBars("1", true), endingBars("2", false), none}},
		{"long endings", "1 2 3 1 4 5 6", []string{none,
			`<barline location="left"><ending number="1" type="start"/></barline>`,
			`<barline><ending number="1" type="stop"/><repeat direction="backward"/></barline>`,
			`<barline location="left"><ending number="2" type="start"/></barline>`,
			`<barline><ending number="2" type="discontinue"/></barline>`, none}},
		{"three passes in two endings", "1 2 1 2 1 3 4", []string{none, endingBars("1, 2", true), endingBars("3", false), none}},
		{"a range of passes", "1 2 1 2 1 3 4", []string{none, endingBars("1-2", true), endingBars("3.", false), none}},
		{"three endings", "1 2 1 3 1 4 5", []string{none, endingBars("1", true), endingBars("2", true), endingBars("3", false), none}},
		{"a lone ending", "1 2 1 3", []string{none, endingBars("1", true), none}},
		{"the last ending has a repeat sign", "1 2 1 3 4", []string{none, endingBars("1", true), endingBars("2", true), none}},
		{"a repeat behind endings", "1 2 1 3 4 5 4 5 6", []string{none, endingBars("1", true), endingBars("2", false), none, backBar, none}},
		{"endings twice", "1 2 1 3 4 5 4 6", []string{none, endingBars("1", true), endingBars("2", false),
			forwardBar, endingBars("1", true), endingBars("2", false)}},
		{"an ending that begins a repeat", "1 2 1 3 4", []string{none, endingBars("1", true), both(forwardBar, endingBars("2", false)), none}},
		{"endings without numbers", "1 2 1 2 3", []string{none, endingBars(" ", true), none}},
		{"D.C.", "1 2 3 1 2 3 4", []string{none, none, sound(`dacapo="yes"`), none}},
		{"D.C. al Fine", "1 2 3 1 2", []string{none, sound(`fine="yes"`), sound(`dacapo="yes"`)}},
		{"D.C. leaves out repeats", "1 2 1 2 3 1 2", []string{none, both(backBar, sound(`fine="yes"`)), sound(`dacapo="yes"`)}},
		{"D.C. takes repeats that say so", "1 1 2 1 1 2", []string{`<barline><repeat direction="backward" after-jump="yes"/></barline>`, sound(`dacapo="yes"`)}},
		{"D.C. plays the last ending", "1 2 1 3 4 1 3", []string{none, endingBars("1", true), both(endingBars("2", false), sound(`fine="yes"`)), sound(`dacapo="yes"`)}},
		{"D.C. passes a lone ending", "1 2 1 3 1 3", []string{none, endingBars("1", true), sound(`dacapo="yes"`)}},
		{"D.C. with repeats in endings", "1 2 1 3 1 2 1 3", []string{none,
			strings.Replace(endingBars("1", true), `backward"`, `backward" after-jump="yes"`, 1), both(endingBars("2", false), sound(`dacapo="yes"`))}},
		{"D.S.", "1 2 3 2 3 4", []string{none, sound(`segno="s"`), sound(`dalsegno="s"`), none}},
		{"D.S. on a barline", "1 2 3 2 3 4", []string{none, `<barline location="left" segno="s"/>`, sound(`dalsegno="s"`), none}},
		{"D.S. behind a barline", "1 2 3 2 3 4", []string{`<barline location="right" segno="s"/>`, none, sound(`dalsegno="s"`), none}},
		{"D.S. al Coda", "1 2 3 4 2 5 6", []string{none, both(sound(`segno="a"`), sound(`tocoda="c"`)), none, sound(`dalsegno="a"`), sound(`coda="c"`), none}},
		{"the coda sign at both ends", "1 2 3 1 4 5", []string{both(sound(`coda="c"`), sound(`tocoda="c"`)), none, sound(`dacapo="yes"`), sound(`coda="c"`), none}},
		{"a coda before the jump", "1 2 3 1 2 1 2 3 4", []string{sound(`coda="c"`), sound(`tocoda="c"`), sound(`dacapo="yes"`), none}},
		{"two signs", "1 2 3 2 3 4 3 4", []string{none, sound(`segno="a"`), both(sound(`segno="b"`), sound(`dalsegno="a"`)), sound(`dalsegno="b"`)}},
		{"the only sign, by another name", "1 2 3 2 3", []string{none, sound(`segno="a"`), sound(`dalsegno="b"`)}},
		{"D.C. al Coda, the repeat before", "1 2 1 2 3 1 2 4", []string{none, both(backBar, sound(`tocoda="x"`)), sound(`dacapo="yes"`), sound(`coda="x"`)}},
		{"To Coda and Fine without a jump", "1 2 3", []string{sound(`tocoda="x"`), sound(`fine="yes"`), sound(`coda="x"`)}},
		{"D.C. in the second ending", "1 2 1 3 1 3 4", []string{none, endingBars("1", true), both(endingBars("2", false), sound(`dacapo="yes"`)), none}},
		{"D.C. in one pass only", "1 2 1 2 1 2 3", []string{none, both(backBar, sound(`dacapo="yes" time-only="2"`)), none}},
		{"D.C. denied", "1 2", []string{none, sound(`dacapo="no"`)}},
	} {
		if got, _ := orderOf(t, c.marks...); got != c.want {
			t.Errorf("%s: measures %s, want %s", c.name, got, c.want)
		}
	}
}

func TestSignsThatAreMissing(t *testing.T) {
	got, said := orderOf(t, "", sound(`dalsegno="s"`), sound(`dacapo="yes"`), "", sound(`tocoda="c"`))
	if got != "1 2 3 1 2 3 4 5" {
		t.Errorf("measures %s", got)
	}
	if len(said) != 2 || !strings.Contains(said[0], "D.S. in measure 2") || !strings.Contains(said[1], "To Coda in measure 5") {
		t.Errorf("remarks %q", said)
	}
}

// Whichever part has the marks, they hold for all, and once.
func TestMarksOfAnyPart(t *testing.T) {
	marked := partOf("P1", tone("C5", 1), tone("D5", 1)+backBar+sound(`dacapo="yes"`), tone("E5", 1))
	plain := partOf("P2", tone("C4", 1), tone("D4", 1), tone("E4", 1))
	for _, parts := range [][]string{{marked, plain}, {marked, strings.Replace(marked, "P1", "P2", 1)}} {
		p := mustPart(t, scoreOf("", parts...), "2", Options{})
		if p.Seconds != 7 {
			t.Errorf("the piece lasts %v s, want 1 2 1 2 1 2 3", p.Seconds)
		}
	}
}

// A sign at the end of a measure stands before the next one.
func TestSignsOnTheBarline(t *testing.T) {
	score := solo(tone("C5", 1)+sound(`segno="s"`), tone("D5", 1)+sound(`dalsegno="s"`))
	if got := durations(mustPart(t, score, "", Options{})); got != "C5=1 D5=2" {
		t.Error(got)
	}
}

// A Fine within a measure ends the piece there.
func TestFineWithinAMeasure(t *testing.T) {
	score := solo(tone("C5", 2)+sound(`fine="yes"`)+tone("D5", 2), tone("E5", 4)+sound(`dacapo="yes"`))
	if got := durations(mustPart(t, score, "", Options{})); got != "C5=4 D5=2 E5=4" {
		t.Error(got)
	}
}

// Notes may be for some passes only.
func TestNotesOfSomePasses(t *testing.T) {
	first := strings.Replace(tone("C5", 1), "<note>", `<note time-only="1">`, 1)
	others := strings.Replace(tone("D5", 1), "<note>", `<note time-only="2,3">`, 1)
	back := `<backup><duration>1</duration></backup>`
	score := solo(first + back + others + `<barline><repeat direction="backward" times="3"/></barline>`)
	if got := durations(mustPart(t, score, "", Options{})); got != "C5=1 D5=2" {
		t.Error(got)
	}
}

func TestEndlessRepeats(t *testing.T) {
	many := func(n int, marks string) []string {
		var out []string
		for range n {
			out = append(out, tone("C5", 1)+marks)
		}
		return out
	}
	hundred := `<barline><repeat direction="backward" times="100"/></barline>`
	for name, measures := range map[string][]string{
		"measures": many(1100, hundred),
		"notes":    {strings.Repeat(tone("C5", 1), 30_000) + hundred},
	} {
		_, err := mustRead(t, solo(measures...)).Part("", Options{})
		if err == nil || !strings.Contains(err.Error(), "played through") {
			t.Errorf("many %s: error %v", name, err)
		}
	}
	_, err := Read(context.Background(), "suite", strings.NewReader(solo(tone("C5", 1)+`<barline><repeat direction="backward" times="101"/></barline>`)))
	if err == nil || !strings.Contains(err.Error(), "part P1, measure 1") {
		t.Errorf("101 passes: error %v", err)
	}
}
