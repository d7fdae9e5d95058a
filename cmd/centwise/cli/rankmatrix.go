package cli

import (
	"centwise/cmd/centwise/show"
	"centwise/match"
)

// checkPictures refuses drawings of what is not one list, and files that can't
// be written.
func (o *rankOptions) checkPictures() error {
	if o.pictures.wanted() && o.matrix {
		return usagef("centwise rank --horn Alder --svg alder.svg", "--svg and --png draw one list, not a matrix")
	}
	return o.pictures.check()
}

// printMatrix prints a ranking of all pairs as a table of horns by mouthpieces.
func printMatrix(o *rankOptions, r *match.Ranking) error {
	s, m := o.factory.Streams, r.Matrix(o.top)
	switch {
	case o.output.json:
		return show.JSON(s.Out, m)
	case o.output.csv:
		return show.MatrixCSV(s.Out, m)
	case s.Style.Terminal:
		if err := show.Matrix(s.Out, s.Style, m); err != nil {
			return err
		}
	default:
		if err := show.MatrixTabs(s.Out, m); err != nil {
			return err
		}
		s.Notes(m.Notes)
	}
	s.Note(cautionShared + " " + cautionRest)
	return nil
}
