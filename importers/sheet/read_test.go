package sheet

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"centwise/catalog"
)

func TestLongForm(t *testing.T) {
	m := bay(t)
	r := m.mustLoad(t, Options{Contributor: "lamp-keeper"}, `remark,Session,player,horn,mouthpiece,fingering,partial,cents,Repeat,DATE,A4 Hz,temperature-C,slide_mm,gap_mm,dynamic,method
,visit 1,reed-otter,Alder,Plover 16.2,13,3,-3.5,,2025-03-01T18:30,442,21.5,14,3.2,mf,Recording
"cold room, late",visit 1,reed-otter,Alder,Plover 16.2,0,2,4,2,2025-03-01 18:30,442.0,21.5,14,3.2,mf,recording
,visit 1,,,,31,3,−2,,,,,,,,
,visit 1,reed-otter,Alder,Plover 16.2,0,2,5,,,,,,,,
,visit 1,reed-otter,Alder,Plover 16.2,0,2,6,,,,,,,,
`)
	if r.Sessions != 1 || r.Readings != 5 || r.Odd != 0 {
		t.Errorf("report %+v", *r)
	}
	s := m.session(t, "visit 1")
	// Readings without a number take the numbers that are free, in order.
	if got, want := readingsText(s), "0/2#1=5 0/2#2=4 0/2#3=6 13/3#1=-3.5 13/3#2=-2"; got != want {
		t.Errorf("readings %s, want %s", got, want)
	}
	temperature, slide, gap := 21.5, 14.0, 3.2
	want := catalog.Session{
		Name: "visit 1", Horn: m.horns[0].ID, Mouthpiece: m.mouthpieces[0].ID, Player: m.players[0].ID, Contributor: "lamp-keeper",
		At: time.Date(2025, 3, 1, 18, 30, 0, 0, time.UTC), A4Hz: 442, TemperatureC: &temperature, SlideMM: &slide, GapMM: &gap,
		Dynamic: "mf", Method: catalog.MethodRecording, Remark: "cold room, late", Source: "sheet.csv",
	}
	want.ID, want.Recorded, want.Readings = s.ID, s.Recorded, s.Readings
	if !reflect.DeepEqual(s, want) {
		t.Errorf("session\n%+v, want\n%+v", s, want)
	}
}

// A written note stands for its usual slot on the valves of the horn; with the
// fingering for the slot that it names (common practice, no source).
func TestNotesBecomeSlots(t *testing.T) {
	for _, tc := range []struct{ horn, mouthpiece, note, fingering, partial, want string }{
		{"Alder", "Plover 16.2", "D4", "", "", "13/3"},
		{"Alder", "Plover 16.2", "G♭3", "", "", "123/2"},
		{"Alder", "Plover 16.2", "A4", "3", "", "3/4"},
		{"Alder", "Plover 16.2", "A4", "", "4", "12/4"},
		{"Alder", "Plover 16.2", "E5", "12", "6", "12/6"},
		{"Alder", "Plover 16.2", "C3", "0", "1", "0/1"},
		{"Alder", "Plover 16.2", "G6", "", "", "0/12"},
		{"Hazel", "Turnstone 16.8", "D4", "", "", "4/3"},
		{"Hazel", "Turnstone 16.8", "F3", "", "", "14/2"},
		{"Hazel", "Turnstone 16.8", "D4", "13", "", "13/3"},
	} {
		m := bay(t)
		m.mustLoad(t, Options{}, fmt.Sprintf("session,player,horn,mouthpiece,note,fingering,partial,cents\na,reed-otter,%s,%s,%s,%s,%s,1\n",
			tc.horn, tc.mouthpiece, tc.note, tc.fingering, tc.partial))
		if got := m.session(t, "a").Readings[0].Slot.String(); got != tc.want {
			t.Errorf("%s (%s/%s) on %s is read as %s, want %s", tc.note, tc.fingering, tc.partial, tc.horn, got, tc.want)
		}
	}
}

func TestWideForm(t *testing.T) {
	m := bay(t)
	r := m.mustLoad(t, Options{}, `session;player;horn;mouthpiece;date;F#3;G3;3/4;Bb4;0/7
a;reed-otter;Alder;Plover 16.2;2025-03-01;12,5;"9/10,5; 8";;-3 -5, -4;-31
b;blue-kite;Hazel;Turnstone 16.8;;1;;2;;
`)
	if r.Sessions != 2 || r.Readings != 10 {
		t.Errorf("report %+v", *r)
	}
	if got, want := readingsText(m.session(t, "a")), "123/2#1=12.5 13/2#1=9 13/2#2=10.5 13/2#3=8 1/4#1=-3 1/4#2=-5 1/4#3=-4 0/7#1=-31"; got != want {
		t.Errorf("a: %s, want %s", got, want)
	}
	if got, want := readingsText(m.session(t, "b")), "24/2#1=1 3/4#1=2"; got != want {
		t.Errorf("b: %s, want %s", got, want)
	}
}

