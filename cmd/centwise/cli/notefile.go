package cli

import (
	"os"
	"path/filepath"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/importers/sheet"
	"centwise/match"
	"centwise/match/tuning"
)

// weightSource is a way to say how much each written note counts: the flag
// that does, whether it was given, and what it gives. Another way to count
// weights is one more entry in the list of [judgeFlags.weightSources].
type weightSource struct {
	flag  string
	given string // the flag's value; empty = not given
	read  func() (notes map[pitch.Note]float64, from string, err error)
}

func (j *judgeFlags) weightSources() []weightSource {
	return []weightSource{
		{"weights", j.weights, func() (map[pitch.Note]float64, string, error) {
			w, err := readWeights(j.weights)
			return w, "file " + filepath.Base(j.weights), err
		}},
		{"part", j.part.file, j.part.weights},
	}
}

// weigh puts the weights that the flags ask for into c.
func (j *judgeFlags) weigh(c *match.Criteria) error {
	given := ""
	if j.register != "" {
		given = "register"
		var err error
		if c.Register, err = tuning.ParseRegister(j.register); err != nil {
			return usagef("--register middle", "--register: %v", err)
		}
	}
	if err := j.part.orphaned(); err != nil {
		return err
	}
	for _, source := range j.weightSources() {
		if source.given == "" {
			continue
		}
		if given != "" {
			return usagef("give one of them", "--%s and --%s cannot be used together", given, source.flag)
		}
		given = source.flag
		notes, from, err := source.read()
		if err != nil {
			return err
		}
		c.Weights, c.WeightsFrom = notes, from
	}
	return nil
}

// aim puts the target that the flags ask for into c.
func (j *judgeFlags) aim(c *match.Criteria) (err error) {
	if j.just != "" && j.target != "" {
		return usagef("give one of them", "--just and --target cannot be used together")
	}
	if j.just != "" {
		if c.Temperament, err = pitch.Just(j.just); err != nil {
			return usagef("--just C", "--just: %v", err)
		}
	}
	if j.target != "" {
		c.Temperament, err = readNoteFile(j.target, "target", "cents", sheet.ReadTarget)
	}
	return err
}

// readNoteFile reads a sheet of notes with a number each.
func readNoteFile[T any](path, what, column string, read func(sheet.File) (T, error)) (T, error) {
	file, err := os.Open(path)
	if err != nil {
		var none T
		return none, &catalog.Error{Kind: catalog.NotFound, What: "reading the " + what, Hint: "name a file with the columns note and " + column, Err: err}
	}
	defer file.Close()
	return read(sheet.File{Name: path, Content: file})
}

func readWeights(path string) (catalog.Weights, error) {
	return readNoteFile(path, "weights", "weight", sheet.ReadWeights)
}

// noWeights takes a player's weights away.
const noWeights = "none"

var playerWeightsField = gearField[catalog.Player]{
	name: "weights", kind: fileKind, usage: "how much each written note counts: a file with the columns note and weight; none for every note alike",
	set: func(p *catalog.Player, path string) (err error) {
		p.Weights = nil
		if path = strings.TrimSpace(path); path != "" && !strings.EqualFold(path, noWeights) {
			p.Weights, err = readWeights(path)
		}
		return err
	},
	value: func(p *catalog.Player) any { return p.Weights.String() },
}
