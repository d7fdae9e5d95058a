package sqlstore

import (
	"database/sql/driver"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// The types of this file map Go values to columns that SQLite and PostgreSQL
// both have. Each is used through a pointer, for scanning and as an argument,
// so one list of pointers serves reading and writing a record.

// askable is a text to look something up by. Bytes that no stored text holds, and
// some databases can't be asked for, become a character that none holds either.
func askable(text string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(text, "\x01"), "\x00", "\x01")
}

// flag is a bool kept as 0 or 1.
type flag bool

func (f *flag) Scan(src any) error {
	n, ok := src.(int64)
	if !ok || n < 0 || n > 1 {
		return fmt.Errorf("%v is not a flag", src)
	}
	*f = n == 1
	return nil
}

func (f *flag) Value() (driver.Value, error) {
	if *f {
		return int64(1), nil
	}
	return int64(0), nil
}

// instant is a time kept as milliseconds since 1970 UTC; the zero time is NULL.
type instant time.Time

func (t *instant) Scan(src any) error {
	switch ms := src.(type) {
	case nil:
		*t = instant{}
	case int64:
		*t = instant(time.UnixMilli(ms).UTC())
	default:
		return fmt.Errorf("%v is not a time", src)
	}
	return nil
}

func (t *instant) Value() (driver.Value, error) {
	if time.Time(*t).IsZero() {
		return nil, nil
	}
	return time.Time(*t).UnixMilli(), nil
}

// list is a list of labels kept as a JSON array.
type list []string

func (l *list) Scan(src any) error {
	text, ok := src.(string)
	if !ok {
		return fmt.Errorf("%v is not a list", src)
	}
	*l = nil
	if text == "[]" {
		return nil
	}
	return json.Unmarshal([]byte(text), (*[]string)(l))
}

func (l *list) Value() (driver.Value, error) {
	if len(*l) == 0 {
		return "[]", nil
	}
	text, err := json.Marshal([]string(*l))
	return string(text), err
}

// weights are kept as the text of [catalog.Weights.String].
type weights catalog.Weights

func (w *weights) Scan(src any) error {
	text, ok := src.(string)
	if !ok {
		return fmt.Errorf("%v is not a list of weights", src)
	}
	read, err := catalog.ParseWeights(text)
	*w = weights(read)
	return err
}

func (w *weights) Value() (driver.Value, error) { return catalog.Weights(*w).String(), nil }

// digest is a [catalog.Digest] kept as its bytes.
type digest catalog.Digest

func (d *digest) Scan(src any) error {
	b, ok := src.([]byte)
	if !ok || len(b) != len(d) {
		return fmt.Errorf("%v is not a digest", src)
	}
	copy(d[:], b)
	return nil
}

func (d *digest) Value() (driver.Value, error) { return d[:], nil }

// reference is an id that may be empty, kept as NULL.
type reference catalog.ID

func (r *reference) Scan(src any) error {
	switch id := src.(type) {
	case nil:
		*r = ""
	case string:
		*r = reference(id)
	default:
		return fmt.Errorf("%v is not an id", src)
	}
	return nil
}

func (r *reference) Value() (driver.Value, error) {
	if *r == "" {
		return nil, nil
	}
	return string(*r), nil
}

// rounds are lists of slots kept as "0/2 13/3; 13/3 0/2".
type rounds [][]pitch.Slot

func (r *rounds) Scan(src any) error {
	text, ok := src.(string)
	if !ok {
		return fmt.Errorf("%v is not a list of slots", src)
	}
	*r = nil
	for part := range strings.SplitSeq(text, ";") {
		var round []pitch.Slot
		for _, word := range strings.Fields(part) {
			s, err := pitch.ParseSlot(word)
			if err != nil {
				return err
			}
			round = append(round, s)
		}
		*r = append(*r, round)
	}
	return nil
}

func (r *rounds) Value() (driver.Value, error) {
	var parts []string
	for _, round := range *r {
		var slots []string
		for _, s := range round {
			slots = append(slots, s.String())
		}
		parts = append(parts, strings.Join(slots, " "))
	}
	return strings.Join(parts, "; "), nil
}
