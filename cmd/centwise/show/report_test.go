package show

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match"
)

// hostile is what somebody may call a horn.
const hostile = "<script>alert(1)</script>\x1b[31m & \"Alder\" " + "with-a-name-that-does-not-end-where-it-should"

// reportOn is the frame of every report in these tests.
func reportOn(title string) Report {
	day := time.Date(2026, 3, 7, 15, 4, 0, 0, time.UTC)
	return Report{
		Made: day, Version: "v1.2.3", ToleranceCents: 10,
		Catalog:  catalog.Info{Title: title},
		Fit:      FitFacts{At: day.AddDate(0, 0, -2), Digest: "526150e9efd7aa11", Sessions: 70, Readings: 2166, NoiseCents: 3.84},
		Cautions: []string{"Wash and disinfect a shared mouthpiece before the next player takes it."},
	}
}

// wholeRange is a made-up prediction of the 31 usual notes, some of them read.
func wholeRange(horn, mouthpiece string, size float64) *match.Explanation {
	x := explained("reed-otter")
	x.Horn, x.Mouthpiece, x.Notes, x.ChanceTolerable, x.Weighting = horn, mouthpiece, nil, 0.97, "even"
	for n := pitch.RangeLow; n <= pitch.RangeHigh; n++ {
		slot, _ := pitch.UsualSlot(n, 3)
		k := float64(n - pitch.RangeLow)
		line := match.NoteLine{
			Note: n.String(), Valves: slot.Valves.String(), Partial: slot.Partial, Horn: size * math.Sin(k), Mouthpiece: 3 * math.Cos(k/4),
			SD: 2 + k/20, Slide: 2.5, Throw: max(0, 20-2*k), Weight: 1,
		}
		line.Cents = line.Horn + line.Mouthpiece
		line.Low, line.High = line.Cents-1.28*line.SD, line.Cents+1.28*line.SD
		line.Left = line.Cents - line.Slide
		line.LeftLow, line.LeftHigh = line.Left-3, line.Left+3
		if int(k)%3 == 0 {
			line.Read = &match.ReadNote{Cents: line.Cents + 2, Low: line.Cents - 1, High: line.Cents + 5, Readings: 2}
		}
		x.Notes = append(x.Notes, line)
	}
	return x
}

func setupReport() Report {
	r := reportOn("Lantern Bay Youth Winds (invented)")
	r.Setup = wholeRange("Alder", "Plover 16.2", 14)
	r.Setup.Evidence = match.EvidenceView{Pair: 2, Horn: 6, HornDesign: 11, Mouthpiece: 8, MouthpieceDesign: 4, Player: 3}
	r.Sessions = []catalog.SessionSummary{
		{Session: catalog.Session{Name: "bay-018", At: time.Date(2025, 4, 7, 0, 0, 0, 0, time.UTC)}, PlayerLabel: "salt-crab"},
		{Session: catalog.Session{Name: "bay-019"}},
	}
	return r
}

func rankingReport() Report {
	r := reportOn("Lantern Bay Youth Winds (invented)")
	r.Ranking = ranked("Alder")
	r.Ranking.LeftOut = map[string]int{"retired": 2, "shank does not fit the receiver": 4}
	r.Ranking.Pairings[2].Now = true
	r.Ranking.Pairings[0].Gain = &match.Gain{Cents: 1.8, Low: 0.4, High: 3.1, ChanceBetter: 0.96}
	r.Ranking.Pairings[1].Gain = &match.Gain{Cents: -0.3, Low: -1.2, High: 0.5, ChanceBetter: 0.4}
	for _, p := range r.Ranking.Pairings {
		r.Finalists = append(r.Finalists, wholeRange(p.Horn, p.Mouthpiece, 2+p.ErrorCents))
	}
	r.Profile = &match.Profile{Horn: "Alder", Words: []string{"Sharpest: C#4 (39 sharp).", "Measured in 6 sessions."}}
	for _, n := range r.Finalists[0].Notes {
		r.Profile.Notes = append(r.Profile.Notes, match.Contribution{Note: n.Note, Valves: n.Valves, Partial: n.Partial, Cents: n.Cents, Low: n.Low, High: n.High})
	}
	r.Gear = []Fact{{"Instrument", "trumpet in Bb"}, {"Bore", "11.7 mm"}}
	return r
}

