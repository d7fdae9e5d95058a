package aircolumn

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Our own shape, described, changes as by its dimensions: gap, slide, tube and
// leadpipe. Whatever mouthpiece the description has is passed over.
func TestDescribedHornChangesLikeOurs(t *testing.T) {
	ours := genericSetup(t)
	described, assumed, err := genericSetup(t).Describe(ours.Instrument().Bore)
	if err != nil || assumed {
		t.Fatalf("gap assumed: %v, %v", assumed, err)
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := ours, described
		for _, d := range []struct {
			Dimension
			low, high float64
		}{{Gap, 0, 8}, {LeadpipeStart, 8, 9.5}, {LeadpipeLength, 150, 300}, {TubeLength, 400, 700}, {TuningSlide, -5, 20}} {
			if rapid.Bool().Draw(t, d.Name+" changed") {
				value := rapid.Float64Range(d.low, d.high).Draw(t, d.Name)
				if d.Dimension.Name == Gap.Name && value < 0.1 {
					value = 0
				}
				a, b = a.With(d.Dimension, value), b.With(d.Dimension, value)
			}
		}
		if err := b.Check(); err != nil {
			t.Fatal(err)
		}
		same := slices.EqualFunc(a.Instrument().Bore, b.Instrument().Bore, func(p, q Piece) bool {
			return p.Part == q.Part && math.Abs(p.LengthMM-q.LengthMM) < 1e-9 && math.Abs(p.StartMM-q.StartMM) < 1e-9 && math.Abs(p.EndMM-q.EndMM) < 1e-9
		})
		if !same {
			t.Fatalf("%v\nis not\n%v", b.Instrument().Bore[:40], a.Instrument().Bore[:40])
		}
	})
}

// What a description lacks stays the setup's: the gap, where the bore begins with
// no step or with one too far away for it; and a leadpipe of several pieces keeps
// its shape.
func TestDescribeReadsTheDimensions(t *testing.T) {
	tail := Bore{{Tube, 300, 11, 11.5}, {Tube, 200, 11.5, 11.6}, {Bell, 400, 11.6, 40}, {Bell, 80, 40, 120}}
	for _, tc := range []struct {
		name                      string
		front                     Bore
		gap, start, leadpipe      float64
		assumed, changeableLength bool
	}{
		{"gap and leadpipe", Bore{{Leadpipe, 2, 10, 9.8}, {Leadpipe, 100, 8.7, 9}, {Leadpipe, 135, 9, 11}}, 2, 8.7, 235, false, true},
		{"gap of two pieces", Bore{{Leadpipe, 4, 10, 9.8}, {Leadpipe, 1, 9.8, 9.8}, {Leadpipe, 235, 8.7, 11}}, 5, 8.7, 235, false, true},
		{"no gap", Bore{{Leadpipe, 235, 8.7, 11}}, 3.5, 8.7, 235, true, true},
		{"a step that is far away", Bore{{Leadpipe, 200, 8.7, 11.5}, {Leadpipe, 35, 11, 11}}, 3.5, 8.7, 235, true, true},
		{"a mouthpiece before it", Bore{{Mouthpiece, 80, 16, 9}, {Leadpipe, 235, 8.7, 11}}, 3.5, 8.7, 235, true, true},
		{"all tube", Bore{{Tube, 235, 8.7, 11}}, 3.5, 8.7, 0, true, false},
		{"gap before the tube", Bore{{Leadpipe, 3, 12, 12}}, 3, 11, 0, false, false},
	} {
		s, assumed, err := genericSetup(t).Describe(append(slices.Clone(tc.front), tail...))
		h := s.Horn
		if err != nil || s.Check() != nil || assumed != tc.assumed || h.GapMM != tc.gap || h.LeadpipeStartMM != tc.start || h.LeadpipeMM != tc.leadpipe || h.HasLeadpipe() != tc.changeableLength {
			t.Errorf("%s: gap %g (assumed %v), leadpipe from %g, %g long; %v", tc.name, h.GapMM, assumed, h.LeadpipeStartMM, h.LeadpipeMM, err)
		}
		if h.BoreMM != 11.6 || h.MouthMM != 120 || h.BellMM != 480 || h.Loops != genericSetup(t).Horn.Loops {
			t.Errorf("%s: %+v", tc.name, h)
		}
		want := tc.gap + 235 + 980
		if tc.front[0].LengthMM == 3 {
			want -= 235
		}
		if got := h.Bore().LengthMM(); math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %g mm long, want %g", tc.name, got, want)
		}
		pulled := s.With(TuningSlide, 5).Horn.Bore()
		if i := slices.IndexFunc(pulled, func(p Piece) bool { return p.Part == Tube }); pulled[i].LengthMM-h.Bore()[i].LengthMM != 10 {
			t.Errorf("%s: the slide pulled out by 5 mm makes %v", tc.name, pulled)
		}
	}
}

// A description that no valves can be in, or that ends before the bell, and
// changes beyond what there is, are refused.
func TestDescribeRefuses(t *testing.T) {
	base := genericSetup(t)
	for name, b := range map[string]Bore{
		"nothing": {}, "no tube": {{Leadpipe, 300, 9, 11}, {Bell, 500, 11, 120}}, "no bell": {{Leadpipe, 300, 9, 11}, {Tube, 500, 11, 11}},
		"only a mouthpiece": {{Mouthpiece, 80, 16, 9}}, "not a length": {{Tube, math.NaN(), 9, 9}, {Bell, 500, 11, 120}},
	} {
		if _, _, err := base.Describe(b); catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	s, _, err := base.Describe(base.Horn.Bore())
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		d     Dimension
		value float64
	}{{Gap, -1}, {Gap, 41}, {Gap, math.NaN()}, {LeadpipeLength, 0}, {LeadpipeStart, -1}, {TuningSlide, -400}} {
		if _, err := s.With(tc.d, tc.value).Model(dryAir(20)); catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%s of %g: %v", tc.d.Name, tc.value, err)
		}
	}
	if _, err := s.Model(dryAir(20)); err != nil {
		t.Error(err)
	}
	if n := len(usualPeaks(t, s)); n != 31 {
		t.Errorf("%d peaks", n)
	}
}

func usualPeaks(t *testing.T, s Setup) []Resonance {
	t.Helper()
	m, err := s.Model(dryAir(20))
	if err != nil {
		t.Fatal(err)
	}
	peaks, err := m.Peaks(pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3))
	if err != nil {
		t.Fatal(err)
	}
	return peaks
}
