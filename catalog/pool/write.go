package pool

import (
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"hash"
	"io"

	"centwise/catalog"
)

// ExportOptions says what goes into a bundle.
type ExportOptions struct {
	Selection catalog.PoolSelection
	Privacy   Privacy
	Progress  catalog.Counter // may be nil
}

// Export writes a bundle. Equal catalogs with one salt give equal bytes.
func Export(ctx context.Context, store catalog.Store, w io.Writer, o ExportOptions) (Summary, error) {
	out, err := newWriter(w)
	if err != nil {
		return Summary{}, err
	}
	if err := Each(ctx, store, o, func(p catalog.Pooled, body []byte) error { return out.add(p, body) }); err != nil {
		return Summary{}, err
	}
	return out.close()
}

// Each visits the records that a bundle would hold, and the bytes that stand
// for them there.
func Each(ctx context.Context, store catalog.Store, o ExportOptions, visit func(catalog.Pooled, []byte) error) error {
	secret, err := store.PoolSecret(ctx)
	if err != nil {
		return err
	}
	if o.Progress != nil {
		o.Progress.Start("exporting readings", 0)
		defer o.Progress.Done()
	}
	redaction := o.Privacy.redaction(secret)
	for p, err := range store.Pooled(ctx, o.Selection) {
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return err
		}
		p = p.Redacted(redaction)
		body, err := p.Encode()
		if err != nil {
			return err
		}
		if err := visit(p, body); err != nil {
			return err
		}
		if o.Progress != nil {
			o.Progress.Add(int64(readingsOf(p)))
		}
	}
	return nil
}

// writer writes a bundle line by line.
type writer struct {
	gz      *gzip.Writer
	sum     hash.Hash
	line    []byte
	summary Summary
}

func newWriter(w io.Writer) (*writer, error) {
	out := &writer{gz: gzip.NewWriter(w), sum: sha256.New()}
	first, err := json.Marshal(header{bundleName, Format})
	if err == nil {
		err = out.write(first)
	}
	return out, err
}

func (w *writer) write(line []byte) error {
	line = append(line, '\n')
	w.sum.Write(line)
	_, err := w.gz.Write(line)
	return err
}

func (w *writer) add(p catalog.Pooled, body []byte) error {
	digest := sha256.Sum256(body)
	kind, err := json.Marshal(p.Kind())
	if err != nil {
		return err
	}
	w.line = append(w.line[:0], `{"digest":"`...)
	w.line = hex.AppendEncode(w.line, digest[:])
	w.line = append(w.line, `",`...)
	w.line = append(w.line, kind...)
	w.line = append(w.line, ':')
	w.line = append(w.line, body...)
	w.line = append(w.line, '}')
	if len(w.line)+1 > maxLineBytes { // with its end, as it is read
		return catalog.Errorf(catalog.Invalid, "leave it out of the selection", "the %s %s is too large for a bundle: %d bytes", p.Kind(), p.ID(), len(w.line))
	}
	w.summary.Records++
	w.summary.Readings += readingsOf(p)
	return w.write(w.line)
}

func (w *writer) close() (Summary, error) {
	w.summary.Digest = hex.EncodeToString(w.sum.Sum(nil))
	last, err := json.Marshal(footer{&w.summary})
	if err == nil {
		err = w.write(last)
	}
	if err == nil {
		err = w.gz.Close()
	}
	return w.summary, err
}