// The same sheet in every writing gives the same readings.
func TestWritings(t *testing.T) {
	plain := "session,player,horn,mouthpiece,note,cents,remark\na,reed-otter,Alder,Plover 16.2,C4,3.5,\"one\ntwo\"\na,reed-otter,Alder,Plover 16.2,D4,-12.25,\n"
	comma := strings.NewReplacer(".5", ",5", ".25", ",25")
	for name, content := range map[string]string{
		"plain":             plain,
		"byte order mark":   "\ufeff" + plain,
		"CRLF":              strings.ReplaceAll(plain, "\n", "\r\n"),
		"CR":                strings.ReplaceAll(plain, "\n", "\r"),
		"no last line end":  strings.TrimSuffix(plain, "\n"),
		"semicolons":        strings.ReplaceAll(plain, ",", ";"),
		"decimal commas":    comma.Replace(strings.ReplaceAll(plain, ",", ";")),
		"separator line":    "sep=;\r\n" + strings.ReplaceAll(plain, ",", ";"),
		"separator comma":   "sep=,\n" + plain,
		"tabs":              comma.Replace(strings.ReplaceAll(plain, ",", "\t")),
		"quoted comma":      strings.Replace(plain, "3.5", `"3,5"`, 1),
		"empty rows":        "\n,,\n" + strings.ReplaceAll(plain, "a,reed", ",,,,,,\n\na,reed"),
		"more empty cells":  strings.ReplaceAll(strings.ReplaceAll(plain, "12.25,\n", "12.25,,,\n"), "\"\n", "\",,\n"),
		"marks and signs":   strings.NewReplacer("3.5", "+3.5", "-12.25", "−1.225e1", "C4", "c4").Replace(plain),
		"spaces and quotes": strings.NewReplacer("session,", "\" SESSION \",", "reed-otter", "  reed-otter ", "Plover 16.2", "\"Plover  16.2\"").Replace(plain),
	} {
		for how, reader := range map[string]io.Reader{"": strings.NewReader(content), ", a byte at a time": iotest.OneByteReader(strings.NewReader(content))} {
			m := bay(t)
			if _, err := m.load(Options{}, File{"sheet.csv", reader}); err != nil {
				t.Errorf("%s%s: %v", name, how, err)
				continue
			}
			s := m.session(t, "a")
			if got, want := readingsText(s), "0/2#1=3.5 13/3#1=-12.25"; got != want || s.Remark != "one\ntwo" {
				t.Errorf("%s%s: %s %q, want %s", name, how, got, s.Remark, want)
			}
		}
	}
}

func TestKeepOdd(t *testing.T) {
	m := bay(t)
	r := m.mustLoad(t, Options{KeepOdd: true}, head+"a,reed-otter,Alder,Plover 16.2,C4,180\na,reed-otter,Alder,Plover 16.2,D4,150\n")
	if r.Odd != 1 {
		t.Errorf("%d odd readings, want 1", r.Odd)
	}
	for _, x := range m.session(t, "a").Readings {
		if x.Odd != (x.Cents == 180) {
			t.Errorf("%s at %g cents: odd is %v", x.Slot, x.Cents, x.Odd)
		}
	}
}

func TestCreate(t *testing.T) {
	m := bay(t)
	r := m.mustLoad(t, Options{Create: true, Contributor: "lamp-keeper"}, head+`a,grey-heron,Larch,Avocet 16.4,C4,1
b,reed-otter,Hazel,Godwit 17,C4,1
c,reed-otter,Larch,Plover 16.2,C4,1
`)
	if want := (Report{Sessions: 3, Readings: 3, Horns: []string{"Larch"}, Mouthpieces: []string{"Avocet 16.4", "Godwit 17"}, Players: []string{"grey-heron"}}); !reflect.DeepEqual(*r, want) {
		t.Errorf("report %+v, want %+v", *r, want)
	}
	larch := m.horns[len(m.horns)-1]
	if larch.Label != "Larch" || larch.Instrument != catalog.Trumpet || larch.Key != "Bb" || larch.Valves != 3 || larch.Receiver != catalog.ShankTrumpet || larch.Contributor != "lamp-keeper" {
		t.Errorf("made %+v", larch)
	}
	// A new mouthpiece is taken to fit the horn it is first used with.
	for _, x := range m.mouthpieces {
		if want := map[string]catalog.Shank{"Avocet 16.4": catalog.ShankTrumpet, "Godwit 17": catalog.ShankFlugelhorn}[x.Label]; want != "" && x.Shank != want {
			t.Errorf("%s was made with a %s shank, want %s", x.Label, x.Shank, want)
		}
	}
	if s := m.session(t, "c"); s.Horn != larch.ID {
		t.Error("the session does not name the horn that was made")
	}
}

