package pool

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"iter"
	"unicode/utf8"

	"centwise/catalog"
)

// File is a bundle to read. Name is for messages.
type File struct {
	Name    string
	Content io.Reader
}

// Read streams the records of a bundle, each checked before it is given. Its
// last error, if any, is of kind Invalid, or that of the context or of reading
// Content, and says in which record what was wrong. That the bundle is whole is
// only known when the stream has ended without one.
func Read(ctx context.Context, f File) iter.Seq2[catalog.Pooled, error] {
	return read(ctx, f, &place{file: f.Name}, maxBytes)
}

// read is Read of a bundle that unpacks to no more than limit bytes.
func read(ctx context.Context, f File, at *place, limit int64) iter.Seq2[catalog.Pooled, error] {
	return func(yield func(catalog.Pooled, error) bool) {
		r := &reader{place: at, limit: limit, sum: sha256.New(), gear: map[catalog.ID]int{}}
		if err := r.all(ctx, f.Content, yield); err != nil {
			yield(catalog.Pooled{}, err)
		}
	}
}

// place is where in a bundle reading is.
type place struct {
	file   string
	record int // from 1; 0 before the first
	what   string
}

func (p *place) String() string {
	switch {
	case p.record == 0:
		return p.file
	case p.what == "":
		return fmt.Sprintf("%s, record %d", p.file, p.record)
	}
	return fmt.Sprintf("%s, record %d (%s)", p.file, p.record, p.what)
}

// reader is one bundle being read.
type reader struct {
	*place
	lines   *bufio.Reader
	line    []byte
	bytes   int64
	limit   int64
	sum     hash.Hash
	got     Summary
	gear    map[catalog.ID]int // last revision of each
	last    catalog.ID         // and kind of the record before
	kind    string
	link    string // kind and alias of the link before
	session bool   // sessions have begun
}

const askAgain = "ask for the bundle again; nothing was merged"

// bad is an error at the place where reading is.
func (r *reader) bad(format string, args ...any) error {
	return catalog.Errorf(catalog.Invalid, askAgain, "%s: "+format, append([]any{r.place}, args...)...)
}

func (r *reader) wrong(err error) error {
	return &catalog.Error{Kind: catalog.Invalid, What: r.place.String(), Hint: askAgain, Err: err}
}

func (r *reader) all(ctx context.Context, content io.Reader, yield func(catalog.Pooled, error) bool) error {
	raw := bufio.NewReaderSize(content, 1<<16)
	gz, err := gzip.NewReader(raw)
	if err != nil {
		return r.unzipped(err)
	}
	gz.Multistream(false)
	r.lines = bufio.NewReaderSize(gz, 1<<16)
	if err := r.header(); err != nil {
		return err
	}
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		p, done, err := r.next()
		if err != nil {
			return err
		}
		if done {
			return r.end(raw)
		}
		if !yield(p, nil) {
			return nil
		}
	}
}

// unzipped explains why decompressing failed.
func (r *reader) unzipped(err error) error {
	switch {
	case errors.Is(err, gzip.ErrHeader):
		return r.bad("not a bundle: it is not compressed as one")
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return r.bad("the bundle was cut off here")
	case errors.Is(err, gzip.ErrChecksum):
		return r.bad("the bundle is damaged: its checksum is wrong")
	}
	if disk := (*fs.PathError)(nil); errors.As(err, &disk) {
		return &catalog.Error{Kind: catalog.Unavailable, What: "reading " + r.file, Hint: "check that the file can be read", Err: err}
	}
	return r.wrong(fmt.Errorf("the bundle is damaged: %w", err))
}

// nextLine reads a line without its end, and no more of it than a line may have.
func (r *reader) nextLine() ([]byte, error) {
	r.line = r.line[:0]
	for {
		part, err := r.lines.ReadSlice('\n')
		r.line = append(r.line, part...)
		r.bytes += int64(len(part))
		switch {
		case len(r.line) > maxLineBytes:
			return nil, r.bad("the line is longer than %d bytes", maxLineBytes)
		case r.bytes > r.limit:
			return nil, r.bad("the bundle unpacks to more than %d bytes", r.limit)
		case err == nil:
			line := r.line[:len(r.line)-1]
			if !utf8.Valid(line) {
				return nil, r.bad("the line is not UTF-8 text")
			}
			return line, nil
		case errors.Is(err, bufio.ErrBufferFull):
		default:
			return nil, r.unzipped(err)
		}
	}
}

func (r *reader) header() error {
	line, err := r.nextLine()
	if err != nil {
		return err
	}
	var h header
	if err := json.Unmarshal(line, &h); err != nil || h.Bundle != bundleName {
		return r.bad("not a bundle of centwise: its first line is %.60q", line)
	}
	if h.Format != Format {
		return catalog.Errorf(catalog.Invalid, "merge it with a newer version of centwise; nothing was merged",
			"%s is of format %d, this version reads format %d", r.file, h.Format, Format)
	}
	r.sum.Write(r.line)
	return nil
}