// mouthpieceReport turns the ranking round.
func mouthpieceReport() Report {
	r := rankingReport()
	r.Ranking.Horn, r.Ranking.Mouthpiece = "", "Plover 16.2"
	for i := range r.Ranking.Pairings {
		r.Ranking.Pairings[i].Horn = []string{"Alder", "Rowan", "Hazel"}[i]
	}
	for i, x := range r.Finalists {
		x.Horn = r.Ranking.Pairings[i].Horn
	}
	r.Profile.Horn, r.Profile.Mouthpiece = "", "Plover 16.2"
	return r
}

func pageOf(t *testing.T, r Report) string {
	t.Helper()
	var b bytes.Buffer
	if err := r.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

var styleElement = regexp.MustCompile(`(?s)<style>.*</style>`)

// Pages are the same to the byte for the same answer; their style is left out of
// the comparison, since a browser judges that.
func TestReportPages(t *testing.T) {
	for name, r := range map[string]Report{"report_setup.html": setupReport(), "report_horn.html": rankingReport(), "report_mouthpiece.html": mouthpieceReport(), "report_visit.html": visitReport()} {
		got := pageOf(t, r)
		golden(t, name, styleElement.ReplaceAllString(got, "<style></style>"))
		if again := pageOf(t, r); again != got {
			t.Errorf("%s: another page the second time", name)
		}
		for _, never := range []string{"NaN", "Inf", "ZgotmplZ", "%!"} {
			if strings.Contains(got, never) {
				t.Errorf("%s holds %q", name, never)
			}
		}
	}
}

// What users wrote stands on the page as text, whatever it is.
func TestReportEscapes(t *testing.T) {
	setup, list := setupReport(), rankingReport()
	setup.Setup.Horn, setup.Setup.Mouthpiece, setup.Setup.Player = hostile, hostile, hostile
	setup.Setup.Words = append(setup.Setup.Words, hostile)
	setup.Catalog.Title, setup.Sessions[0].Name, setup.Sessions[0].PlayerLabel = "invented "+hostile, hostile, hostile
	list.Ranking.Horn, list.Ranking.Pairings[0].Mouthpiece, list.Profile.Horn = hostile, hostile, hostile
	list.Finalists[0].Mouthpiece, list.Gear[0].Text, list.Profile.Words[0] = hostile, hostile, hostile
	list.Ranking.Notes = []string{hostile}
	list.Ranking.Against = &match.Against{Answer: "No: " + hostile + ". At best, " + hostile}
	for _, r := range []Report{setup, list} {
		got := pageOf(t, r)
		if strings.Contains(got, "<script") || strings.Contains(got, "\x1b") || strings.Count(got, "&lt;script&gt;") < 4 {
			t.Errorf("a label is on the page as it came:\n%s", got)
		}
	}
}

func TestReportMarksInventedData(t *testing.T) {
	r := setupReport()
	if !strings.Contains(pageOf(t, r), "INVENTED DATA.") {
		t.Error("invented data are not marked")
	}
	r.Catalog.Title = "Lantern Bay"
	if strings.Contains(pageOf(t, r), "INVENTED") {
		t.Error("real data are marked as invented")
	}
}

func TestReportHeadlines(t *testing.T) {
	for want, c := range map[string]struct{ chance, sd float64 }{
		"Alder with Plover 16.2 should play in tune: about 5 cents are left to the lip, where 10 count as in tune.": {0.95, 2},
		"Alder with Plover 16.2 will probably play in tune, but that is not sure:":                                  {0.6, 2},
		"Alder with Plover 16.2 will probably ask more of the lip than it should:":                                  {0.2, 2},
		"Alder with Plover 16.2 will ask much of the lip:":                                                          {0.01, 2},
		"in tune. This is a first guess: too little has been measured.":                                             {0.95, 7},
	} {
		x := explained("")
		x.ChanceTolerable, x.TypicalSD = c.chance, c.sd
		if got := headlineOf(x); !strings.Contains(got, want) {
			t.Errorf("%+v: %q, want %q", c, got, want)
		}
	}
	r := ranked("Alder")
	if got, want := rankHeadline(r), "Try Plover 16.2 first: the chance that it is the best of 7 is 62 %. Don't stop there: Dunlin 16.6 (30 %) may be better."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	r.Pairings = r.Pairings[:1]
	if got, want := candidatesTitle(r), "Mouthpieces for Alder: the first of 7"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	r.Considered = 1
	if got := rankHeadline(r); got != "There is only Plover 16.2 to judge." {
		t.Errorf("%q", got)
	}
}

// Sharp, flat and what is in tune differ by more than colour, and signs stand.
func TestStaffChart(t *testing.T) {
	notes := []staffNote{
		{Note: "E4", Valves: "12", Cents: 12.34, Low: 9, High: 15}, {Note: "F4", Valves: "1", Cents: -8, Low: -30, High: 4},
		{Note: "C6", Valves: "0", Cents: -0.04, Low: -2, High: 2, Read: &match.ReadNote{Cents: 3, Low: 1, High: 5}},
	}
	c := newStaffChart(notes, staffPlays)
	want := []string{"C6 open 0.0 plain", "F4 1 −8.0 flat", "E4 1-2 +12.3 sharp"}
	for i, row := range c.Rows {
		if got := fmt.Sprintf("%s %s %s %s", row.Note, row.Valves, row.Value, row.Tone); got != want[i] || row.Mark != row.Tone {
			t.Errorf("row %d: %s with mark %s, want %s", i, got, row.Mark, want[i])
		}
		if row.Low < plotLeft || row.High > plotRight || row.At < row.Low || row.At > row.High {
			t.Errorf("%s reaches out of the plot: %v %v %v", row.Note, row.Low, row.At, row.High)
		}
	}
	if c.Rows[0].Read == nil || c.Rows[0].Staff == nil || c.Rows[1].Staff != nil || c.Rows[2].Staff.Low != plotLeft {
		t.Error("C6 has a ledger line, E4 a line of the staff, F4 none")
	}
	bars := newStaffChart(notes, staffLeft)
	if b := bars.Rows[1].Bar; b == nil || math.Abs(float64(b.Right()-bars.Zero)) > 1e-9 || b.Tone != "flat" {
		t.Errorf("a flat bar ends at nought: %+v, nought %v", b, bars.Zero)
	}
	if want := "Sharp: E4 +12 (+9 to +15). Flat: F4 −8 (−30 to +4). Within 5 cents: 1 note of 3."; c.Alternative != want {
		t.Errorf("%q, want %q", c.Alternative, want)
	}
	// Where notes are moved, what counts is whether that is sure.
	moves := newStaffChart(notes, staffMoves)
	if want := "Raised: E4 +12 (+9 to +15). Not sure: 2 notes of 3."; moves.Alternative != want || moves.Zone != nil || moves.Rows[1].Mark != "plain" {
		t.Errorf("%q, want %q; %+v", moves.Alternative, want, moves.Rows[1])
	}
}

// Scales have few numbers, at round places, and hold all there is.
func TestScales(t *testing.T) {
	for _, all := range [][]float64{nil, {3, -2}, {44, -18}, {150, -150}, {-150}, {0.1}, {900, -700}} {
		s := newCentScale(all)
		if n := len(s.ticks()); n < 3 || n > 8 {
			t.Errorf("%v: %d numbers", all, n)
		}
		for _, v := range all {
			if x := s.at(v); x < plotLeft || x > plotRight {
				t.Errorf("%v lies at %v", v, x)
			}
		}
	}
	for _, high := range []float64{0.5, 4, 12, 80, 150, 400, 5000} {
		s := newErrorScale(10, high)
		ticks := s.ticks()
		if n := len(ticks); n < 4 || n > 9 || s.at(high) > 100 || s.at(10) > 100 || ticks[0].Anchor != "start" {
			t.Errorf("to %v: %d numbers, %v", high, n, s)
		}
	}
}

func visitReport() Report {
	r := reportOn("Lantern Bay Youth Winds (invented)")
	r.VisitEnter = "centwise visit record saturday"
	s := &match.VisitSheet{
		Name: "saturday", Horn: "Alder", Player: "reed-otter", Now: "Plover 16.2", NowError: match.Expected{Cents: 6.1, Low: 5, High: 7.3},
		Advice: "Worth a visit: the best of these tries is expected to leave 1.2 cents less than Plover 16.2, which leaves 6.1. The candidate with the best chance has 61 %.",
		Times:  2, Reference: "C5", Explained: 0.86, Minutes: 40, Rest: "Rest two minutes after each mouthpiece.", StopCents: 0.5, StopChance: 0.05, Considered: 14,
	}
	for i, label := range []string{"Curlew 17.0", "Plover 16.2", "Dunlin 16.6"} {
		s.Tries = append(s.Tries, match.PlannedTry{Number: i + 1, Code: string(rune('A' + i)), Mouthpiece: label, Control: i == 1,
			Error: match.Expected{Cents: 5 + float64(i)/2, Low: 4, High: 7}, ChanceBetter: 0.7, Basis: "measured", Sessions: 4, Linked: true})
	}
	for i, note := range []string{"G4", "C5", "Eb5", "E5", "A5"} {
		n := match.DecidingNote{Note: note, Fingering: "0", Sounds: "F4", Now: float64(9 - 4*i), Listen: fmt.Sprintf("%d sharp with yours; comes down with the candidates: does it settle into a drone?", 9-4*i)}
		for _, t := range s.Tries {
			if !t.Control {
				n.Windows = append(n.Windows, match.NoteWindow{Code: t.Code, Expected: n.Now - 2, Low: n.Now - 6, High: n.Now + 2, Difference: -2, Decides: "below -3"})
			}
		}
		s.Notes = append(s.Notes, n)
	}
	r.Visit = s
	return r
}

// A blind sheet holds nothing that would tell one mouthpiece from another.
func TestBlindVisitSheet(t *testing.T) {
	r := visitReport()
	if got := pageOf(t, r); !strings.Contains(got, "A, Curlew 17.0") || !strings.Contains(got, "below −3") || !strings.Contains(got, "your own once more") {
		t.Errorf("the sheet lacks what is tried or what decides:\n%s", got)
	}
	r.Visit.Blind = true
	got := pageOf(t, r)
	for _, secret := range []string{"Curlew", "Dunlin", "below −3", "control", "once more", "5.5 (4.0"} {
		if strings.Contains(styleElement.ReplaceAllString(got, ""), secret) {
			t.Errorf("a blind sheet gives away %q", secret)
		}
	}
	if tables := strings.Count(got, `<table class="try">`); tables != 3 {
		t.Errorf("%d tables for 3 tries", tables)
	}
	if blanks := strings.Count(got, `<td class="blank">`); blanks != 3*5*2 {
		t.Errorf("%d places for readings, want 30", blanks)
	}
	r.Visit.Tries, r.Visit.Keep, r.Visit.Advice = nil, true, "Keep what you have: nothing in this stock is expected to be better than Plover 16.2."
	if got := pageOf(t, r); strings.Contains(got, "Readings") || !strings.Contains(got, "Keep what you have") {
		t.Error("a sheet without tries has places for readings, or no advice")
	}
}
