package catalog

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"centwise/catalog/pitch"
)

// Extra holds fields that this version does not know, by name, each as compact
// JSON.
type Extra map[string]string

// Limits of what is kept of a newer version's records.
const (
	MaxExtraBytes  = 64 << 10
	MaxKindLength  = 40
	MaxExtraFields = 100
)

// String writes the fields as one JSON object, "" for none. [ParseExtra] reads
// it back.
func (e Extra) String() string {
	if len(e) == 0 {
		return ""
	}
	w := objectWriter{}
	for _, name := range slices.Sorted(maps.Keys(e)) {
		w.raw(name, e[name])
	}
	return string(w.end())
}

// ParseExtra reads what String wrote.
func ParseExtra(text string) (Extra, error) {
	if text == "" {
		return nil, nil
	}
	object, err := readObject([]byte(text))
	if err != nil {
		return nil, err
	}
	e := Extra{}
	for name, raw := range object {
		e[name] = string(raw)
	}
	return e, nil
}

const withheldField = "withheld"

// Encode writes the record as one line of JSON: fields in a fixed order, those
// that are zero left out, so that equal records are equal bytes.
func (p Pooled) Encode() ([]byte, error) {
	switch {
	case p.Horn != nil:
		return exchangedHorns.encode(*p.Horn)
	case p.Mouthpiece != nil:
		return exchangedMouthpieces.encode(*p.Mouthpiece)
	case p.Player != nil:
		return exchangedPlayers.encode(*p.Player)
	case p.Link != nil:
		return exchangedLinks.encode(*p.Link)
	case p.Session != nil:
		return exchangedSessions.encode(flat(*p.Session))
	case p.Other != nil:
		return []byte(p.Other.Body), nil
	}
	return nil, fmt.Errorf("catalog: an empty record can't be exchanged")
}

// DecodePooled reads a record of a kind from JSON, brings it into normal form
// and checks it. Fields and kinds that are not known are kept. Invalid: it is
// no such record, or breaks a rule.
func DecodePooled(kind string, body []byte) (p Pooled, err error) {
	switch kind {
	case PooledHorn:
		p.Horn, err = exchangedHorns.decode(body)
	case PooledMouthpiece:
		p.Mouthpiece, err = exchangedMouthpieces.decode(body)
	case PooledPlayer:
		p.Player, err = exchangedPlayers.decode(body)
	case PooledLink:
		p.Link, err = exchangedLinks.decode(body)
	case PooledSession:
		var f *Shared[flatSession]
		if f, err = exchangedSessions.decode(body); err == nil {
			s := whole(*f)
			p.Session = &s
		}
	default:
		p.Other, err = decodeOther(kind, body)
	}
	if err != nil {
		return Pooled{}, err
	}
	return p, nil
}

