package browsertest

import (
	"fmt"
	"strings"
	"testing"
)

// recorder takes down what a check complains of.
type recorder struct {
	testing.TB
	complaints []string
}

func (r *recorder) Errorf(format string, args ...any) {
	r.complaints = append(r.complaints, fmt.Sprintf(format, args...))
}

// with wraps a body in a page that is right otherwise.
func with(body string) []byte {
	return []byte(`<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>A page</title><style>body{margin:1em;color:#222;background:#fff}</style></head><body><h1>A page</h1>` + body + `</body></html>`)
}

const goodChart = `<svg width="100" height="40" role="img" aria-label="three notes, one of them sharp"><text x="5" y="20">one</text><text x="5" y="38">two</text></svg>`

// Each fault is found, and a page without any passes.
func TestCheckFindsWhatIsWrong(t *testing.T) {
	b := Start(t)
	for _, tc := range []struct{ name, body, want string }{
		{"good", "<p>Words.</p>" + goodChart, ""},
		{"wide", `<p style="width:500px">Words.</p>`, "on a phone: the page is"},
		{"beyond", `<div style="overflow:hidden"><p style="width:500px">Words.</p></div>`, "reaches from 16 to 516"},
		{"cut", `<p style="height:9px;overflow:hidden">Words.</p>`, "is cut off: <p> Words."},
		{"tiny", `<p style="font-size:6px">Words.</p>`, "letters of 6px"},
		{"pale", `<p style="color:#999">Words.</p>`, "contrast 2.85, at least 4.5"},
		{"pale in the dark", `<style>@media(prefers-color-scheme:dark){body{background:#111}}</style>`, "on a phone-dark: contrast 1.19"},
		{"pale on paper", `<style>@media print{h1{color:#ddd}}</style>`, "on A4: contrast 1.36"},
		{"pale mark", strings.Replace(goodChart, "</svg>", `<rect class="bar" width="9" height="9" fill="#ccc"/></svg>`, 1), "contrast 1.61, at least 3"},
		{"silent", `<svg width="9" height="9"><rect width="9" height="9"/></svg>`, "no text alternative"},
		{"text on text", strings.Replace(goodChart, `y="38"`, `y="25"`, 1), "lies on other text: <text> one and <text> two"},
		{"text outside", strings.Replace(goodChart, `x="5"`, `x="90"`, 1), "lies outside its chart: <text> one"},
		{"table", `<table><tr><td>1</td></tr></table>`, "a table has no caption"},
		{"headings", `<h3>Deep</h3>`, "a heading of level 3 after one of 1"},
		{"twice", `<p id="a">A</p><p id="a">B</p>`, "the id a stands twice"},
		{"script", `<script>var x</script>`, "holds a SCRIPT"},
		{"handler", `<p onclick="x()">Words.</p>`, "runs onclick"},
		{"network", `<p style="background:url(http://localhost:9/a.png)">Words.</p>`, "asks the network for http://localhost:9/a.png"},
		{"link", `<a href="https://example.org">Words</a>`, "refers to https://example.org"},
		{"tall", `<svg width="9" height="1100" role="img" aria-label="a chart that is too tall"></svg>`, "on A4: something is 1100 high"},
	} {
		r := &recorder{TB: t}
		b.Check(r, tc.name, with(tc.body))
		all := strings.Join(r.complaints, "\n")
		if (tc.want == "") != (all == "") || !strings.Contains(all, tc.want) {
			t.Errorf("%s: complaints\n%s\nwant %q", tc.name, all, tc.want)
		}
	}
}

// The ratio of black on white is 21, and #777 on white 4.48 (WCAG 2.2, and the
// usual example of a grey just too pale; from memory).
func TestContrastOfKnownColours(t *testing.T) {
	b := Start(t)
	r := &recorder{TB: t}
	b.Check(r, "grey", with(`<p style="color:#777">Words.</p>`))
	if all := strings.Join(r.complaints, "\n"); !strings.Contains(all, "contrast 4.48, at least 4.5") {
		t.Errorf("complaints %q", all)
	}
	r.complaints = nil
	b.Check(r, "less grey", with(`<p style="color:#767676">Words.</p>`))
	if len(r.complaints) > 0 {
		t.Errorf("complaints of #767676, whose ratio is 4.54: %q", r.complaints)
	}
}

func TestPrintedPages(t *testing.T) {
	a4 := papers[0]
	for pdf, good := range map[string]bool{
		"%PDF-1.4 /MediaBox [0 0 594.95996 841.91998]": true,
		"%PDF-1.4 /MediaBox [0 0 612 792]":             false,
		"%PDF-1.4":                                     false,
		"/MediaBox [0 0 595 842]":                      false,
	} {
		if err := a4.printed([]byte(pdf)); (err == nil) != good {
			t.Errorf("%s: %v", pdf, err)
		}
	}
}