// A horn that would be made does not fit a mouthpiece that is there.
func TestCreatedHornDoesNotFit(t *testing.T) {
	refused(t, bay(t), Options{Create: true}, []File{text("sheet.csv", head+"a,reed-otter,Larch,Turnstone 16.8,C4,1\n")},
		[]string{`sheet.csv:2: mouthpiece "Turnstone 16.8"|"Larch" would be made as a trumpet in Bb: list it with its receiver in a gear list first`})
	m := bay(t)
	m.mustLoad(t, Options{Create: true}, "adapter,"+head+"yes,a,reed-otter,Larch,Turnstone 16.8,C4,1\n")
	if !m.session(t, "a").Adapter {
		t.Error("the adapter was forgotten")
	}
}

// A machine that measures impedance needs no player.
func TestImpedanceWithoutPlayer(t *testing.T) {
	m := bay(t)
	m.mustLoad(t, Options{}, "method,"+head+"impedance,a,,Alder,Plover 16.2,C4,1\n")
	if s := m.session(t, "a"); s.Player != "" || s.Method != catalog.MethodImpedance {
		t.Errorf("session %+v", s)
	}
}

func TestIgnoreExtra(t *testing.T) {
	m := bay(t)
	r := m.mustLoad(t, Options{IgnoreExtra: true}, "weather,"+strings.TrimSpace(head)+",\nfine,a,reed-otter,Alder,Plover 16.2,C4,1,x\n")
	if !reflect.DeepEqual(r.Ignored, []string{"weather"}) || r.Readings != 1 {
		t.Errorf("report %+v", *r)
	}
}

// What is in the catalog already is passed over; what says otherwise is not.
func TestImportTwice(t *testing.T) {
	const sheet = "date,remark," + head + "2025-03-01,windy,a,reed-otter,Alder,Plover 16.2,C4,1\n2025-03-01,windy,a,reed-otter,Alder,Plover 16.2,D4,2.5\n"
	m := bay(t)
	m.mustLoad(t, Options{}, sheet)
	r := m.mustLoad(t, Options{}, sheet+",,b,reed-otter,Alder,Plover 16.2,C4,1\n")
	if r.Unchanged != 1 || r.Sessions != 1 || len(m.sessions) != 2 {
		t.Errorf("report %+v, %d sessions", *r, len(m.sessions))
	}
	for from, to := range map[string]string{"2.5": "2.6|readings", "Alder": "Rowan|horn", "Plover 16.2": "Dunlin 16.6|mouthpiece", "reed-otter": "blue-kite|player", "2025-03-01": "2025-03-02|date", "windy": "calm|remark", ",a,": ",A,|case"} {
		to, part, _ := strings.Cut(to, "|")
		want := `sheet.csv:2: session "a" is in the catalog already, and the sheet says otherwise of its ` + part + "|centwise session retract a"
		if part == "case" {
			want = `session "A" differs only by case from the session "a" in the catalog`
		}
		refused(t, m, Options{}, []File{text("sheet.csv", strings.ReplaceAll(sheet, from, to))}, []string{want})
	}
}

// Gear lists are read before the sessions that name their gear, in one change.
func TestFilesTogether(t *testing.T) {
	sessions := text("sessions.csv", head+"a,grey-heron,Larch,Plover 16.2,C4,1\n")
	gear := text("gear.csv", "kind,label\nhorn,Larch\nplayer,grey-heron\n")
	m := bay(t)
	r, err := m.load(Options{}, sessions, gear)
	if err != nil || r.Sessions != 1 || len(r.Horns) != 1 || len(r.Players) != 1 {
		t.Fatalf("report %+v, %v", r, err)
	}
	refused(t, bay(t), Options{}, []File{text("one.csv", head+"a,reed-otter,Alder,Plover 16.2,C4,1\n"), text("two.csv", head+"a,reed-otter,Alder,Plover 16.2,C4,1\n")},
		[]string{`two.csv:2: session "a" is also in one.csv:2`})
	// A mistake in one file keeps all of them out; a gear row with a mistake is
	// not reported again where it is used.
	refused(t, bay(t), Options{}, []File{text("sessions.csv", head+"a,reed-otter,Larch,Plover 16.2,C4,1\nb,reed-otter,Alder,Plover 16.2,C4,x\n"), text("gear.csv", "kind,label,bore_mm\nhorn,Larch,0.459\n")},
		[]string{"sessions.csv:3: cents", `gear.csv:2: bore_mm "0.459" is 0.459, outside 8..16 mm (it looks like inches`})
}

func TestFolder(t *testing.T) {
	f, err := os.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	refused(t, bay(t), Options{}, []File{{"visits", f}}, []string{"visits: is a folder"})
}

