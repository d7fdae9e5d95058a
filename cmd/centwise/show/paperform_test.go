package show

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"centwise/catalog/pitch"
)

func form(rounds int, known bool) PaperForm {
	slots := []pitch.Slot{{Valves: 7, Partial: 2}, {Partial: 2}, {Partial: 8}}
	f := PaperForm{Seed: 4711, Rules: []string{"Warm up."}, Enter: "centwise measure --order 4711",
		Heads: []HeadLine{{Name: "Horn", Value: "Alder"}, {Name: "Temperature", Unit: "C"}}}
	for range rounds {
		f.Rounds = append(f.Rounds, FormNotes(slots, -2, known))
	}
	return f
}

func TestPaperFormAsText(t *testing.T) {
	var b bytes.Buffer
	if err := form(4, true).Write(&b); err != nil {
		t.Fatal(err)
	}
	const want = `Session sheet, order 4711

Horn           Alder
Temperature    ________________________ C

1. Warm up.

Round 1                    Round 2                    Round 3
 1 F#3 1-2-3 E3  ________   1 F#3 1-2-3 E3  ________   1 F#3 1-2-3 E3  ________
 2 C4  open  Bb3 ________   2 C4  open  Bb3 ________   2 C4  open  Bb3 ________
 3 C6  open  Bb5 ________   3 C6  open  Bb5 ________   3 C6  open  Bb5 ________

Round 4
 1 F#3 1-2-3 E3  ________
 2 C4  open  Bb3 ________
 3 C6  open  Bb5 ________

Write - for flat and + for sharp. Type it in later, in this order, with:
  centwise measure --order 4711
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
	b.Reset()
	if err := form(1, false).Write(&b); err != nil || !strings.Contains(b.String(), " 2 C4  open  ________\n") {
		t.Errorf("without a horn (%v):\n%s", err, b.String())
	}
}

// The page has every note in order, a place for every reading, and nothing that
// a label smuggles in; all that is opened is closed.
func TestPaperFormAsPage(t *testing.T) {
	f := form(2, true)
	f.Heads[0].Value = "<script>alert(1)</script>\x1b[31m"
	f.Enter = "centwise measure --horn '<b>'"
	var b bytes.Buffer
	if err := f.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	for _, bad := range []string{"<script", "\x1b", "<b>", "http"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	if n := strings.Count(page, `<td class="cents">`); n != 6 {
		t.Errorf("%d places for readings, want 6", n)
	}
	if strings.Index(page, "F#3") > strings.Index(page, "C6") || !strings.Contains(page, "Round 2") {
		t.Errorf("notes or rounds are not in order: %s", page)
	}
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, []string{"meta", "br"}, xml.HTMLEntity
	depth := 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch token.(type) {
		case xml.StartElement:
			depth++
		case xml.EndElement:
			depth--
		}
	}
	if depth != 0 {
		t.Errorf("%d elements are left open", depth)
	}
}
