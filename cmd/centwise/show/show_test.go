package show

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden files")

// golden compares text with a file of testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; got:\n%s", path, got)
	}
}

func TestCleanMakesTextHarmless(t *testing.T) {
	for _, tc := range []struct{ name, in, want string }{
		{"plain", "Plover 16.2", "Plover 16.2"},
		{"accents and other scripts stay", "Ährenhorn ラッパ", "Ährenhorn ラッパ"},
		{"colour", "\x1b[31mred\x1b[0m", "red"},
		{"title", "\x1b]0;owned\x07Alder", "Alder"},
		{"title, other end", "\x1b]0;owned\x1b\\Alder", "Alder"},
		{"C1 introducer", "\u009b31mAlder", "Alder"},
		{"clear screen", "\x1b[2J\x1b[HAlder", "Alder"},
		{"two-byte escape", "\x1bcAlder", "Alder"},
		{"lone escape", "Alder\x1b", "Alder"},
		{"bell and backspace", "Al\x07d\x08er\x7f", "Alder"},
		{"lines and tabs", "Al\nd\te\rr", "Al d e r"},
		{"reversed order", "\u202eredlA\u202c", "redlA"},
		{"not UTF-8", "Al\xffder", "Al\uFFFDder"},
	} {
		if got := Clean(tc.in); got != tc.want {
			t.Errorf("%s: Clean(%q) = %q, want %q", tc.name, tc.in, got, tc.want)
		}
	}
}

// Whatever the text, nothing that acts on a terminal comes through, and
// cleaning again changes nothing.
func TestCleanAlways(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOf(rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"\x1b", "[", "]", "0m", "\u009b", "\u009d", "\x07", "\x9b"}))).Draw(t, "parts")
		got := Clean(strings.Join(parts, ""))
		for _, r := range got {
			if hidden(r) {
				t.Fatalf("%q holds %U", got, r)
			}
		}
		if again := Clean(got); again != got {
			t.Fatalf("cleaned twice: %q, then %q", got, again)
		}
	})
}

func TestWidth(t *testing.T) {
	for text, want := range map[string]int{"": 0, "Alder": 5, "Ähre": 4, "A\u0308hre": 4, "ラッパ": 6, "a\u200db": 2} {
		if got := Width(text); got != want {
			t.Errorf("Width(%q) = %d, want %d", text, got, want)
		}
	}
}

func TestSigned(t *testing.T) {
	for _, tc := range []struct {
		v      float64
		digits int
		want   string
	}{
		{3.14, 1, "+3.1"}, {-3.16, 1, "-3.2"}, {0, 1, "0.0"}, {0.04, 1, "0.0"}, {-0.04, 1, "0.0"}, {-0.4, 0, "0"}, {12.5, 0, "+12"}, {math.Copysign(0, -1), 1, "0.0"},
	} {
		if got := Signed(tc.v, tc.digits); got != tc.want {
			t.Errorf("Signed(%v, %d) = %q, want %q", tc.v, tc.digits, got, tc.want)
		}
	}
}

func TestToneOf(t *testing.T) {
	for v, want := range map[float64]Tone{5: Plain, 5.01: Sharp, -5: Plain, -5.01: Flat, 0: Plain} {
		if got := ToneOf(v); got != want {
			t.Errorf("ToneOf(%v) = %v, want %v", v, got, want)
		}
	}
}

func TestPaintNeedsColour(t *testing.T) {
	if got := (Style{}).Paint(Sharp, "+9"); got != "+9" {
		t.Errorf("without colour: %q", got)
	}
	if got, want := (Style{Colour: true}).Paint(Sharp, "+9"), "\x1b[38;5;208m+9\x1b[0m"; got != want {
		t.Errorf("with colour: %q, want %q", got, want)
	}
}

