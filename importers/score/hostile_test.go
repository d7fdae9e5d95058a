package score

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"centwise/catalog"
)

// Bad files are refused with what is wrong, where, and what to do.
func TestBadScores(t *testing.T) {
	part := func(measures string) string { return solo(measures) }
	for want, content := range map[string]string{
		"is empty":                                "",
		"pier is empty":                           " \n\t ",
		"neither MusicXML nor a Standard MIDI":    "note,weight\nC4,1\n",
		"begins with <html>":                      "<html><body/></html>",
		"list of scores":                          `<opus><score href="a.musicxml"/></opus>`,
		"has no parts":                            "<score-partwise><part-list/></score-partwise>",
		"cut short":                               part(tone("C4", 1))[:300],
		"not sound XML: line 1":                   "<score-partwise><a></b></score-partwise>",
		`"koi8-x" is not known`:                   `<?xml version="1.0" encoding="koi8-x"?><score-partwise/>`,
		"part P1, measure 1: <duration> is \"x\"": part("<note><rest/><duration>x</duration></note>"),
		"<duration> is \"NaN\"":                   part("<note><rest/><duration>NaN</duration></note>"),
		"<duration> is \"1e3\"":                   part("<note><rest/><duration>1e3</duration></note>"),
		"a duration is -1":                        part("<note><rest/><duration>-1</duration></note>"),
		"a note has no duration":                  part("<note>" + pitchOf("C4") + "</note>"),
		"before <divisions>":                      strings.Replace(part(tone("C4", 1)), "<divisions>1</divisions>", "", 1),
		"<divisions> is 0":                        part("<attributes><divisions>0</divisions></attributes>"),
		"a pitch needs a <step>":                  part(strings.Replace(tone("C4", 1), "<step>C", "<step>H", 1)),
		"an <octave>":                             part("<note><pitch><step>C</step></pitch><duration>1</duration></note>"),
		"<octave> is 11":                          part(strings.Replace(tone("C4", 1), "<octave>4", "<octave>11", 1)),
		"<octave> is 4.5":                         part(strings.Replace(tone("C4", 1), "<octave>4", "<octave>4.5", 1)),
		"<chromatic> is 200":                      part(transpose("200", "0")),
		"a tempo is \"fast\"":                     part(`<sound tempo="fast"/>`),
		"passes \"first\"":                        part(endingBars("first", true)),
		"time-only is \"1-9\"":                    part(`<note time-only="1-9"><rest/><duration>1</duration></note>`),
		"times, not 1 to 100":                     part(`<barline><repeat direction="backward" times="0"/></barline>`),
		"is not in the list of parts":             scoreOf("", partOf("P9")),
		"two parts have the id":                   `<score-partwise><part-list><score-part id="A"/><score-part id="A"/></part-list></score-partwise>`,
		"<measure> stands where it can't":         `<score-partwise><part-list><score-part id=""/></part-list><measure/></score-partwise>`,
		"<part> stands where it can't":            `<score-timewise><part-list><score-part id="P1"/></part-list><part id="P1"/></score-timewise>`,
		"nested more than 64 deep":                "<score-partwise>" + strings.Repeat("<a>", 100),
		"longer than 1 MB":                        `<score-partwise a="` + strings.Repeat("x", 2<<20) + `"/>`,
		"more than 1000 parts":                    "<score-partwise><part-list>" + manyParts(1001),
		"more than 20000 measures":                solo(strings.Split(strings.Repeat(" ", 20_000), " ")...),
		"more than 1000 marks":                    part(manyTempos(1001)),
	} {
		_, err := Read(context.Background(), "pier", strings.NewReader(content))
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "pier") {
			t.Errorf("%q: %v", want, err)
			continue
		}
		var domain *catalog.Error
		if !errors.As(err, &domain) || domain.Kind != catalog.Invalid || domain.Hint == "" {
			t.Errorf("%q: no kind or no hint: %#v", want, err)
		}
	}
}

func manyParts(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `<score-part id="P%d"/>`, i)
	}
	return b.String()
}

func manyTempos(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `<sound tempo="%d"/>`, 10+i)
	}
	return b.String()
}

