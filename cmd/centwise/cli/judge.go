package cli

import (
	"context"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/match"
)

// judgeFlags are the flags that say by what a setup is judged.
type judgeFlags struct {
	player    string
	notes     string // --range
	register  string
	weights   string // file
	part      weighedPart
	just      string
	target    string // file
	tolerance float64
	noThrows  bool
	adapter   bool
}

func (j *judgeFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&j.player, "player", "", "`HANDLE` of the player; without, a typical player")
	j.addCriteria(cmd)
}

// addCriteria adds the flags that don't say who plays.
func (j *judgeFlags) addCriteria(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&j.notes, "range", "", "written `LOW-HIGH` to judge, as in G3-A5 (default the player's, else usual for the instrument)")
	fs.StringVar(&j.register, "register", "", "what counts more: `WORD` even, low, middle or high (default the player's weights, else even)")
	fs.StringVar(&j.weights, "weights", "", "how much each note counts: `FILE` with the columns note and weight")
	fs.StringVar(&j.just, "just", "", "aim for just intonation on this written `TONIC` instead of equal temperament")
	fs.StringVar(&j.target, "target", "", "aim for what `FILE` says, with the columns note and cents from equal temperament")
	fs.Float64Var(&j.tolerance, "tolerance-cents", 0, "error of `CENTS` that counts as in tune (default the player's, else 10)")
	fs.BoolVar(&j.noThrows, "no-throws", false, "leave the valve slides where they are")
	fs.BoolVar(&j.adapter, "adapter", false, "let shank and receiver differ")
}

// again writes the flags that were given, to end another command that is to
// judge alike.
func (j *judgeFlags) again() string {
	var b strings.Builder
	for _, f := range []struct {
		name, value string
		quoted      func(string) string
	}{
		{"player", j.player, catalog.ShellWord}, {"range", j.notes, catalog.ShellWord}, {"register", j.register, catalog.ShellWord},
		{"weights", j.weights, catalog.ShellPath}, {"part", j.part.file, catalog.ShellPath}, {"part-name", j.part.name, catalog.ShellWord},
		{"part-key", j.part.key, catalog.ShellWord}, {"just", j.just, catalog.ShellWord}, {"target", j.target, catalog.ShellPath},
	} {
		if f.value != "" {
			b.WriteString(" --" + f.name + " " + f.quoted(f.value))
		}
	}
	if j.tolerance != 0 {
		b.WriteString(" --tolerance-cents " + strconv.FormatFloat(j.tolerance, 'f', -1, 64))
	}
	if j.noThrows {
		b.WriteString(" --no-throws")
	}
	if j.adapter {
		b.WriteString(" --adapter")
	}
	return b.String()
}

// criteria turns the flags into what match judges by, for a player.
func (j *judgeFlags) criteria(p *catalog.Player) (match.Criteria, error) {
	c, err := j.asked()
	if err != nil {
		return c, err
	}
	return c.For(p), nil
}

// asked is what the flags say; what they leave open is up to the player.
func (j *judgeFlags) asked() (match.Criteria, error) {
	c := match.Criteria{NoThrows: j.noThrows, ToleranceCents: j.tolerance}
	var err error
	if j.tolerance != 0 && !(j.tolerance >= catalog.MinToleranceCents && j.tolerance <= catalog.MaxToleranceCents) {
		return c, usagef("--tolerance-cents 10", "--tolerance-cents %v is outside %g to %g", j.tolerance, catalog.MinToleranceCents, catalog.MaxToleranceCents)
	}
	if j.notes != "" {
		if c.Low, c.High, err = parseRange(j.notes); err != nil {
			return c, usagef("--range F#3-C6", "--range %q: %v", j.notes, err)
		}
	}
	if err := j.weigh(&c); err != nil {
		return c, err
	}
	return c, j.aim(&c)
}

// judgeHelp is what the help of commands says of weights, targets and ranges.
var judgeHelp = []string{
	`What counts: every note alike; a register ("--register low" counts notes up to F#4 three times, middle G4 to F#5, high
those from G5); or a file of weights, with a line "note,weight" first and a line a written note below it, in any spelling,
where notes that are not named do not count; or the player's own part ("--part march.musicxml"), where notes count as
long as they sound ('centwise part --help' says more). Without any of these, the weights kept with the player count ('centwise player edit
HANDLE --weights FILE'); "--register even" passes over them. Only proportions matter.`,
	`What is in tune: equal temperament; just intonation on a tonic; or a file of targets, with a line "note,cents" first,
cents above equal temperament, below negative. A note without an octave (C, F#) speaks for every octave, one with an octave
(C5) for itself alone; what is not named stays in equal temperament. What all notes have in common the tuning slide takes up.`,
	`The range is --range, else the player's, else what parts for the instrument usually keep to: trumpet F#3-C6, cornet
F#3-Bb5, flugelhorn and piccolo F#3-A5; a file's or a player's weights widen that to the notes they name.`,
}

// findPlayer is the player of a label, nil for none.
func findPlayer(ctx context.Context, s catalog.Store, label string) (*catalog.Player, error) {
	if label == "" {
		return nil, nil
	}
	p, err := s.Player(ctx, label)
	if err != nil {
		return nil, err
	}
	return &p, nil
}

// Cautions that are said where gear is swapped.
const (
	cautionShared = "Wash and disinfect a shared mouthpiece before the next player takes it."
	cautionRest   = "Rest between mouthpieces and stop when your lips are sore; a change takes days to settle."
	// cautionAltering stands where somebody might think of a file or a drill.
	cautionAltering = "Altering a horn or a mouthpiece can't be undone: slides, the gap or another mouthpiece come first, cutting and drilling are a repair technician's work."
)