func TestReadingFails(t *testing.T) {
	for _, content := range []io.Reader{iotest.ErrReader(io.ErrClosedPipe), io.MultiReader(strings.NewReader(head+"a,reed-otter,Alder,Plover 16.2,C4,1\n"), iotest.ErrReader(io.ErrClosedPipe))} {
		_, err := bay(t).load(Options{}, File{"sheet.csv", content})
		if catalog.KindOf(err) != catalog.Unavailable || !strings.Contains(err.Error(), "sheet.csv") || !strings.Contains(err.Error(), io.ErrClosedPipe.Error()) {
			t.Errorf("error %v", err)
		}
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	m := bay(t)
	have, err := look(context.Background(), m)
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.Repeat("a,reed-otter,Alder,Plover 16.2,C4,1\n", 5000)
	if _, _, err := Plan(ctx, have, []File{text("sheet.csv", head+rows)}, Options{}); err != context.Canceled {
		t.Errorf("error %v, want %v", err, context.Canceled)
	}
}

// A line without an end is refused by its number, and not read to its end.
func TestEndlessLine(t *testing.T) {
	refused(t, bay(t), Options{}, []File{text("sheet.csv", head+"a,reed-otter,Alder,Plover 16.2,C4,1\nb,"+strings.Repeat("x", 1_000_000)+"\n")},
		[]string{"sheet.csv:3: is longer than 100000 bytes"})
	refused(t, bay(t), Options{}, []File{text("sheet.csv", strings.Repeat("x", 1_000_000))}, []string{"sheet.csv:1: is longer than 100000 bytes"})
	endless := &endless{}
	refused(t, bay(t), Options{}, []File{{"sheet.csv", endless}}, []string{"sheet.csv:1: is longer than 100000 bytes"})
	if endless.read > 1_000_000 {
		t.Errorf("%d bytes were read of an endless line", endless.read)
	}
	// A quotation mark that is not closed.
	quoted := &endlessRow{start: head + "a,reed-otter,Alder,Plover 16.2,C4,1\nb,\"", line: "reed-otter,Alder,Plover 16.2,C4,1\n"}
	refused(t, bay(t), Options{}, []File{{"sheet.csv", quoted}}, []string{"sheet.csv:3: begins a row of more than 256000 bytes"})
	if quoted.read > 1_000_000 {
		t.Errorf("%d bytes were read of an endless row", quoted.read)
	}
}

// endless is a line without an end.
type endless struct{ read int }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	e.read += len(p)
	return len(p), nil
}

// endlessRow repeats a line without an end.
type endlessRow struct {
	start, line string
	read        int
}

func (e *endlessRow) Read(p []byte) (int, error) {
	for i := range p {
		if at := e.read + i; at < len(e.start) {
			p[i] = e.start[at]
		} else {
			p[i] = e.line[(at-len(e.start))%len(e.line)]
		}
	}
	e.read += len(p)
	return len(p), nil
}

// Every bad row counts, and a message stays readable.
func TestManyProblems(t *testing.T) {
	const n = 3000
	_, err := bay(t).load(Options{}, text("sheet.csv", head+strings.Repeat("a,reed-otter,Alder,Plover 16.2,C4,x\n", n)))
	ps, ok := err.(*Problems)
	if !ok || ps.Count != n || len(ps.List) != kept {
		t.Fatalf("%v", err)
	}
	if lines := strings.Count(err.Error(), "\n"); lines != printed+1 || !strings.Contains(err.Error(), "3000 problems, nothing was written") || !strings.Contains(err.Error(), "and 2950 more") {
		t.Errorf("%d lines: %v", lines, err)
	}
}

// Real first input: what two public recordings gave, see the README beside it.
func TestRecordedNotes(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "recorded", "recorded-notes.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m := &memory{}
	r, err := m.load(Options{Create: true, IgnoreExtra: true}, File{"recorded-notes.csv", f})
	if err != nil {
		t.Fatal(err)
	}
	want := Report{Sessions: 2, Readings: 18, Horns: []string{"trumpet-soundfont", "trumpet-sustained"},
		Mouthpieces: []string{"mouthpiece-soundfont", "mouthpiece-sustained"}, Players: []string{"unknown-soundfont", "unknown-sustained"},
		Ignored: []string{"concert", "frame_iqr_cents"}}
	if !reflect.DeepEqual(*r, want) {
		t.Errorf("report %+v, want %+v", *r, want)
	}
	if got, want := readingsText(m.session(t, "soundfont")), "13/3#1=14.4 1/3#1=13 12/4#1=13.6 0/4#1=9.6 2/5#1=17.7 1/6#1=-0.1 12/8#1=0.2"; got != want {
		t.Errorf("readings %s, want %s", got, want)
	}
}
