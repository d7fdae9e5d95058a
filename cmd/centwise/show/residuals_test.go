package show

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match"
	"centwise/match/fit"
)

// reported is a report on residuals with something to draw everywhere.
func reported() *match.ResidualReport {
	group := func(mean, spread float64) match.Group {
		return match.Group{Readings: 420, Good: 400, Mean: mean, MeanSD: 0.2, Spread: spread, SpreadSD: 0.035}
	}
	r := &match.ResidualReport{All: group(0.01, 1.02), Repeats: group(0, 0.9), ExpectedSlope: 0.01, Dated: true}
	for x := -3.0; x <= 3; x++ {
		r.Law = append(r.Law, match.LawPoint{Normal: x, Mixture: 1.1 * x, Found: 1.2 * x, Chance: 0.2})
	}
	for _, s := range pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) {
		r.Slots = append(r.Slots, match.SlotGroup{Slot: s, Group: group(0.1, 0.97)})
	}
	r.Source = []match.SourceGroup{
		{Source: fit.Source{Contributor: "lamp-keeper", Method: catalog.MethodTuner}, Noise: 3.5, Group: group(0, 1), Repeats: group(0, 0.9)},
		{Source: fit.Source{Contributor: "<script>\x1b[2J", Method: catalog.MethodTuner}, Noise: 5, Group: group(0, 1.1), Repeats: group(0, 0.9)},
	}
	for k, at := range []float64{-10, -5, 0, 5} {
		r.Fitted = append(r.Fitted, match.FittedGroup{Low: at, High: at + 5, Group: group(float64(k)/10, 1)})
		r.Near = append(r.Near, match.NearGroup{Semitones: k + 1, Pairs: 400, Correlation: -0.05, Expected: -0.06, Chance: 0.05})
		r.Times = append(r.Times, match.TimeGroup{Sessions: 10, From: time.Date(2026, 3, 1+k, 0, 0, 0, 0, time.UTC), Group: group(0, 1)})
	}
	r.Checks = []match.ResidualCheck{
		{Name: "mean", Plot: match.PlotLaw, Question: "mean residual, cents", Found: -0.001, Chance: 0.2, Unit: "cents"},
		{Name: "slot-spread", Plot: match.PlotSlots, Question: "spread note by note, off 1 by", Found: 0.25, Expected: 0.04, Chance: 0.01, Where: "A3 on 12"},
		{Name: "repeat-spread", Plot: match.PlotRepeats, Question: "repeats' spread over learned noise", Found: 0.9, Expected: 1, Chance: 0.04},
	}
	return r
}

func TestResidualTable(t *testing.T) {
	r := Residuals{ResidualReport: reported(), Files: map[string]string{match.PlotLaw: "plots/law.svg"}, Folder: "plots"}
	for name, style := range map[string]Style{
		"residuals_60.txt": {Terminal: true, Width: 60}, "residuals_80.txt": {Terminal: true, Width: 80, Unicode: true},
		"residuals_120.txt": {Terminal: true, Width: 120, Unicode: true}, "residuals_piped.txt": {},
	} {
		var b bytes.Buffer
		if err := r.Table().Write(&b, style); err != nil {
			t.Fatal(err)
		}
		if err := Sentences(&b, style, r.Sentences()); err != nil {
			t.Fatal(err)
		}
		golden(t, name, b.String())
	}
}

// Every drawing is whole XML with its words in it, what users wrote harmless,
// the same each time, and a picture with something in it as PNG.
func TestResidualPlots(t *testing.T) {
	words := map[string]string{
		match.PlotLaw: "420 readings", match.PlotSlots: "F#3  123", match.PlotSources: "lamp-keeper, tuner (420)", match.PlotFitted: "-5",
		match.PlotNear: "semitones", match.PlotTime: "2026-03-04", match.PlotRepeats: "420 differences",
	}
	plots, again := ResidualPlots(reported()), ResidualPlots(reported())
	if len(plots) != len(words) {
		t.Fatalf("%d drawings, want %d", len(plots), len(words))
	}
	for i, p := range plots {
		svg, same := drawnSVG(t, p.Picture), drawnSVG(t, again[i].Picture)
		if svg != same {
			t.Errorf("%s comes out differently the second time", p.Name)
		}
		for _, want := range []string{words[p.Name], "<title>", "'Liberation Sans',sans-serif"} {
			if !strings.Contains(svg, want) {
				t.Errorf("%s does not say %q", p.Name, want)
			}
		}
		for _, never := range []string{"NaN", "Inf", "<script", "\x1b"} {
			if strings.Contains(svg, never) {
				t.Errorf("%s holds %q", p.Name, never)
			}
		}
		wantInk(t, p.Picture)
	}
}