func TestWrap(t *testing.T) {
	got := Wrap("one two three four", 9, "", "  ")
	if want := "one two\n  three\n  four"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func sample() *Table {
	t := &Table{Columns: []Column{
		{Name: "kind"}, {Title: "label", Name: "label"}, {Title: "maker", Name: "maker", Drop: 2},
		{Title: "cents", Name: "cents", Right: true}, {Title: "rim mm", Name: "rim_mm", Right: true, Drop: 1},
		{Title: "flat | sharp", Draw: true, Drop: 3},
	}}
	for _, r := range []struct {
		label, maker string
		cents, rim   float64
	}{
		{"Plover 16.2", "Northlamp", 12.3456, 16.2},
		{"=Dunlin\x1b[31m 16.6", "Northlamp", -7.25, 0},
		{"A label that goes on and on until it does not fit into any terminal of a sensible width", "Tidewright", 0.04, 17},
	} {
		bar := func(s Style, width int) string { return Bar(s, width, r.cents, r.cents-3, r.cents+3, 20) }
		rim := Words(full(r.rim))
		if r.rim == 0 {
			rim = Cell{} // not known
		}
		t.Add(Words("mouthpiece"), Text(r.label), Text(r.maker), Cents(r.cents, 1), rim, Drawn(bar))
	}
	return t
}

func TestTableOnTerminals(t *testing.T) {
	for _, tc := range []struct {
		name  string
		style Style
	}{
		{"table_60.txt", Style{Terminal: true, Width: 60}},
		{"table_120_unicode.txt", Style{Terminal: true, Width: 120, Unicode: true}},
		{"table_200_colour.txt", Style{Terminal: true, Width: 200, Unicode: true, Colour: true}},
	} {
		var b bytes.Buffer
		if err := sample().Write(&b, tc.style); err != nil {
			t.Fatal(err)
		}
		golden(t, tc.name, b.String())
	}
}

// No line is wider than the terminal, whatever its width, and wide enough
// terminals show every column.
func TestTableFitsWidth(t *testing.T) {
	for width := 20; width <= 260; width++ {
		var b bytes.Buffer
		style := Style{Terminal: true, Width: width, Unicode: true}
		if err := sample().Write(&b, style); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(b.String()) {
			if w := Width(strings.TrimSuffix(line, "\n")); w > style.Columns() {
				t.Fatalf("at %d columns a line takes %d: %q", width, w, line)
			}
		}
	}
}

func TestTablePiped(t *testing.T) {
	var b bytes.Buffer
	if err := sample().Write(&b, Style{}); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	if want := "kind\tlabel\tmaker\tcents\trim_mm"; lines[0] != want {
		t.Errorf("heading %q, want %q", lines[0], want)
	}
	if want := "mouthpiece\tPlover 16.2\tNorthlamp\t12.3456\t16.2"; lines[1] != want {
		t.Errorf("first row %q, want %q", lines[1], want)
	}
	if want := "mouthpiece\t=Dunlin 16.6\tNorthlamp\t-7.25\t"; lines[2] != want {
		t.Errorf("second row %q, want %q", lines[2], want)
	}
}

func TestTableCSV(t *testing.T) {
	var b bytes.Buffer
	if err := sample().WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := strings.Join(rows[2], "|"), "mouthpiece|'=Dunlin 16.6|Northlamp|-7.25|"; got != want {
		t.Errorf("row %q, want %q (the number keeps its sign, the label is harmless)", got, want)
	}
}

func TestBar(t *testing.T) {
	u, a := Style{Unicode: true}, Style{}
	for _, tc := range []struct {
		name                    string
		style                   Style
		cents, low, high, scale float64
		want                    string
	}{
		{"nought", u, 0, 0, 0, 10, "     │     "},
		{"half to the sharp side", u, 5, 5, 5, 10, "     │██▌  "},
		{"half to the flat side", u, -5, -5, -5, 10, "  ▐██│     "},
		{"with a band", u, 4, -2, 10, 10, "    ░│██░░░"},
		{"past the scale", u, 20, 20, 20, 10, "     │████›"},
		{"past the scale, flat", u, -20, -20, -20, 10, "‹████│     "},
		{"ASCII", a, -6, -8, -4, 10, " -###|     "},
		{"ASCII past the scale", a, 20, 20, 20, 10, "     |####>"},
	} {
		if got := Bar(tc.style, 11, tc.cents, tc.low, tc.high, tc.scale); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.name, got, tc.want)
		}
	}
}

// A bar always takes its width, and its solid part lies on the side of the sign.
func TestBarAlways(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cents := rapid.Float64Range(-200, 200).Draw(t, "cents")
		spread := rapid.Float64Range(0, 50).Draw(t, "spread")
		width := rapid.IntRange(MinDraw, MaxDraw).Draw(t, "width")
		half := (width - 1) / 2
		got := []rune(Bar(Style{}, width, cents, cents-spread, cents+spread, Scale([]float64{cents})))
		if len(got) != 2*half+1 {
			t.Fatalf("%q has %d characters, want %d", string(got), len(got), 2*half+1)
		}
		left, right := string(got[:half]), string(got[half+1:])
		if cents > 0 && strings.ContainsAny(left, "#<") || cents < 0 && strings.ContainsAny(right, "#>") {
			t.Fatalf("%v is drawn on the wrong side: %q", cents, string(got))
		}
	})
}

func TestScale(t *testing.T) {
	for _, tc := range []struct {
		values []float64
		want   float64
	}{{nil, 10}, {[]float64{-10}, 10}, {[]float64{3, -10.1}, 20}, {[]float64{99}, 100}, {[]float64{400}, 150}} {
		if got := Scale(tc.values); got != tc.want {
			t.Errorf("Scale(%v) = %v, want %v", tc.values, got, tc.want)
		}
	}
}

