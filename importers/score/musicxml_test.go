package score

import (
	"strings"
	"testing"
)

// Each notation that MusicXML has for what sounds, by hand: a quarter note is a
// division and lasts a second unless the case says otherwise.
func TestNotation(t *testing.T) {
	const second = "<voice>2</voice>"
	back := func(n string) string { return "<backup><duration>" + n + "</duration></backup>" }
	tie := func(kinds ...string) string {
		s := ""
		for _, k := range kinds {
			s += `<tie type="` + k + `"/>`
		}
		return s
	}
	divisions := func(n string) string { return "<attributes><divisions>" + n + "</divisions></attributes>" }
	for _, c := range []struct{ name, measures, seconds, times, skipped string }{
		{"notes and rests", tone("C4", 1) + rest(2) + tone("D4", 0.5) + tone("C4", 1.5), "C4=2.5 D4=0.5", "C4=2 D4=1", ""},
		{"accidentals", tone("F#4", 1) + tone("Gb4", 1) + tone("B#4", 1) + tone("Cb5", 1) + tone("F##4", 1), "F#4=2 G4=1 B4=1 C5=1", "F#4=2 G4=1 B4=1 C5=1", ""},
		{"ties", tone("C4", 2, tie("start")) + tone("C4", 1, tie("stop", "start")) + tone("C4", 1, tie("stop")) + tone("C4", 1), "C4=5", "C4=2", ""},
		{"a chord", tone("C4", 2) + tone("E4", 2, "<chord/>") + tone("G4", 2, "<chord/>") + tone("D4", 1), "D4=1 G4=2", "D4=1 G4=1", "2 notes under a higher one 4s"},
		{"two voices", tone("G4", 2) + rest(2) + back("4") + tone("E4", 1, second) + tone("D4", 2, second) + tone("A4", 1, second),
			"D4=1 G4=2 A4=1", "D4=1 G4=1 A4=1", "2 notes under a higher one 2s"},
		{"voices in unison", tone("G4", 2) + back("2") + tone("G4", 2, second), "G4=2", "G4=1", ""},
		{"forward", tone("G4", 1) + "<forward><duration>2</duration></forward>" + tone("A4", 1), "G4=1 A4=1", "G4=1 A4=1", ""},
		{"grace notes", tone("D4", 0, "<grace/>") + tone("E4", 0, "<grace/>") + tone("C4", 1), "C4=1", "C4=1", "2 grace notes 0s"},
		{"cue notes", tone("D4", 2, "<cue/>") + tone("C4", 1), "C4=1", "C4=1", "1 cue notes 2s"},
		{"slashes", tone("D4", 2, "<notehead>slash</notehead>") + tone("C4", 1), "C4=1", "C4=1", "1 slashes 2s"},
		{"other noteheads", tone("D4", 2, "<notehead>diamond</notehead>"), "D4=2", "D4=1", ""},
		{"unpitched notes", "<note><unpitched/><duration>3</duration></note>" + tone("C4", 1), "C4=1", "C4=1", "1 unpitched notes 3s"},
		{"quarter tones", strings.Replace(tone("D4", 2), "<alter>0", "<alter>-0.5", 1) + tone("C4", 1), "C4=1", "C4=1", "1 notes between the semitones 2s"},
		{"other divisions", divisions("6") + tone("C4", 2) + tone("D4", 2) + tone("E4", 2) + divisions("0.5") + tone("F4", 1), "C4=0.333333333 D4=0.333333333 E4=0.333333333 F4=2", "C4=1 D4=1 E4=1 F4=1", ""},
		{"a tempo within", tone("C4", 1) + `<sound tempo="120"/>` + tone("D4", 1), "C4=1 D4=0.5", "C4=1 D4=1", ""},
		{"a tempo under a note", `<direction><direction-type><words>x</words></direction-type><offset sound="yes">1</offset><sound tempo="120"/></direction>` + tone("C4", 3) + tone("D4", 1),
			"C4=2 D4=0.5", "C4=1 D4=1", ""},
		{"an offset for the eye", `<direction><direction-type><words>x</words></direction-type><offset>1</offset><sound tempo="120"/></direction>` + tone("C4", 3), "C4=1.5", "C4=1", ""},
		{"an offset of the sound", `<sound tempo="120"><offset>1</offset></sound>` + tone("C4", 3), "C4=2", "C4=1", ""},
		{"a metronome mark", `<direction><direction-type><metronome><beat-unit>half</beat-unit><beat-unit-dot/><per-minute>c. 40</per-minute></metronome></direction-type></direction>` + tone("C4", 3), "C4=1.5", "C4=1", ""},
		{"a mark with a sound", `<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>99</per-minute></metronome></direction-type><sound tempo="30"/></direction>` + tone("C4", 1), "C4=2", "C4=1", ""},
		{"tied units", `<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-tied><beat-unit>eighth</beat-unit></beat-unit-tied><per-minute>80.0</per-minute></metronome></direction-type></direction>` + tone("C4", 1), "C4=0.5", "C4=1", ""},
	} {
		p := mustPart(t, solo(c.measures), "", Options{})
		if got := durations(p); got != c.seconds {
			t.Errorf("%s: %s s, want %s", c.name, got, c.seconds)
		}
		if got := times(p); got != c.times {
			t.Errorf("%s: struck %s times, want %s", c.name, got, c.times)
		}
		if got := skipped(p); got != c.skipped {
			t.Errorf("%s: skipped %q, want %q", c.name, got, c.skipped)
		}
	}
}