func TestBadArchives(t *testing.T) {
	good := solo(tone("C4", 1))
	index := []string{"META-INF/container.xml", container("s.xml")}
	var full bytes.Buffer
	w := zip.NewWriter(&full)
	for i := range maxEntries + 1 {
		if _, err := w.Create(fmt.Sprint(i)); err != nil {
			t.Fatal(err)
		}
	}
	w.Close()
	for want, content := range map[string]string{
		"damaged":                                      archiveOf(t, "a", "b")[:40],
		"without META-INF":                             archiveOf(t, "s.xml", good),
		"without s.xml":                                archiveOf(t, index...),
		"names no score":                               archiveOf(t, "META-INF/container.xml", "<container/>"),
		"container.xml: the file is":                   archiveOf(t, "META-INF/container.xml", "<container>"),
		`unsafe name "../s.xml"`:                       archiveOf(t, append(index, "../s.xml", good)...),
		`unsafe name "/s.xml"`:                         archiveOf(t, append(index, "/s.xml", good)...),
		`unsafe name "a/../../s.xml"`:                  archiveOf(t, append(index, "a/../../s.xml", good)...),
		`unsafe name "a\\s.xml"`:                       archiveOf(t, append(index, `a\s.xml`, good)...),
		"holds 1001 files":                             full.String(),
		"unpacks to more than 64 MB":                   archiveOf(t, append(index, "s.xml", "<score-partwise>"+strings.Repeat("<!--"+strings.Repeat("x", 100_000)+"-->", 700))...),
		"container.xml in the archive unpacks to more": archiveOf(t, "META-INF/container.xml", "<container>"+strings.Repeat("<a></a>", 200_000)),
		"begins with <svg>":                            archiveOf(t, append(index, "s.xml", "<svg/>")...),
		"larger than 16 MB":                            "PK\x03\x04" + strings.Repeat("x", 17<<20),
	} {
		_, err := Read(context.Background(), "pier.mxl", strings.NewReader(content))
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "pier.mxl") {
			t.Errorf("%q: %v", want, err)
		}
	}
}

// endless gives the same bytes for ever, behind a beginning.
type endless struct {
	head    io.Reader
	pattern string
	at      int
}

func (e *endless) Read(p []byte) (int, error) {
	if n, _ := e.head.Read(p); n > 0 {
		return n, nil
	}
	for i := range p {
		p[i] = e.pattern[(e.at+i)%len(e.pattern)]
	}
	e.at = (e.at + len(p)) % len(e.pattern)
	return len(p), nil
}

// Files without end are refused in bounded memory.
func TestFilesWithoutEnd(t *testing.T) {
	for _, c := range []struct{ head, pattern, want string }{
		{"<score-partwise>", "<a/>", "larger than 64 MB"},
		{"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk\xff\xff\xff\xff", "\x00\x90\x40\x40", "larger than 16 MB"},
		{"", " ", "is empty"},
	} {
		runtime.GC()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Read(context.Background(), "pier", &endless{head: strings.NewReader(c.head), pattern: c.pattern})
		runtime.ReadMemStats(&after)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v", c.want, err)
		}
		if took := (after.TotalAlloc - before.TotalAlloc) >> 20; took > 600 {
			t.Errorf("%q: %d MB were allocated", c.want, took)
		}
	}
}

func TestPiecesWithoutEnd(t *testing.T) {
	for _, content := range []string{
		solo(tone("C4", 100_000_000)),
		rawMIDI(0, 0xff, 0x51, 3, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f, 0x90, keyC, 9, 96, keyC, 0),
	} {
		if _, err := mustRead(t, content).Part("", Options{}); err == nil || !strings.Contains(err.Error(), "hours") {
			t.Errorf("error %v", err)
		}
	}
}

func TestReadingIsCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, content := range []string{solo(tone("C4", 1)), rawMIDI(0, 0x90, 60, 1)} {
		if _, err := Read(ctx, "pier", strings.NewReader(content)); !errors.Is(err, context.Canceled) {
			t.Errorf("error %v", err)
		}
	}
}

func TestReadFile(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "pier.txt")
	if err := os.WriteFile(path, []byte(solo(tone("C4", 1))), 0o600); err != nil {
		t.Fatal(err)
	}
	if s, err := ReadFile(context.Background(), path); err != nil || s.File != path || s.Format != MusicXML {
		t.Errorf("%+v, %v", s, err)
	}
	if _, err := ReadFile(context.Background(), folder); err == nil || !strings.Contains(err.Error(), "is a folder") {
		t.Errorf("a folder: %v", err)
	}
	if _, err := ReadFile(context.Background(), path+"x"); catalog.KindOf(err) != catalog.NotFound {
		t.Errorf("no file: %v", err)
	}
}
