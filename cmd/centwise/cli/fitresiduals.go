package cli

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/fit"
)

// fitWithResiduals makes a whole fit and collects what it leaves of the readings.
func fitWithResiduals(ctx context.Context, store catalog.Store, progress catalog.Counter) (*fit.Model, *match.ResidualReport, error) {
	left := match.NewResiduals()
	m, err := fit.Current(ctx, store, fit.Options{Progress: progress, Residuals: left.Take})
	if err != nil {
		return nil, nil, err
	}
	sessions, err := store.Sessions(ctx, catalog.SessionFilter{})
	if err != nil {
		return nil, nil, err
	}
	played := make(map[string]time.Time, len(sessions))
	for _, s := range sessions {
		played[s.Name] = s.At
	}
	return m, left.Report(m.Components, played), nil
}

// folderFor makes a folder if it is missing, and refuses what is none. It says
// whether it made it.
func folderFor(path string) (made bool, err error) {
	info, err := os.Stat(path)
	switch {
	case err == nil && info.IsDir():
		return false, nil
	case err == nil:
		return false, usagef("give a folder: --residuals plots", "%s is a file, and drawings go into a folder", path)
	case !errors.Is(err, fs.ErrNotExist):
		return false, cannotWrite(path, err)
	}
	if err := os.MkdirAll(path, 0o755); err != nil {
		return false, cannotWrite(path, err)
	}
	return true, nil
}

// writePlots writes the drawings, each whole or not at all, in place of those
// of an earlier run, and names the files.
func writePlots(folder string, plots []show.ResidualPlot) (map[string]string, error) {
	files := map[string]string{}
	for _, p := range plots {
		path := filepath.Join(folder, p.Name+".svg")
		if err := writeFile(path, true, p.SVG); err != nil {
			return nil, err
		}
		files[p.Name] = path
	}
	return files, nil
}

// printResiduals draws into the folder and prints what the drawings say.
func printResiduals(o *fitOptions, r show.Fit, report *match.ResidualReport) error {
	files, err := writePlots(o.residuals, show.ResidualPlots(report))
	if err != nil {
		return err
	}
	s := o.factory.Streams
	shown := show.Residuals{ResidualReport: report, Files: files, Folder: o.residuals}
	if o.json {
		return show.JSON(s.Out, append(r.Fields(), shown.Field()))
	}
	if err := shown.Table().Write(s.Out, s.Style); err != nil {
		return err
	}
	if s.Style.Terminal {
		return show.Sentences(s.Out, s.Style, shown.Sentences())
	}
	s.Notes(shown.Sentences())
	return nil
}
