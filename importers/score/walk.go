package score

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"golang.org/x/text/encoding/htmlindex"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// Bounds on XML. MusicXML nests about ten deep, and the texts that are used here
// are names and numbers.
const (
	maxDepth = 64
	maxWord  = 200     // bytes kept of a text
	maxTag   = 1 << 20 // bytes from one > to the next: a tag with its attributes, a text, a comment
)

// looksLikeXML reports whether data begins like XML in UTF-8 or, with a byte
// order mark, UTF-16.
func looksLikeXML(data []byte) bool {
	head := string(data[:min(len(data), 1000)])
	for _, mark := range []string{"\xfe\xff\x00<", "\xff\xfe<\x00"} {
		if strings.HasPrefix(head, mark) {
			return true
		}
	}
	return strings.HasPrefix(strings.TrimLeft(strings.TrimPrefix(head, "\ufeff"), " \t\r\n"), "<")
}

// walker goes through the elements of an XML document, each handled by who knows
// it and the others passed over, in bounded memory.
type walker struct {
	file  string
	in    *xml.Decoder
	depth int
	place func() string // where in the score, for errors
}

func newWalker(ctx context.Context, file string, content io.Reader) *walker {
	// UTF-16 by its byte order mark; without one the text stays as it is.
	text := transform.NewReader(cancelled{ctx, content}, unicode.BOMOverride(transform.Nop))
	w := &walker{file: file, in: xml.NewDecoder(&tags{in: text}), place: func() string { return "" }}
	w.in.CharsetReader = charset
	return w
}

// tags passes text on as long as no tag is so long that its parts would need much
// memory.
type tags struct {
	in    io.Reader
	since int // bytes since the last >
}

var errLongTag = fmt.Errorf("a tag or a text is longer than %d MB", maxTag>>20)

func (t *tags) Read(p []byte) (int, error) {
	n, err := t.in.Read(p[:min(len(p), maxTag)])
	if at := bytes.LastIndexByte(p[:n], '>'); at >= 0 {
		t.since = n - at
	} else {
		t.since += n
	}
	if t.since > maxTag {
		return 0, errLongTag
	}
	return n, err
}

// charset reads text in the encoding that the document declares. UTF-16 has been
// made UTF-8 by then.
func charset(label string, in io.Reader) (io.Reader, error) {
	if strings.HasPrefix(strings.ToLower(label), "utf-16") {
		return in, nil
	}
	encoding, err := htmlindex.Get(label)
	if err != nil {
		return nil, fmt.Errorf("the encoding %q is not known", shorten(label))
	}
	return encoding.NewDecoder().Reader(in), nil
}

// root gives the first element.
func (w *walker) root() (xml.StartElement, error) {
	for {
		token, err := w.in.Token()
		if err != nil {
			return xml.StartElement{}, w.broken(err)
		}
		if start, ok := token.(xml.StartElement); ok {
			w.depth = 1
			return start.Copy(), nil
		}
	}
}

// children calls visit with each child of the element that was entered last, up
// to its end. visit must consume the child: by children, text or skip.
func (w *walker) children(visit func(xml.StartElement) error) error {
	return w.contents(visit, nil)
}

func (w *walker) contents(visit func(xml.StartElement) error, text func([]byte)) error {
	for {
		token, err := w.in.Token()
		if err != nil {
			return w.broken(err)
		}
		switch t := token.(type) {
		case xml.StartElement:
			if w.depth++; w.depth > maxDepth {
				return w.errorf("export the score again", "elements are nested more than %d deep", maxDepth)
			}
			if err := visit(t); err != nil {
				return err
			}
		case xml.EndElement:
			w.depth--
			return nil
		case xml.CharData:
			if text != nil {
				text(t)
			}
		}
	}
}

// skip passes over the element that was entered last.
func (w *walker) skip() error { return w.children(func(xml.StartElement) error { return w.skip() }) }

// text is the text of the element that was entered last, without spaces around
// it, shortened to maxWord bytes.
func (w *walker) text() (string, error) {
	var b strings.Builder
	err := w.contents(func(xml.StartElement) error { return w.skip() }, func(part []byte) {
		if b.Len() == 0 {
			part = []byte(strings.TrimLeft(string(part), " \t\r\n"))
		}
		b.Write(part[:min(len(part), maxWord-b.Len())])
	})
	return strings.TrimSpace(strings.ToValidUTF8(b.String(), "")), err
}

// number is the text of an element as a decimal number.
func (w *walker) number(element string) (float64, error) {
	text, err := w.text()
	if err != nil {
		return 0, err
	}
	v, ok := decimal(text)
	if !ok {
		return 0, w.errorf("correct it, or export the score again", "<%s> is %q, not a number", element, shorten(text))
	}
	return v, nil
}

// whole is the text of an element as a whole number within low..high.
func (w *walker) whole(element string, low, high int) (int, error) {
	v, err := w.number(element)
	if err != nil {
		return 0, err
	}
	if v != float64(int(v)) || v < float64(low) || v > float64(high) {
		return 0, w.errorf("correct it, or export the score again", "<%s> is %v, not a whole number from %d to %d", element, v, low, high)
	}
	return int(v), nil
}

// decimal reads a number as XML Schema's decimal type writes it, of a size that
// means something in a score.
func decimal(text string) (float64, bool) {
	if strings.Trim(text, "+-.0123456789") != "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && v >= -1e9 && v <= 1e9
}

func (w *walker) errorf(hint, format string, args ...any) error {
	at := w.file
	if p := w.place(); p != "" {
		at += ", " + p
	}
	return invalid(hint, "%s: %s", at, fmt.Sprintf(format, args...))
}

// broken is the error for XML that can't be read on.
func (w *walker) broken(err error) error {
	var syntax *xml.SyntaxError
	switch {
	case errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, errTooLarge):
		return err
	case errors.Is(err, io.EOF) || errors.As(err, &syntax) && syntax.Msg == "unexpected EOF":
		return w.errorf("copy or export it again", "the file is cut short")
	case errors.As(err, &syntax):
		return w.errorf("export the score again", "the file is not sound XML: line %d: %s", syntax.Line, syntax.Msg)
	}
	return w.errorf("export the score again", "the file can't be read: %v", err)
}

// attribute is an attribute of an element, empty if it has none.
func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name && a.Name.Space == "" {
			return shorten(strings.TrimSpace(a.Value))
		}
	}
	return ""
}

func shorten(s string) string {
	if len(s) <= maxWord {
		return s
	}
	return strings.ToValidUTF8(s[:maxWord], "")
}