func decodeOther(kind string, body []byte) (*OtherRecord, error) {
	c := checking("record of kind", kind)
	c.label("kind", kind)
	if len(kind) > MaxKindLength || len(body) > MaxExtraBytes {
		c.addf("kind", "ask for a bundle without it", "is not known to this version, and too large to be kept (%d bytes)", len(body))
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	if _, err := readObject(body); err != nil {
		return nil, err
	}
	text, err := compact(body)
	return &OtherRecord{kind, text}, err
}

// encode writes a record.
func (x *exchange[T]) encode(s Shared[T]) ([]byte, error) {
	w := objectWriter{}
	written := map[string]bool{}
	for _, list := range [][]sharedField[T]{x.fields, x.later} {
		for _, f := range list {
			at := f.of(&s.Record)
			if reflect.ValueOf(at).Elem().IsZero() {
				continue
			}
			text, err := plainJSON(at)
			if err != nil {
				return nil, fmt.Errorf("catalog: writing %s of a %s: %w", f.name, x.kind, err)
			}
			w.raw(f.name, text)
			written[f.name] = true
		}
	}
	for _, name := range slices.Sorted(maps.Keys(s.Extra)) {
		if !written[name] {
			w.raw(name, s.Extra[name])
		}
	}
	if len(s.Withheld) > 0 {
		text, err := plainJSON(s.Withheld)
		if err != nil {
			return nil, err
		}
		w.raw(withheldField, text)
	}
	return w.end(), nil
}

// decode reads a record, normalises and checks it.
func (x *exchange[T]) decode(body []byte) (*Shared[T], error) {
	object, err := readObject(body)
	if err != nil {
		return nil, err
	}
	var s Shared[T]
	for _, list := range [][]sharedField[T]{x.fields, x.later} {
		for _, f := range list {
			raw, ok := object[f.name]
			if !ok {
				continue
			}
			delete(object, f.name)
			if err := json.Unmarshal(raw, f.of(&s.Record)); err != nil {
				return nil, &Error{Kind: Invalid, What: fmt.Sprintf("%s of the %s can't be read", f.name, x.kind), Err: err}
			}
		}
	}
	if raw, ok := object[withheldField]; ok {
		delete(object, withheldField)
		if err := json.Unmarshal(raw, &s.Withheld); err != nil || !tidy(s.Withheld) {
			return nil, Errorf(Invalid, "ask for a new bundle", "the list of withheld fields of the %s can't be read", x.kind)
		}
	}
	if s.Extra, err = extraOf(object); err != nil {
		return nil, err
	}
	x.normalize(&s.Record)
	if err := x.validate(s.Record); err != nil {
		return nil, err
	}
	if raw, ok := x.fields[0].of(&s.Record).(*ID); ok && !raw.Valid() {
		return nil, Errorf(Invalid, "ask for a new bundle", "the id %q of the %s is not a ULID", *raw, x.kind)
	}
	return &s, nil
}

// tidy reports whether a list of withheld fields is sorted, without doubles and
// not absurd.
func tidy(names []string) bool {
	if len(names) > MaxExtraFields {
		return false
	}
	for i, name := range names {
		if name == "" || len(name) > MaxLabelLength || i > 0 && names[i-1] >= name {
			return false
		}
	}
	return true
}

// extraOf keeps the fields that are left over.
func extraOf(object map[string]json.RawMessage) (Extra, error) {
	if len(object) == 0 {
		return nil, nil
	}
	e, size := Extra{}, 0
	for name, raw := range object {
		text, err := compact(raw)
		if err != nil {
			return nil, err
		}
		e[name] = text
		size += len(name) + len(text)
	}
	if size > MaxExtraBytes || len(e) > MaxExtraFields {
		return nil, Errorf(Invalid, "ask for a bundle without them", "the record has %d fields, %d bytes, that this version does not know: more than it keeps", len(e), size)
	}
	return e, nil
}

// readObject splits a JSON object into its fields.
func readObject(text []byte) (map[string]json.RawMessage, error) {
	var object map[string]json.RawMessage
	if err := json.Unmarshal(text, &object); err != nil {
		return nil, &Error{Kind: Invalid, What: "not a JSON object", Err: err}
	}
	if object == nil {
		return nil, Errorf(Invalid, "", "not a JSON object")
	}
	return object, nil
}

func compact(raw []byte) (string, error) {
	var b bytes.Buffer
	if err := json.Compact(&b, raw); err != nil {
		return "", &Error{Kind: Invalid, What: "not JSON", Err: err}
	}
	return b.String(), nil
}

// plainJSON is x as JSON, with < > & as they are.
func plainJSON(x any) (string, error) {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(x)
	return strings.TrimSuffix(b.String(), "\n"), err
}

// objectWriter writes a JSON object field by field.
type objectWriter struct{ b []byte }

func (w *objectWriter) raw(name, text string) {
	if len(w.b) == 0 {
		w.b = append(w.b, '{')
	} else {
		w.b = append(w.b, ',')
	}
	quoted, _ := plainJSON(name) // a string can always be written
	w.b = append(w.b, quoted...)
	w.b = append(w.b, ':')
	w.b = append(w.b, text...)
}

func (w *objectWriter) end() []byte {
	if len(w.b) == 0 {
		return []byte("{}")
	}
	return append(w.b, '}')
}

func appendReading(b []byte, x Reading) []byte {
	b = append(b, '[')
	b = append(b, x.Slot.Valves.String()...)
	b = append(b, ',')
	b = strconv.AppendInt(b, int64(x.Slot.Partial), 10)
	b = append(b, ',')
	b = strconv.AppendInt(b, int64(x.Repeat), 10)
	b = append(b, ',')
	b = strconv.AppendFloat(b, x.Cents, 'g', -1, 64)
	if x.Odd {
		b = append(b, ",1"...)
	}
	return append(b, ']')
}

// parseReadings reads rows of readings. By hand, because readings are nearly
// all of a bundle.
func parseReadings(text []byte) ([]Reading, error) {
	inner, ok := between(text, '[', ']')
	if !ok {
		return nil, fmt.Errorf("the readings are not a list")
	}
	out := make([]Reading, 0, bytes.Count(inner, []byte{'['}))
	for rest := inner; len(rest) > 0; {
		end := bytes.IndexByte(rest, ']')
		if end < 0 {
			return nil, fmt.Errorf("reading %d has no end", len(out)+1)
		}
		r, err := parseReading(rest[:end+1])
		if err != nil {
			return nil, fmt.Errorf("reading %d: %w", len(out)+1, err)
		}
		out = append(out, r)
		if rest = bytes.TrimSpace(rest[end+1:]); len(rest) == 0 {
			break
		}
		if rest[0] != ',' || len(bytes.TrimSpace(rest[1:])) == 0 {
			return nil, fmt.Errorf("no comma after reading %d", len(out))
		}
		rest = rest[1:]
	}
	return out, nil
}

// between cuts off the brackets around a JSON list.
func between(text []byte, open, close byte) ([]byte, bool) {
	text = bytes.TrimSpace(text)
	if len(text) < 2 || text[0] != open || text[len(text)-1] != close {
		return nil, false
	}
	return bytes.TrimSpace(text[1 : len(text)-1]), true
}

// parseReading reads one row: valves, partial, repeat, cents, and 1 if odd.
func parseReading(text []byte) (r Reading, err error) {
	inner, ok := between(text, '[', ']')
	if !ok {
		return r, fmt.Errorf("%.40q is not a list of numbers", text)
	}
	var row [5]float64
	n := 0
	for ; len(inner) > 0 && n < len(row); n++ {
		word, rest, more := bytes.Cut(inner, []byte{','})
		if row[n], err = strconv.ParseFloat(string(bytes.TrimSpace(word)), 64); err != nil || math.IsInf(row[n], 0) || math.IsNaN(row[n]) {
			return r, fmt.Errorf("%.40q is not a number", word)
		}
		if inner = rest; !more {
			n++
			break
		}
	}
	if n < 4 || n == len(row) && (row[4] != 1 || len(inner) > 0) {
		return r, fmt.Errorf("%.40q is not valves, partial, repeat and cents", text)
	}
	for _, x := range row[:3] {
		if x != math.Trunc(x) || x < 0 || x > 1e6 {
			return r, fmt.Errorf("valves, partial and repeat are whole numbers, %.40q", text)
		}
	}
	valves, err := pitch.ParseValves(strconv.Itoa(int(row[0])))
	if err != nil {
		return r, err
	}
	r = Reading{Slot: pitch.Slot{Valves: valves, Partial: int(row[1])}, Repeat: int(row[2]), Cents: row[3] + 0, Odd: n == 5}
	return r, nil
}