// next reads a record; done says that it was the last line instead.
func (r *reader) next() (p catalog.Pooled, done bool, err error) {
	r.record, r.what = r.record+1, ""
	line, err := r.nextLine()
	if err != nil {
		return p, false, err
	}
	kind, body, digest, whole := splitPlain(line)
	if !whole {
		if kind, body, digest, err = split(line); err != nil {
			return p, false, r.wrong(err)
		}
	}
	if kind == "end" {
		r.record--
		return p, true, r.footer(body)
	}
	r.what = kind
	if got := sha256.Sum256(body); !whole && hex.EncodeToString(got[:]) != digest {
		return p, false, r.bad("the record is not what its digest says: it was changed or damaged")
	}
	r.sum.Write(r.line)
	if p, err = catalog.DecodePooled(kind, body); err != nil {
		return p, false, r.wrong(err)
	}
	if id := p.ID(); id != "" {
		r.what = kind + " " + string(id)
	}
	r.got.Records++
	r.got.Readings += readingsOf(p)
	return p, false, r.follows(p)
}

// splitPlain takes a line apart that is written as we write it, which spares
// reading it as JSON twice; whole says that the digest is that of the record.
func splitPlain(line []byte) (kind string, body []byte, digest string, whole bool) {
	rest, ok := bytes.CutPrefix(line, []byte(`{"digest":"`))
	if !ok || !bytes.HasSuffix(rest, []byte("}")) {
		return "", nil, "", false
	}
	sum, rest, ok := bytes.Cut(rest[:len(rest)-1], []byte(`","`))
	if !ok {
		return "", nil, "", false
	}
	name, body, ok := bytes.Cut(rest, []byte(`":`))
	if !ok || bytes.IndexByte(name, '\\') >= 0 {
		return "", nil, "", false
	}
	got := sha256.Sum256(body)
	return string(name), body, string(sum), hex.EncodeToString(got[:]) == string(sum)
}

// split takes a line apart: the kind of its record, the record's bytes and the
// digest that stands beside it.
func split(line []byte) (kind string, body []byte, digest string, err error) {
	var object map[string]json.RawMessage
	if err := json.Unmarshal(line, &object); err != nil {
		return "", nil, "", fmt.Errorf("the line is not JSON: %w", err)
	}
	if raw, ok := object["digest"]; ok {
		if err := json.Unmarshal(raw, &digest); err != nil {
			return "", nil, "", fmt.Errorf("the digest is not text: %w", err)
		}
		delete(object, "digest")
	}
	if len(object) != 1 {
		return "", nil, "", fmt.Errorf("the line has %d records, not one", len(object))
	}
	for kind, body = range object {
	}
	return kind, bytes.TrimSpace(body), digest, nil
}

// follows checks that a record is in its place.
func (r *reader) follows(p catalog.Pooled) error {
	kind, id := p.Kind(), p.ID()
	switch {
	case p.Other != nil:
		return nil
	case p.Session != nil:
		r.session = true
	case r.session:
		return r.bad("gear comes after sessions")
	case p.Link != nil:
		return r.linkFollows(p.Link.Record)
	default:
		if len(r.gear) >= maxGear {
			return r.bad("the bundle has more than %d pieces of gear", maxGear)
		}
		number := revisionOf(p)
		if number != r.gear[id]+1 {
			return r.bad("revision %d follows revision %d", number, r.gear[id])
		}
		if r.gear[id] = number; number > 1 && r.last == id {
			return nil
		}
	}
	if kind == r.kind && id <= r.last {
		return r.bad("the record is not in order of id: it follows %s", r.last)
	}
	r.kind, r.last = kind, id
	if p.Session == nil {
		return nil
	}
	s := p.Session.Record
	for _, named := range []struct {
		noun string
		id   catalog.ID
	}{{"horn", s.Horn}, {"mouthpiece", s.Mouthpiece}, {"player", s.Player}} {
		if named.id != "" && r.gear[named.id] == 0 {
			return r.bad("it names a %s %s that is not in the bundle", named.noun, named.id)
		}
	}
	return nil
}

func (r *reader) linkFollows(l catalog.Link) error {
	at := string(l.Kind) + "\n" + l.Alias
	if at <= r.link {
		return r.bad("the links are not in order of kind and alias")
	}
	r.link = at
	return nil
}

func revisionOf(p catalog.Pooled) int {
	switch {
	case p.Horn != nil:
		return p.Horn.Record.Number
	case p.Mouthpiece != nil:
		return p.Mouthpiece.Record.Number
	}
	return p.Player.Record.Number
}

// footer compares what the last line says with what was read.
func (r *reader) footer(body []byte) error {
	var said Summary
	if err := json.Unmarshal(body, &said); err != nil {
		return r.wrong(fmt.Errorf("the last line can't be read: %w", err))
	}
	r.got.Digest = hex.EncodeToString(r.sum.Sum(nil))
	if said != r.got {
		return r.bad("the bundle is not whole: its last line tells of %d records and %d readings with the digest %.12s, but there are %d and %d with %.12s",
			said.Records, said.Readings, said.Digest, r.got.Records, r.got.Readings, r.got.Digest)
	}
	return nil
}

// end makes sure that nothing comes after the last line, and that the checksum
// of the compressed data is right.
func (r *reader) end(raw *bufio.Reader) error {
	if _, err := r.lines.ReadByte(); err == nil {
		return r.bad("something follows the last line")
	} else if err != io.EOF {
		return r.unzipped(err)
	}
	if _, err := raw.ReadByte(); err == nil {
		return r.bad("something follows the bundle")
	}
	return nil
}
