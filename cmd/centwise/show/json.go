package show

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
)

// JSON prints v indented. Characters that act on a terminal are written as
// escapes, so that even printed JSON is harmless.
func JSON(w io.Writer, v any) error {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(v); err != nil {
		return err
	}
	_, err := w.Write(escapeHidden(b.Bytes()))
	return err
}

// JSONLists prints an object whose last member is a list too long to be held as
// text: head is the object without it.
func JSONLists[T any](w io.Writer, head any, name string, list []T) error {
	var b bytes.Buffer
	if err := JSON(&b, head); err != nil {
		return err
	}
	open := bytes.Clone(bytes.TrimSuffix(bytes.TrimSpace(b.Bytes()), []byte("\n}")))
	if _, err := fmt.Fprintf(w, "%s,\n  %q: [", open, name); err != nil {
		return err
	}
	for i := range list {
		b.Reset()
		enc := json.NewEncoder(&b)
		enc.SetEscapeHTML(false)
		enc.SetIndent("    ", "  ")
		if err := enc.Encode(&list[i]); err != nil {
			return err
		}
		between := ",\n    "
		if i == 0 {
			between = between[1:]
		}
		if _, err := fmt.Fprintf(w, "%s%s", between, escapeHidden(bytes.TrimSpace(b.Bytes()))); err != nil {
			return err
		}
	}
	_, err := io.WriteString(w, "\n  ]\n}\n")
	return err
}

// escapeHidden writes hidden characters that the encoder left as they are
// (they can only stand inside strings) as \uXXXX.
func escapeHidden(in []byte) []byte {
	if isPlainJSON(in) {
		return in
	}
	var out bytes.Buffer
	for _, r := range string(in) {
		if r != '\n' && hidden(r) {
			fmt.Fprintf(&out, `\u%04x`, r)
			continue
		}
		out.WriteRune(r)
	}
	return out.Bytes()
}

func isPlainJSON(in []byte) bool {
	for _, c := range in {
		if c >= 0x7f {
			return false
		}
	}
	return true
}

// Fields is a JSON object whose members keep the order they were added in.
type Fields []Field

// Field is one member of [Fields].
type Field struct {
	Name  string
	Value any
}

// MarshalJSON writes the members in order.
func (f Fields) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, m := range f {
		if i > 0 {
			b.WriteByte(',')
		}
		name, err := json.Marshal(m.Name)
		if err != nil {
			return nil, err
		}
		value, err := json.Marshal(m.Value)
		if err != nil {
			return nil, fmt.Errorf("member %s: %w", m.Name, err)
		}
		b.Write(name)
		b.WriteByte(':')
		b.Write(value)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}
