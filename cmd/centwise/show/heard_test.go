package show

import (
	"bytes"
	"math"
	"strings"
	"testing"
)

// heardScale is what was heard of a few notes, one in doubt and one left out.
func heardScale() []Heard {
	var out []Heard
	for k, note := range []string{"C4", "D4", "E4"} {
		h := Heard{File: "scale.wav", Number: k + 1, Start: 2 * float64(k), End: 2*float64(k) + 1.5, Note: note, Fingering: "0", Cents: 20 * float64(k-1),
			Spread: 1.25, Drift: -2, Vibrato: 4, Grade: "good", SteadyPart: [2]float64{2*float64(k) + 0.1, 2*float64(k) + 1.4}}
		for i := range 15 {
			h.Contour = append(h.Contour, HeardPoint{h.Start + 0.1*float64(i), 58 + 2*float64(k) + 0.1*math.Sin(float64(i))})
		}
		out = append(out, h)
	}
	out[1].Doubt = []string{"Eb4"}
	return append(out, Heard{File: "scale.wav", Start: 3661.25, End: 3661.5, Grade: "rejected", Reason: "lasts 0.25 s: hold every note for a second or more",
		Contour: []HeardPoint{{3661.3, 70}, {3661.4, 70}}})
}

func TestHeardTable(t *testing.T) {
	var b bytes.Buffer
	if err := HeardTable(heardScale(), true).Write(&b, Style{}); err != nil {
		t.Fatal(err)
	}
	want := strings.Join([]string{
		"file\ttone\tstart_s\tseconds\tnote\tfingering\tcents\tspread_cents\tdrift_cents\tvibrato_cents\tgrade\tremark",
		"scale.wav\t1\t0\t1.5\tC4\t0\t-20\t1.25\t-2\t4\tgood\t",
		"scale.wav\t2\t2\t1.5\tD4\t0\t0\t1.25\t-2\t4\tgood\tor Eb4",
		"scale.wav\t3\t4\t1.5\tE4\t0\t20\t1.25\t-2\t4\tgood\t",
		"scale.wav\t\t3661.25\t0.25\t\t\t\t\t\t\trejected\tlasts 0.25 s: hold every note for a second or more", "",
	}, "\n")
	if b.String() != want {
		t.Errorf("\n%s\nwant\n%s", b.String(), want)
	}
	for _, width := range []int{20, 40, 80, 200} {
		b.Reset()
		if err := HeardTable(heardScale(), true).Write(&b, Style{Terminal: true, Width: width}); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(b.String()) {
			if n := Width(strings.TrimRight(line, "\n")); n > width && width >= 40 {
				t.Errorf("a line of %d columns on %d: %s", n, width, line)
			}
		}
	}
}

func TestClock(t *testing.T) {
	for seconds, want := range map[float64]string{0: "0:00.0", 9.96: "0:09.9", 61.25: "1:01.2", 3661.25: "1:01:01.2"} {
		if got := Clock(seconds); got != want {
			t.Errorf("Clock(%v) = %s, want %s", seconds, got, want)
		}
	}
}

// The picture of a short recording as it was looked at; that of a long one has more
// panels, and one of nothing is drawn all the same.
func TestHeardPicture(t *testing.T) {
	short := HeardPicture("scale.wav", 8, heardScale()[:3])
	golden(t, "heard.svg", drawnSVG(t, short))
	wantInk(t, short)
	long := HeardPicture("<scale>.wav", 3700, heardScale())
	svg := drawnSVG(t, long)
	if len(long.Panels) != mostPanels || strings.Contains(svg, "<scale>") || strings.Contains(svg, "NaN") || !strings.Contains(svg, "2 D4?") {
		t.Errorf("%d panels, want %d, and names made harmless", len(long.Panels), mostPanels)
	}
	for _, nothing := range [][]Heard{nil, {{Grade: "rejected"}}} {
		if svg := drawnSVG(t, HeardPicture("silence.wav", 0, nothing)); strings.Contains(svg, "NaN") {
			t.Error("a picture of nothing holds NaN")
		}
	}
}
