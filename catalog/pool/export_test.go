package pool

import (
	"io"

	"centwise/catalog"
)

// WriteOne writes a bundle of one record.
func WriteOne(w io.Writer, p catalog.Pooled, body []byte) error {
	out, err := newWriter(w)
	if err == nil {
		err = out.add(p, body)
	}
	if err == nil {
		_, err = out.close()
	}
	return err
}
