package score

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"io"
	"io/fs"
	"strings"
)

// Bounds on archives, which hold a score, a small index, and pictures.
const (
	maxEntries    = 1000
	maxIndexBytes = 1 << 20
)

// errTooLarge ends the reading of an archive's file that unpacks to too much.
var errTooLarge = errors.New("too large")

// readArchive reads compressed MusicXML: a zip file whose META-INF/container.xml
// names the score.
func readArchive(ctx context.Context, name string, data []byte) (*Score, error) {
	if len(data) > maxBinaryBytes {
		return nil, tooLarge(name, maxBinaryBytes)
	}
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, invalid("copy or export it again", "%s: the archive is damaged: %v", name, err)
	}
	if len(archive.File) > maxEntries {
		return nil, invalid(exportAgain, "%s holds %d files, more than the %d that compressed MusicXML may have here", name, len(archive.File), maxEntries)
	}
	for _, f := range archive.File {
		if !fs.ValidPath(strings.TrimSuffix(f.Name, "/")) || strings.Contains(f.Name, `\`) {
			return nil, invalid(exportAgain, "%s holds a file with the unsafe name %q", name, shorten(f.Name))
		}
	}
	root, err := rootFile(ctx, name, archive)
	if err != nil {
		return nil, err
	}
	var s *Score
	err = unpack(name, archive, root, maxTextBytes, func(content io.Reader) error {
		s, err = readXML(ctx, name, content)
		return err
	})
	return s, err
}

// rootFile is the path of the score in the archive: the first one that the
// container names.
func rootFile(ctx context.Context, name string, archive *zip.Reader) (string, error) {
	const index = "META-INF/container.xml"
	path := ""
	err := unpack(name, archive, index, maxIndexBytes, func(content io.Reader) error {
		w := newWalker(ctx, name, content)
		w.place = func() string { return index }
		if _, err := w.root(); err != nil {
			return err
		}
		return w.children(func(e xml.StartElement) error {
			if e.Name.Local != "rootfiles" {
				return w.skip()
			}
			return w.children(func(e xml.StartElement) error {
				if e.Name.Local == "rootfile" && path == "" {
					path = attribute(e, "full-path")
				}
				return w.skip()
			})
		})
	})
	if err == nil && path == "" {
		err = invalid(exportAgain, "%s: %s names no score", name, index)
	}
	return path, err
}

// unpack reads one file of the archive, up to limit bytes.
func unpack(name string, archive *zip.Reader, path string, limit int, read func(io.Reader) error) error {
	for _, f := range archive.File {
		if f.Name != path {
			continue
		}
		content, err := f.Open()
		if err != nil {
			return invalid("copy or export it again", "%s: %s in the archive can't be read: %v", name, shorten(path), err)
		}
		defer content.Close()
		err = read(&limited{content, limit})
		if errors.Is(err, errTooLarge) {
			return invalid("export the player's part alone", "%s: %s in the archive unpacks to more than %d MB", name, shorten(path), limit>>20)
		}
		return err
	}
	return invalid(exportAgain, "%s is an archive without %s: not compressed MusicXML", name, shorten(path))
}

// limited fails with errTooLarge after left bytes.
type limited struct {
	io.Reader
	left int
}

func (l *limited) Read(p []byte) (int, error) {
	if l.left <= 0 {
		return 0, errTooLarge
	}
	n, err := l.Reader.Read(p[:min(len(p), l.left)])
	l.left -= n
	return n, err
}
