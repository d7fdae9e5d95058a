package sheet

import (
	"bytes"
	"fmt"
	"io"
	"unicode/utf8"
)

// Longest line and longest row, in bytes; a row has several lines when a quoted
// cell holds line ends. They keep memory bounded whatever the file is.
const (
	maxLineBytes = 100_000
	maxRowBytes  = 256_000
)

// stop is what ends the reading of a file: what comes after it can't be
// understood or would need too much memory.
type stop struct {
	line       int
	what, hint string
}

func (s *stop) Error() string { return fmt.Sprintf("line %d: %s (%s)", s.line, s.what, s.hint) }

// textReader passes on text as UTF-8 with \n line ends and without a byte order
// mark. It checks that it is text and that no line or row is too long.
type textReader struct {
	src      io.Reader
	buf      []byte
	ready    []byte // part of buf: checked, not yet passed on
	rest     []byte // part of buf: the beginning of a character
	err      error  // what comes after ready
	begun    bool
	afterCR  bool // the last byte was \r, so a \n that follows belongs to it
	line     int  // of the next byte
	lineLen  int
	rowLine  int // where the row began
	rowLen   int
	inQuotes bool
}

func newTextReader(src io.Reader) *textReader {
	return &textReader{src: src, buf: make([]byte, 64<<10), line: 1, rowLine: 1}
}

// Read implements [io.Reader]. Its error may be a [*stop].
func (t *textReader) Read(p []byte) (int, error) {
	for len(t.ready) == 0 {
		if t.err != nil {
			return 0, t.err
		}
		t.fill()
	}
	n := copy(p, t.ready)
	t.ready = t.ready[n:]
	return n, nil
}

// fill reads on and checks what it got.
func (t *textReader) fill() {
	keep := copy(t.buf, t.rest)
	n, err := t.src.Read(t.buf[keep:])
	data := t.buf[:keep+n]
	if !t.begun {
		if len(data) < 3 && err == nil {
			t.rest = data
			return
		}
		t.begun = true
		if bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")) {
			t.err = &stop{1, "is UTF-16 text", saveAs}
			return
		}
		data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	}
	whole := len(data)
	if err == nil {
		whole = wholeCharacters(data)
	}
	t.rest = data[whole:]
	t.check(data[:whole])
	if t.err == nil {
		t.err = err
	}
}

const saveAs = "save the sheet as CSV UTF-8, or as .xlsx"

// wholeCharacters is the number of leading bytes that do not end in the middle
// of a character.
func wholeCharacters(data []byte) int {
	for back := 1; back < utf8.UTFMax && back <= len(data); back++ {
		at := len(data) - back
		if utf8.RuneStart(data[at]) {
			if !utf8.FullRune(data[at:]) {
				return at
			}
			break
		}
	}
	return len(data)
}

// check makes data ready, up to where it is not text or too long.
func (t *textReader) check(data []byte) {
	bad := len(data)
	if bytes.IndexByte(data, 0) >= 0 || !utf8.Valid(data) {
		bad = firstNotText(data)
	}
	var offender byte
	if bad < len(data) {
		offender = data[bad]
	}
	unified := t.unify(data[:bad])
	t.ready = unified[:t.measure(unified)]
	if t.err == nil && bad < len(data) {
		t.err = t.notText(offender)
	}
}

func firstNotText(chunk []byte) int {
	for i := 0; i < len(chunk); {
		r, size := utf8.DecodeRune(chunk[i:])
		if r == 0 || r == utf8.RuneError && size <= 1 {
			return i
		}
		i += size
	}
	return len(chunk)
}

func (t *textReader) notText(c byte) error {
	if c == 0 {
		return &stop{t.line, "holds a zero byte: the file is not text", saveAs}
	}
	return &stop{t.line, fmt.Sprintf("is not UTF-8 text: byte %02X at place %d of the line", c, t.lineLen+1), saveAs}
}

// unify makes \r\n and \r in text \n, in place.
func (t *textReader) unify(text []byte) []byte {
	if !t.afterCR && bytes.IndexByte(text, '\r') < 0 {
		return text
	}
	n := 0
	for _, c := range text {
		skip := c == '\n' && t.afterCR
		t.afterCR = c == '\r'
		if skip {
			continue
		}
		if c == '\r' {
			c = '\n'
		}
		text[n] = c
		n++
	}
	return text[:n]
}

// measure counts lines and rows of text that is passed on. It gives how much
// may be, which is less than all when a line or row is too long.
func (t *textReader) measure(text []byte) int {
	passed := 0
	for passed < len(text) {
		part := text[passed:]
		end := bytes.IndexByte(part, '\n')
		if end >= 0 {
			part = part[:end+1]
		}
		if bytes.Count(part, []byte{'"'})%2 == 1 {
			t.inQuotes = !t.inQuotes
		}
		t.lineLen += len(part)
		t.rowLen += len(part)
		if err := t.tooLong(); err != nil {
			t.err = err
			return passed
		}
		passed += len(part)
		if end >= 0 {
			t.line, t.lineLen = t.line+1, 0
			if !t.inQuotes {
				t.rowLine, t.rowLen = t.line, 0
			}
		}
	}
	return passed
}

func (t *textReader) tooLong() error {
	switch {
	case t.lineLen > maxLineBytes:
		return &stop{t.line, fmt.Sprintf("is longer than %d bytes", maxLineBytes), "a sheet has one row a line: check what the file is"}
	case t.rowLen > maxRowBytes:
		return &stop{t.rowLine, fmt.Sprintf("begins a row of more than %d bytes", maxRowBytes), "look for a quotation mark that is not closed"}
	}
	return nil
}