// The second player of a chord.
func TestLowest(t *testing.T) {
	p := mustPart(t, solo(tone("C4", 2)+tone("E4", 2, "<chord/>")+tone("D4", 1)), "", Options{Lowest: true})
	if got := durations(p) + "; " + skipped(p); got != "C4=2 D4=1; 1 notes over a lower one 2s" {
		t.Error(got)
	}
}

// Measures without notes last as long as the time signature says; a pickup lasts
// as long as its notes.
func TestLengthOfMeasures(t *testing.T) {
	const meter = `<attributes><time><beats>3+2</beats><beat-type>8</beat-type></time></attributes>`
	p := mustPart(t, solo(meter+tone("C4", 1), "", "", rest(4), tone("D4", 1)), "", Options{})
	if p.Seconds != 1+2.5+2.5+4+1 {
		t.Errorf("the piece lasts %v s, want 11", p.Seconds)
	}
}

// A tempo that stands in another part holds for all, and a passage that comes
// again has its tempos again.
func TestTemposOfTheScore(t *testing.T) {
	first := partOf("P1", rest(1), `<sound tempo="30"/>`+rest(1), `<sound tempo="120"/>`+rest(1)+backBar)
	second := partOf("P2", tone("C4", 1), tone("D4", 1), tone("E4", 1))
	if got := durations(mustPart(t, scoreOf("", first, second), "2", Options{})); got != "C4=2 D4=4 E4=1" {
		t.Error(got)
	}
}

func TestTemposThatAreNotGiven(t *testing.T) {
	noTempo := func(s string) string { return strings.Replace(s, `<sound tempo="60"/>`, "", 1) }
	for name, c := range map[string]struct{ score, seconds, remark string }{
		"none":   {noTempo(solo(tone("C4", 1))), "C4=0.5", "The score gives no tempo: 120 quarter notes a minute were taken."},
		"later":  {noTempo(solo(tone("C4", 1), `<sound tempo="60"/>`+tone("C4", 1))), "C4=1.5", "No tempo is given before measure 2: 120 quarter notes a minute were taken."},
		"zero":   {solo(`<sound tempo="0"/>` + tone("C4", 1)), "C4=1", "A tempo of 0 in measure 1 was not taken."},
		"change": {solo(`<direction><direction-type><metronome><beat-unit>half</beat-unit><beat-unit>quarter</beat-unit></metronome></direction-type></direction>` + tone("C4", 1)), "C4=1", "The metronome mark in measure 1 gives no number; the tempo before it was kept."},
		"words":  {solo(`<direction><direction-type><words>D.C. al Fine</words></direction-type></direction>` + tone("C4", 1)), "C4=1", `Measure 1 says "D.C. al Fine" in words only; playing does not follow that.`},
		"backup": {solo(tone("C4", 1) + `<backup><duration>2</duration></backup>` + rest(1)), "C4=1", "Measure 1 of part P1 goes back to before its beginning; the beginning was taken."},
		"pass":   {solo(`<sound tempo="30" time-only="2"/>` + tone("C4", 1)), "C4=1", "A tempo in measure 1 that is for later passes only was not taken."},
	} {
		p := mustPart(t, c.score, "", Options{})
		if durations(p) != c.seconds || len(p.Remarks) != 1 || p.Remarks[0] != c.remark {
			t.Errorf("%s: %s, remarks %q", name, durations(p), p.Remarks)
		}
	}
}