// drawnSVG is a picture as SVG, which must be well-formed XML.
func drawnSVG(t *testing.T, p Picture) string {
	t.Helper()
	var b bytes.Buffer
	if err := p.SVG(&b); err != nil {
		t.Fatal(err)
	}
	for d := xml.NewDecoder(strings.NewReader(b.String())); ; {
		if _, err := d.Token(); err == io.EOF {
			return b.String()
		} else if err != nil {
			t.Fatalf("%s: %v", p.Title, err)
		}
	}
}

// wantInk checks that a picture as PNG is of the picture's size and drawn on.
func wantInk(t *testing.T, p Picture) {
	t.Helper()
	var b bytes.Buffer
	if err := p.PNG(&b); err != nil {
		t.Fatal(err)
	}
	drawn, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if want := int(p.width() / 72 * pixelsPerInch); drawn.Bounds().Dx() != want {
		t.Errorf("%s is %d pixels wide, want %d", p.Title, drawn.Bounds().Dx(), want)
	}
	dark := 0
	for x := range drawn.Bounds().Dx() {
		for y := range drawn.Bounds().Dy() {
			if r, g, b, a := drawn.At(x, y).RGBA(); a != 0xffff {
				t.Fatalf("%s is transparent at %d, %d", p.Title, x, y)
			} else if r+g+b < 3*0x8000 {
				dark++
			}
		}
	}
	if dark < 1000 {
		t.Errorf("%s has %d dark pixels", p.Title, dark)
	}
}

// What there are too few readings for is left out, and nothing is drawn of
// nothing.
func TestResidualPlotsOfLittle(t *testing.T) {
	if plots := ResidualPlots(&match.ResidualReport{}); len(plots) != 0 {
		t.Errorf("%d drawings of nothing", len(plots))
	}
	r := reported()
	r.Slots[0].Good, r.Slots = 3, r.Slots[:2]
	r.Source[0].Repeats.Good, r.Source[1].Repeats.Good = 0, 0
	for _, p := range ResidualPlots(r) {
		if p.Name == match.PlotSlots || p.Name == match.PlotRepeats {
			t.Errorf("%s is drawn", p.Name)
		}
	}
}

// A disk that is full is told.
func TestPictureOnAFullDisk(t *testing.T) {
	p := ResidualPlots(reported())[0].Picture
	if err := p.SVG(fullDisk{}); err != errFull {
		t.Errorf("SVG: %v", err)
	}
	if err := p.PNG(fullDisk{}); !errors.Is(err, errFull) {
		t.Errorf("PNG: %v", err)
	}
}

var errFull = errors.New("no space left on device")

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

// Ticks stand at round numbers, five or so of them.
func TestEvenTicks(t *testing.T) {
	for _, tc := range []struct {
		low, high float64
		signed    bool
		want      string
	}{
		{-0.3, 4.2, false, "0 1 2 3 4"},
		{-57.5, 82.5, true, "-40 -20 0 +20 +40 +60 +80"},
		{-0.11, 0.11, true, "-0.10 -0.05 0.00 +0.05 +0.10"},
		{0.78, 1.22, false, "0.8 0.9 1.0 1.1 1.2"},
		{3, 3, false, ""},
	} {
		var got []string
		for _, k := range (evenTicks{tc.signed}).Ticks(tc.low, tc.high) {
			got = append(got, k.Label)
		}
		if s := strings.Join(got, " "); s != tc.want {
			t.Errorf("%v..%v: %s, want %s", tc.low, tc.high, s, tc.want)
		}
	}
}
