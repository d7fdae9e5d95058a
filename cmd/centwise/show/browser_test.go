package show

import (
	"bytes"
	"io"
	"testing"

	"centwise/cmd/centwise/show/browsertest"
)

// Every kind of page, looked at in a browser: on a phone, on a large screen, in
// light and dark, on paper.
func TestPagesInABrowser(t *testing.T) {
	b := browsertest.Start(t)
	named := setupReport()
	named.Setup.Horn, named.Setup.Mouthpiece = hostile, hostile
	named.Setup.Words = append(named.Setup.Words, hostile)
	for _, tc := range []struct {
		name string
		page interface{ WriteHTML(io.Writer) error }
	}{
		{"report-setup", setupReport()}, {"report-named", named}, {"report-horn", rankingReport()}, {"report-mouthpiece", mouthpieceReport()},
		{"report-visit", visitReport()}, {"report-blind", blindReport()},
		{"sheet", form(3, true)}, {"sheet-named", namedSheet()}, {"sheet-bare", form(1, false)},
		{"slips", loanSlips()},
	} {
		var page bytes.Buffer
		if err := tc.page.WriteHTML(&page); err != nil {
			t.Fatal(err)
		}
		b.Check(t, tc.name, page.Bytes())
	}
}

// namedSheet is a form with a label as long as can be.
func namedSheet() PaperForm {
	f := form(2, true)
	f.Heads[0].Value, f.Enter = hostile, "centwise measure --horn "+hostile
	return f
}

// loanSlips are one as most are and one with the longest labels.
func loanSlips() LoanSlips {
	slip := LoanSlip{
		Student: "misty-hare", Horn: "Larch", Design: "Northlamp Spindrift", Mouthpiece: "Plover 16.2", PieceDesign: "Tidewright Plover",
		Tune: "Tuning slide about 4 mm out.", Slides: []string{"D4: third slide out, 12 mm", "C#4: third slide out, 20 mm"},
		Watch: []string{"G4: 11 cents sharp", "Eb5: 9 cents flat"},
	}
	long := slip
	long.Student, long.Horn, long.Mouthpiece, long.PieceDesign, long.Watch = hostile, hostile, hostile, hostile, []string{hostile}
	return LoanSlips{Slips: []LoanSlip{slip, long}}
}

// blindReport is a blind visit with labels as long as can be.
func blindReport() Report {
	r := visitReport()
	r.Visit.Blind, r.Visit.Name, r.Visit.Horn, r.Visit.Player, r.Visit.Now = true, hostile, hostile, hostile, hostile
	r.VisitEnter = "centwise visit record " + hostile
	return r
}