func transpose(chromatic, octaves string) string {
	return "<attributes><transpose><chromatic>" + chromatic + "</chromatic><octave-change>" + octaves + "</octave-change></transpose></attributes>"
}

// Written notes for the part's own instrument, for others, and from a score in
// concert pitch. The written C of a B flat instrument sounds B flat, two
// semitones lower.
func TestTransposition(t *testing.T) {
	by := func(n int) Options { return Options{Transposition: &n} }
	const concert = "<defaults><concert-score/></defaults>"
	forPart := strings.NewReplacer("<transpose>", "<for-part><part-transpose>", "</transpose>", "</part-transpose></for-part>")
	for name, c := range map[string]struct {
		score, want string
		options     Options
	}{
		"as written":                    {solo(transpose("-2", "0") + tone("D4", 1)), "D4=1", Options{}},
		"the same key":                  {solo(transpose("-2", "0") + tone("D4", 1)), "D4=1", by(-2)},
		"B flat part on C":              {solo(transpose("-2", "0") + tone("D4", 1)), "C4=1", by(0)},
		"part in C on B flat":           {solo(tone("D4", 1)), "E4=1", by(-2)},
		"part in E flat, octave change": {solo(transpose("3", "-1") + tone("C5", 1)), "F4=1", by(-2)},
		"changing instruments":          {solo(transpose("-2", "0")+tone("D4", 1), transpose("3", "0")+tone("D4", 1)), "D4=1 G4=1", by(-2)},
		"changing, as written":          {solo(transpose("-2", "0")+tone("D4", 1), transpose("3", "0")+tone("D4", 1)), "D4=2", Options{}},
		"concert score":                 {scoreOf(concert, partOf("P1", tone("C4", 1))), "D4=1", Options{}},
		"concert score for A":           {scoreOf(concert, partOf("P1", tone("C4", 1))), "Eb4=1", by(-3)},
		"concert score, octave up":      {scoreOf(concert, partOf("P1", transpose("0", "1")+tone("C4", 1))), "D5=1", Options{}},
		"concert score, part in E flat": {scoreOf(concert, partOf("P1", forPart.Replace(transpose("3", "0"))+tone("C4", 1))), "A3=1", Options{}},
		"by staff": {solo(strings.Replace(transpose("-2", "0"), "<transpose>", `<transpose number="2">`, 1) +
			tone("C4", 1, "<staff>1</staff>") + tone("C4", 1, "<staff>2</staff>")), "Bb3=1 C4=1", by(0)},
	} {
		if got := durations(mustPart(t, c.score, "", c.options)); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
	changes := mustPart(t, solo(transpose("-2", "0")+tone("D4", 1), transpose("3", "0")+tone("D4", 1)), "", Options{})
	if len(changes.Remarks) != 1 || !strings.Contains(changes.Remarks[0], "changes in measure 2") {
		t.Errorf("remarks %q", changes.Remarks)
	}
}

func TestConcertPitchIsRemarked(t *testing.T) {
	for _, pitch := range []*int{nil, new(int)} {
		p := mustPart(t, scoreOf("<defaults><concert-score/></defaults>", partOf("P1", tone("C4", 1))), "", Options{Transposition: pitch})
		if said := strings.Join(p.Remarks, " "); (pitch == nil) != strings.Contains(said, "concert pitch") {
			t.Errorf("remarks %q", said)
		}
	}
}

// Notes that the instrument does not reach are told, with their time.
func TestBeyondTheRange(t *testing.T) {
	score := solo(tone("F3", 2) + tone("C4", 1) + tone("G6", 1) + tone("Ab6", 0.5) + tone("F3", 1))
	three, four := mustPart(t, score, "", Options{}), mustPart(t, score, "", Options{Valves: 4})
	if got := durations(three); got != "C4=1 G6=1" {
		t.Errorf("three valves: %s", got)
	}
	if got := durations(four); got != "F3=3 C4=1 G6=1" {
		t.Errorf("four valves: %s", got)
	}
	want := []Beyond{{53, 2, 3}, {92, 1, 0.5}}
	if len(three.Beyond) != 2 || three.Beyond[0] != want[0] || three.Beyond[1] != want[1] {
		t.Errorf("beyond the range: %v, want %v", three.Beyond, want)
	}
	if three.Sounding() != 2 || three.Seconds != 5.5 {
		t.Errorf("%v s counted of %v", three.Sounding(), three.Seconds)
	}
}

// The same music by measure, in an archive, in other encodings.
func TestForms(t *testing.T) {
	score := solo(transpose("-2", "0")+tone("C4", 1)+tone("Eb4", 2), tone("C4", 1))
	want := "C4=2 Eb4=2"
	timewise := `<!DOCTYPE score-timewise PUBLIC "x" "y"><score-timewise><part-list><score-part id="A"/><score-part id="B"/></part-list>` +
		`<measure number="1"><part id="A">` + oneSecondQuarters + tone("C4", 1) + tone("Eb4", 2) + `</part><part id="B">` + oneSecondQuarters + rest(3) + `</part></measure>` +
		`<measure number="2"><part id="A">` + tone("C4", 1) + `</part></measure></score-timewise>`
	utf16 := func(s string, big bool) string {
		s = strings.Replace(s, "UTF-8", "UTF-16", 1)
		out := []byte{0xff, 0xfe}
		if big {
			out = []byte{0xfe, 0xff}
		}
		for _, c := range []byte(s) {
			if big {
				out = append(out, 0, c)
			} else {
				out = append(out, c, 0)
			}
		}
		return string(out)
	}
	latin := strings.Replace(strings.Replace(score, "UTF-8", "ISO-8859-1", 1), "Voice 1", "Fl\xfcgelhorn", 1)
	for name, content := range map[string]string{
		"partwise":          score,
		"timewise":          timewise,
		"byte order mark":   "\ufeff" + score,
		"no declaration":    strings.TrimPrefix(score, `<?xml version="1.0" encoding="UTF-8"?>`),
		"UTF-16":            utf16(score, false),
		"UTF-16 big endian": utf16(score, true),
		"Latin 1":           latin,
		"compressed": archiveOf(t, "META-INF/container.xml", container("a/b.musicxml"), "a/", "", "other.xml", "<x/>",
			"a/b.musicxml", score),
		"compressed UTF-16": archiveOf(t, "META-INF/container.xml", container("s.xml"), "s.xml", utf16(score, true)),
	} {
		if got := durations(mustPart(t, content, "", Options{})); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
	if s := mustRead(t, latin); s.Parts[0].Name != "Flügelhorn" || !s.Parts[0].Trumpet {
		t.Errorf("Latin 1: %+v", s.Parts[0])
	}
}

func TestTitles(t *testing.T) {
	for more, want := range map[string]string{
		"": "", "<movement-title>Harbour Lights</movement-title>": "Harbour Lights",
		"<work><work-title> Pier \n</work-title></work><movement-title>x</movement-title>": "Pier",
	} {
		if got := mustRead(t, scoreOf(more, partOf("P1", tone("C4", 1)))).Title; got != want {
			t.Errorf("title %q, want %q", got, want)
		}
	}
}
