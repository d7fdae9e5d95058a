package score

import (
	"strings"
	"testing"
)

// band is a score of parts with these names; a name in brackets has no notes, one
// in braces is percussion.
func band(names ...string) string {
	var list, music strings.Builder
	for i, name := range names {
		id := "P" + string(rune('1'+i))
		notes := tone("C5", 1)
		switch name[:1] {
		case "[":
			notes = rest(1)
		case "{":
			notes = "<note><unpitched/><duration>1</duration></note>"
		}
		list.WriteString(`<score-part id="` + id + `"><part-name>` + strings.Trim(name, "[]{}") + `</part-name></score-part>`)
		music.WriteString(`<part id="` + id + `"><measure number="1">` + oneSecondQuarters + notes + "</measure></part>")
	}
	return "<score-partwise><part-list>" + list.String() + "</part-list>" + music.String() + "</score-partwise>"
}

func TestChoose(t *testing.T) {
	for _, c := range []struct {
		parts, which string
		want         int // index, -1 for an error
		says         string
	}{
		{"Flute|Trumpet in Bb|{Drums}", "", 1, ""},
		{"Flute|TROMPETE|Tuba", "", 1, ""},
		{"Flute|{Drums}|[Tacet]", "", 0, ""},
		{"Flute|Tuba", "", -1, `several parts that may be meant`},
		{"Cornet 1|Tuba|Cornet 2", "", -1, `"Cornet 1" (P1), part 3 "Cornet 2" (P3)`},
		{"[Trumpet]|Tuba", "", 1, ""},
		{"{Drums}|[Tuba]", "", -1, "no part with pitched notes"},
		{"Flute|Tuba", "tuba", 1, ""},
		{"Flute|Tuba", " P2 ", 1, ""},
		{"Flute|Tuba", "2", 1, ""},
		{"Flute|Tuba", "tub", 1, ""},
		{"2|1", "2", 0, ""}, // a name goes before a number
		{"Horn|Horn|Tuba", "horn", -1, `several parts are meant by "horn"`},
		{"Horn|Horn|Tuba", "1", 0, ""},
		{"Cornet 1|Cornet 12", "cornet 1", 0, ""},
		{"Flute|Tuba", "3", -1, `part 1 "Flute" (P1), part 2 "Tuba" (P2)`},
		{"Flugelhorn|Tuba", "flugelhron", -1, `did you mean "Flugelhorn"`},
		{"Flute|{Drums}", "drums", -1, "percussion"},
		{"Flute|Cornetto|Trombone", "", -1, "several parts"},
	} {
		s := mustRead(t, band(strings.Split(c.parts, "|")...))
		got, err := s.Choose(c.which)
		switch {
		case c.want < 0 && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%s, %q: %v, want an error with %q", c.parts, c.which, err, c.says)
		case c.want >= 0 && (err != nil || got != c.want):
			t.Errorf("%s, %q: %d, %v, want %d", c.parts, c.which, got, err, c.want)
		}
	}
}

// The family is known by the names of instruments, standard sounds and programs.
func TestTrumpetFamily(t *testing.T) {
	for more, want := range map[string]bool{
		"": false,
		"<score-instrument id='i'><instrument-name>Flügelhorn</instrument-name></score-instrument>":                                           true,
		"<score-instrument id='i'><instrument-name>x</instrument-name><instrument-sound>brass.cornet</instrument-sound></score-instrument>":   true,
		"<score-instrument id='i'><instrument-name>x</instrument-name><instrument-sound>brass.trombone</instrument-sound></score-instrument>": false,
		"<midi-instrument id='i'><midi-program>57</midi-program></midi-instrument>":                                                           true,
		"<midi-instrument id='i'><midi-program>60</midi-program></midi-instrument>":                                                           true,
		"<midi-instrument id='i'><midi-program>58</midi-program></midi-instrument>":                                                           false,
	} {
		s := mustRead(t, strings.Replace(band("Solo"), "</score-part>", more+"</score-part>", 1))
		if s.Parts[0].Trumpet != want {
			t.Errorf("%s: %v, want %v", more, s.Parts[0].Trumpet, want)
		}
	}
}

func TestPartsWithNothing(t *testing.T) {
	for which, want := range map[string]string{"Tacet": "has no notes", "Cue": "has nothing but cue notes", "Low": "(C2 to D2) lies outside the range"} {
		score := band("[Tacet]", "Cue", "Low")
		score = strings.Replace(score, `<part id="P2"><measure number="1">`+oneSecondQuarters+"<note>", `<part id="P2"><measure number="1">`+oneSecondQuarters+"<note><cue/>", 1)
		at := strings.LastIndex(score, tone("C5", 1))
		score = score[:at] + tone("C2", 1) + tone("D2", 1) + score[at+len(tone("C5", 1)):]
		_, err := mustRead(t, score).Part(which, Options{})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", which, err)
		}
	}
}
