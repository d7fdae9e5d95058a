package cli

import (
	"io"
	"os"

	"centwise/catalog"
)

// inFile is a file to read, as the packages that read files take it.
type inFile interface {
	~struct {
		Name    string
		Content io.Reader
	}
}

// openFiles opens the files, "-" being standard input.
func openFiles[F inFile](stdin io.Reader, names []string) (files []F, closeAll func(), err error) {
	type file = struct {
		Name    string
		Content io.Reader
	}
	var opened []*os.File
	closeAll = func() {
		for _, f := range opened {
			f.Close()
		}
	}
	for _, name := range names {
		if name == "-" {
			files = append(files, F(file{"standard input", stdin}))
			continue
		}
		f, err := os.Open(name)
		if err != nil {
			closeAll()
			return nil, nil, &catalog.Error{Kind: catalog.NotFound, What: "reading " + name, Hint: "check the name of the file", Err: err}
		}
		opened = append(opened, f)
		files = append(files, F(file{name, f}))
	}
	return files, closeAll, nil
}
