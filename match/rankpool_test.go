package match

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/match/fit"
)

// Three mouthpieces nothing is known of get one place, one error and one chance,
// whatever their own draws say.
func TestRankPoolsWhatNothingTellsApart(t *testing.T) {
	e, q := twoWorlds()
	unknown := map[catalog.ID]bool{"Avocet 16": true, "Bittern 16": true, "Curlew 16": true}
	for i, id := range []catalog.ID{"Avocet 16", "Bittern 16", "Curlew 16"} {
		q.Mouthpieces = append(q.Mouthpieces, mouthpiece(string(id)))
		e.worlds[id] = []vector{byNote(map[string]float64{"G4": float64(-4 * i)}), nought}
	}
	e.evidence = func(s fit.Setup) fit.Evidence {
		if unknown[s.Mouthpiece] {
			return fit.Evidence{Horn: 3, HornPlayers: 2, Basis: fit.BasisPrior}
		}
		return fit.Evidence{Horn: 3, Mouthpiece: 3, HornPlayers: 2, Basis: fit.BasisMeasured}
	}
	r := rank(t, e, q)
	var pooled []Pairing
	sum := 0.0
	for i, p := range r.Pairings {
		sum += p.ChanceBest
		if unknown[catalog.ID(p.Mouthpiece)] {
			pooled = append(pooled, p)
		} else if p.Alike != 0 || p.Note != "" || p.Rank != i+1 {
			t.Errorf("%s: rank %d at place %d, alike %d, note %q", p.Mouthpiece, p.Rank, i+1, p.Alike, p.Note)
		}
	}
	near(t, "sum of the chances", sum, 1, 1e-12)
	for _, p := range pooled {
		a := pooled[0]
		if p.Rank != a.Rank || p.ErrorCents != a.ErrorCents || p.Low != a.Low || p.High != a.High || p.ChanceBest != a.ChanceBest || p.Alike != 3 {
			t.Errorf("%s differs from %s: %+v, %+v", p.Mouthpiece, a.Mouthpiece, p, a)
		}
		if !strings.Contains(p.Note, "nothing is known of the mouthpiece") || !strings.Contains(p.Note, "2 that") {
			t.Errorf("note %q", p.Note)
		}
	}
	// In the first world G4 is 0, 4 and 8 flatter, in the second it is not; the slide takes the mean.
	want := 0.0
	for _, d := range [][3]float64{{6, 0, -6}, {6, 0, -6}, {2, 0, -6}, {6, 0, -6}, {-2, 0, -6}, {6, 0, -6}} {
		m := (d[0] + d[1] + d[2]) / 3
		want += ((d[0]-m)*(d[0]-m) + (d[1]-m)*(d[1]-m) + (d[2]-m)*(d[2]-m)) / 3 / 6
	}
	near(t, "pooled error", pooled[0].ErrorCents, math.Sqrt(want), 1e-9)
	if !slices.ContainsFunc(r.Notes, func(s string) bool { return strings.HasPrefix(s, "3 of 5 pairings share a rank") }) {
		t.Errorf("notes %q do not say so", r.Notes)
	}
}

// Unmeasured mouthpieces with different reach of the horn are not alike, and
// neither are measured ones whose profiles happen to agree.
func TestRankDoesNotPoolWhatDiffers(t *testing.T) {
	e, _ := twoWorlds()
	m := mouthpiece("Plover 16.2")
	long := horn("Rowan")
	long.Throw3MM = 20
	q := Question{FromMouthpiece: &m, Horns: []catalog.Horn{horn("Hazel"), long, horn("Birch")}, Criteria: Criteria{}}
	basis := fit.BasisPrior
	e.evidence = func(fit.Setup) fit.Evidence { return fit.Evidence{Mouthpiece: 3, Basis: basis} }
	alike := map[string]int{}
	for _, p := range rank(t, e, q).Pairings {
		alike[p.Horn] = p.Alike
		if !strings.Contains(p.Note, "nothing is known of the horn") {
			t.Errorf("note of %s: %q", p.Horn, p.Note)
		}
	}
	if want := map[string]int{"Hazel": 2, "Birch": 2, "Rowan": 0}; !reflect.DeepEqual(alike, want) {
		t.Errorf("alike %v, want %v", alike, want)
	}
	basis = fit.BasisMeasured
	for _, p := range rank(t, e, q).Pairings {
		if p.Alike != 0 {
			t.Errorf("measured %s is alike", p.Horn)
		}
	}
}

// Two unmeasured specimens of one design are alike; the note says on what they
// are judged. What is known by dimensions stands alone.
func TestRankPoolsSpecimensOfADesign(t *testing.T) {
	e, q := twoWorlds()
	basis := fit.BasisDesign
	e.items["Plover 16.2 b"] = e.items["Plover 16.2"]
	e.worlds["Plover 16.2 b"] = []vector{nought, nought}
	q.Mouthpieces = append(q.Mouthpieces, mouthpiece("Plover 16.2 b"))
	e.evidence = func(s fit.Setup) fit.Evidence {
		return fit.Evidence{Horn: 3, MouthpieceDesign: 2, HornPlayers: 2, Basis: basis}
	}
	for _, c := range []struct {
		basis fit.Basis
		note  string
	}{{fit.BasisDesign, "judged by its design; "}, {fit.BasisDimensions, "judged by its dimensions; "}} {
		basis = c.basis
		for _, p := range rank(t, e, q).Pairings {
			switch {
			case p.Mouthpiece == "Dunlin 16.6" && (p.Alike != 0 || p.Note != ""):
				t.Errorf("Dunlin is alike %d, note %q", p.Alike, p.Note)
			case p.Mouthpiece != "Dunlin 16.6" && (p.Alike != 2 || p.Rank != 1 && p.Rank != 2 || !strings.HasPrefix(p.Note, c.note)):
				t.Errorf("%s is alike %d, rank %d, note %q", p.Mouthpiece, p.Alike, p.Rank, p.Note)
			}
		}
	}
}