func TestJSONIsHarmlessAndOrdered(t *testing.T) {
	var b bytes.Buffer
	label := "\x1b[31m<Alder>\u009b\u202e\u007fé"
	if err := JSON(&b, Fields{{"label", label}, {"a", 1}, {"list", []string{}}}); err != nil {
		t.Fatal(err)
	}
	for _, r := range b.String() {
		if r != '\n' && hidden(r) {
			t.Errorf("holds %U: %q", r, b.String())
		}
	}
	if strings.Index(b.String(), `"label"`) > strings.Index(b.String(), `"a"`) {
		t.Errorf("members out of order: %s", b.String())
	}
	var back struct{ Label string }
	if err := json.Unmarshal(b.Bytes(), &back); err != nil || back.Label != label {
		t.Errorf("read back %q (%v), want %q", back.Label, err, label)
	}
}

func TestJSONRefusesNaN(t *testing.T) {
	if err := JSON(&bytes.Buffer{}, Fields{{"cents", math.NaN()}}); err == nil {
		t.Error("NaN was written")
	}
}

func TestRecord(t *testing.T) {
	pairs := []Pair{{"horn", Text("Alder"), ""}, {"bore", Words("11.7"), "mm"}, {"serial", Words(""), ""},
		{"remark", Text(strings.Repeat("a rather long remark ", 8)), ""}}
	var terminal, piped bytes.Buffer
	if err := Record(&terminal, Style{Terminal: true, Width: 60}, pairs); err != nil {
		t.Fatal(err)
	}
	golden(t, "record_60.txt", terminal.String())
	if err := Record(&piped, Style{}, pairs[:3]); err != nil {
		t.Fatal(err)
	}
	if want := "horn\tAlder\nbore\t11.7\nserial\t\n"; piped.String() != want {
		t.Errorf("piped %q, want %q", piped.String(), want)
	}
}

// sharedBuffer is a buffer that timers write and tests read.
type sharedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *sharedBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *sharedBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func (s *sharedBuffer) Len() int { return len(s.String()) }

func TestProgressDrawsTenTimesASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b sharedBuffer
		p := NewProgress(&b, Style{Terminal: true, Width: 60})
		p.Start("reading\x1b[31m", 1000)
		for range 1000 {
			time.Sleep(time.Millisecond)
			p.Add(1)
		}
		synctest.Wait()
		if n := strings.Count(b.String(), "\r"); n != 10 {
			t.Errorf("drawn %d times in a second, want 10", n)
		}
		time.Sleep(refresh)
		synctest.Wait()
		if !strings.HasSuffix(b.String(), "\r\x1b[Kreading 100 %, 1 s") {
			t.Errorf("ends in %q", b.String()[max(0, b.Len()-30):])
		}
		p.Done()
		if !strings.HasSuffix(b.String(), "\r\x1b[K") {
			t.Error("the line was left behind")
		}
		drawn := b.Len()
		time.Sleep(time.Second)
		synctest.Wait()
		if b.Len() != drawn {
			t.Error("drawn on after the end")
		}
	})
}

// A stage that counts nothing is seen to go on.
func TestProgressWithoutCounts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b sharedBuffer
		p := NewProgress(&b, Style{Terminal: true, Width: 60})
		p.Start("reading", 0)
		p.Start("solving", 0)
		time.Sleep(2*time.Second + refresh)
		synctest.Wait()
		if !strings.HasSuffix(b.String(), "\r\x1b[Ksolving, 2 s") || strings.Contains(b.String(), "reading") {
			t.Errorf("drew %q", b.String())
		}
		p.Done()
	})
}

// What is said meanwhile has a line of its own.
func TestProgressStandsAside(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b sharedBuffer
		p := NewProgress(&b, Style{Terminal: true, Width: 60})
		p.Start("writing", 0)
		time.Sleep(refresh + refresh/2)
		synctest.Wait()
		p.Aside(func() { fmt.Fprintln(&b, "waiting") })
		time.Sleep(refresh)
		p.Done()
		p.Aside(func() { fmt.Fprintln(&b, "written") })
		if want := "\r\x1b[Kwriting\r\x1b[Kwaiting\n\r\x1b[Kwriting\r\x1b[Kwritten\n"; b.String() != want {
			t.Errorf("drew %q, want %q", b.String(), want)
		}
	})
}

func TestProgressOfShortWorkIsNotSeen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b sharedBuffer
		p := NewProgress(&b, Style{})
		p.Start("reading", 0)
		time.Sleep(refresh / 2)
		p.Add(1)
		p.Done()
		time.Sleep(time.Second)
		synctest.Wait()
		if b.Len() != 0 {
			t.Errorf("drew %q", b.String())
		}
	})
}
