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
		{"sheet", form(3, true)}, {"sheet-bare", form(1, false)},
	} {
		var page bytes.Buffer
		if err := tc.page.WriteHTML(&page); err != nil {
			t.Fatal(err)
		}
		b.Check(t, tc.name, page.Bytes())
	}
}
