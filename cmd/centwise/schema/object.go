package schema

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// object is a JSON object whose members keep their order, and their texts as they
// were written.
type object []member

type member struct {
	name string
	text json.RawMessage
}

// member is the text of a member, nil if there is none.
func (o object) member(name string) json.RawMessage {
	for _, m := range o {
		if m.name == name {
			return m.text
		}
	}
	return nil
}

// UnmarshalJSON reads the members in order.
func (o *object) UnmarshalJSON(text []byte) error {
	d := json.NewDecoder(bytes.NewReader(text))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return fmt.Errorf("an object is wanted, not %.20q", text)
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return err
		}
		m := member{name: name.(string)} // the decoder takes nothing else here
		if err := d.Decode(&m.text); err != nil {
			return fmt.Errorf("member %s: %w", m.name, err)
		}
		*o = append(*o, m)
	}
	return nil
}

// text writes the object a member a line; indent stands before members, outer
// before the closing brace.
func (o object) text(indent, outer string) []byte {
	var b bytes.Buffer
	b.WriteString("{\n")
	for i, m := range o {
		end := ",\n"
		if i == len(o)-1 {
			end = "\n"
		}
		fmt.Fprintf(&b, "%s%q: %s%s", indent, m.name, m.text, end)
	}
	b.WriteString(outer + "}")
	return b.Bytes()
}
