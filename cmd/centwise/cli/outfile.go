package cli

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"centwise/catalog"
)

// writeFile writes a file as a whole: into a temporary file beside it, to the
// disk, then under its name. A file that is there already stays unless replace
// is set.
func writeFile(path string, replace bool, write func(io.Writer) error) (err error) {
	fail := func(err error) error { return cannotWrite(path, err) }
	if _, statErr := os.Lstat(path); statErr == nil && !replace {
		return existsAlready(path)
	} else if statErr != nil && !errors.Is(statErr, fs.ErrNotExist) {
		return fail(statErr)
	}
	temporary, err := os.CreateTemp(filepath.Dir(path), ".centwise-*")
	if err != nil {
		return fail(err)
	}
	defer func() {
		if err != nil {
			temporary.Close()
			os.Remove(temporary.Name())
		}
	}()
	if err := write(temporary); err != nil {
		var path *fs.PathError // the disk, not the data
		if errors.As(err, &path) {
			return fail(err)
		}
		return err
	}
	for _, step := range []func() error{
		func() error { return temporary.Chmod(0o644) }, temporary.Sync, temporary.Close,
		func() error { return os.Rename(temporary.Name(), path) },
	} {
		if err := step(); err != nil {
			return fail(err)
		}
	}
	return nil
}

// endings are those of formats by which programs are chosen.
var endings = []string{".csv", ".xlsx", ".ods", ".html", ".pdf", ".svg", ".png", ".jpg", ".wav", ".flac", ".mp3", ".ogg", ".m4a"}

// checkPlace refuses, before any work, what writeFile would refuse after it; an
// empty path is no file. Try is how to name one, with the ending that it should
// have: a file with the ending of another format would open nowhere.
func checkPlace(path string, replace bool, try string) error {
	if path == "" {
		return nil
	}
	ending, usual := strings.ToLower(filepath.Ext(path)), filepath.Ext(try)
	if ending != usual && slices.Contains(endings, ending) && slices.Contains(endings, usual) {
		return usagef(try, "what is written would not be what %s says: %s", ending, path)
	}
	info, err := os.Stat(path)
	switch {
	case err == nil && info.IsDir():
		return usagef(try, "%s is a folder: name a file", path)
	case err == nil && !replace:
		return existsAlready(path)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return cannotWrite(path, err)
	}
	return nil
}

func existsAlready(path string) error {
	return catalog.Errorf(catalog.Conflict, "choose another name, or say --force to replace it", "%s exists already", path)
}

func cannotWrite(path string, err error) error {
	return &catalog.Error{Kind: catalog.Unavailable, What: "writing " + path, Hint: "choose a place that you may write to and that has room", Err: err}
}
