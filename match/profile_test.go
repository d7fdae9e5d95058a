package match

import (
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/match/fit"
)

// Alder brings 6 on G4 and -8 on G5, all horns share 1 on both, Plover adds 3 to
// C5 in one world and 5 in the other, so 4 with a standard deviation of sqrt 2
// from two draws.
func profileEngine() *fakeEngine {
	return &fakeEngine{
		common: byNote(map[string]float64{"G4": 1, "G5": 1}), sd: 2, draws: 2,
		items:  map[catalog.ID]vector{"alder": byNote(map[string]float64{"G4": 6, "G5": -8}), "Plover 16.2": byNote(map[string]float64{"C5": 4})},
		worlds: map[catalog.ID][]vector{"Plover 16.2": {byNote(map[string]float64{"C5": -1}), byNote(map[string]float64{"C5": 1})}},
	}
}

func contribution(t *testing.T, p *Profile, note string) Contribution {
	t.Helper()
	for _, c := range p.Notes {
		if c.Note == note {
			return c
		}
	}
	t.Fatalf("no %s", note)
	return Contribution{}
}

func TestHornProfile(t *testing.T) {
	p, err := HornProfile(profileEngine(), alder(), threeOpen())
	if err != nil {
		t.Fatal(err)
	}
	g4, g5 := contribution(t, p, "G4"), contribution(t, p, "G5")
	near(t, "G4", g4.Cents, 7, 1e-12)
	near(t, "G5", g5.Cents, -7, 1e-12)
	near(t, "low", g4.Low, 7-2*1.2815516, 1e-6)
	near(t, "high", g4.High, 7+2*1.2815516, 1e-6)
	if p.Horn != "Alder" || p.Mouthpiece != "" || p.Sessions != 3 || p.Players != 2 || p.Basis != fit.BasisMeasured || p.Notes[0].Note != "G4" {
		t.Errorf("%+v", p)
	}
	want := []string{"Sharpest, with a typical mouthpiece and before anything is corrected: G4 (7 sharp).", "Flattest: G5 (7 flat).", "Measured in 3 sessions."}
	if strings.Join(p.Words, "|") != strings.Join(want, "|") {
		t.Errorf("words %q", p.Words)
	}
}

func TestMouthpieceProfile(t *testing.T) {
	p, err := MouthpieceProfile(profileEngine(), mouthpiece("Plover 16.2"), threeOpen())
	if err != nil {
		t.Fatal(err)
	}
	c5, g4 := contribution(t, p, "C5"), contribution(t, p, "G4")
	near(t, "C5", c5.Cents, 4, 1e-12)
	near(t, "C5 high", c5.High, 4+1.2815516*1.4142136, 1e-6)
	if g4.Cents != 0 || g4.Low != 0 || g4.High != 0 {
		t.Errorf("G4, which Plover leaves alone: %+v", g4)
	}
	if want := "Compared with a typical mouthpiece, Plover 16.2 raises above all C5 (by 4)."; p.Words[0] != want || len(p.Words) != 2 {
		t.Errorf("words %q", p.Words)
	}
}

// What is not sure is not named.
func TestProfileNamesOnlySureNotes(t *testing.T) {
	e := profileEngine()
	e.sd = 6 // 1.28 x 6 is more than 7
	p, err := HornProfile(e, alder(), threeOpen())
	if err != nil || p.Words[0] != "No note is off by more than it is uncertain." {
		t.Errorf("%q (%v)", p.Words, err)
	}
	e.worlds["Plover 16.2"] = []vector{byNote(map[string]float64{"C5": -9}), byNote(map[string]float64{"C5": 9})}
	p, err = MouthpieceProfile(e, mouthpiece("Plover 16.2"), threeOpen())
	if err != nil || p.Words[0] != "Plover 16.2 moves no note, compared with a typical mouthpiece, by more than is uncertain." {
		t.Errorf("%q (%v)", p.Words, err)
	}
}

func TestProfileSaysWhatItRestsOn(t *testing.T) {
	bare := mouthpiece("Knot 16.4")
	bare.RimMM, bare.CupCM3 = 0, 0
	for name, c := range map[string]struct {
		of   catalog.Mouthpiece
		ev   fit.Evidence
		want string
	}{
		"measured": {bare, fit.Evidence{Mouthpiece: 1, MouthpieceDesign: 2}, "Measured in 1 session, and 2 sessions with others of its design."},
		"design":   {bare, fit.Evidence{MouthpieceDesign: 2}, "Nobody has measured this mouthpiece: it is judged by 2 sessions with others of its design."},
		"sizes":    {mouthpiece("Knot 16.4"), fit.Evidence{}, "Nobody has measured this mouthpiece or another of its design: it is judged by its dimensions alone."},
		"nothing":  {bare, fit.Evidence{}, "Nothing is known of this mouthpiece: it is taken for an average one. One session with it would tell more than anything else."},
	} {
		e := profileEngine()
		e.evidence = func(fit.Setup) fit.Evidence { return c.ev }
		p, err := MouthpieceProfile(e, c.of, threeOpen())
		if err != nil || p.Words[len(p.Words)-1] != c.want {
			t.Errorf("%s: %q (%v)", name, p.Words, err)
		}
	}
	e := profileEngine()
	e.evidence = func(fit.Setup) fit.Evidence { return fit.Evidence{Horn: 2, HornPlayers: 1} }
	if p, err := HornProfile(e, alder(), threeOpen()); err != nil || !strings.Contains(p.Words[2], "only one player has measured it") {
		t.Errorf("%q (%v)", p.Words, err)
	}
}

func TestProfileOfNoNotes(t *testing.T) {
	if _, err := HornProfile(profileEngine(), alder(), Criteria{Low: 100, High: 101}); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("error %v", err)
	}
	e := profileEngine()
	e.fail = catalog.Errorf(catalog.NotFound, "", "gone")
	if _, err := MouthpieceProfile(e, mouthpiece("Plover 16.2"), threeOpen()); catalog.KindOf(err) != catalog.NotFound {
		t.Errorf("error %v", err)
	}
}
