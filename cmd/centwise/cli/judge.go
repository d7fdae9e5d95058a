package cli

import (
	"context"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match"
	"centwise/match/tuning"
)

// judgeFlags are the flags that say by what a setup is judged.
type judgeFlags struct {
	player    string
	notes     string // --range
	register  string
	just      string
	tolerance float64
	noThrows  bool
	adapter   bool
}

func (j *judgeFlags) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&j.player, "player", "", "`HANDLE` of the player; without, a typical player")
	fs.StringVar(&j.notes, "range", "", "written `LOW-HIGH` to judge, as in G3-A5 (default the player's, else F#3-C6)")
	fs.StringVar(&j.register, "register", "even", "what counts more: `WORD` even, low, middle or high")
	fs.StringVar(&j.just, "just", "", "aim for just intonation on this written `TONIC` instead of equal temperament")
	fs.Float64Var(&j.tolerance, "tolerance-cents", 0, "error of `CENTS` that counts as in tune (default the player's, else 10)")
	fs.BoolVar(&j.noThrows, "no-throws", false, "leave the valve slides where they are")
	fs.BoolVar(&j.adapter, "adapter", false, "let shank and receiver differ")
}

// criteria turns the flags into what match judges by.
func (j *judgeFlags) criteria(p *catalog.Player) (match.Criteria, error) {
	c := match.Criteria{NoThrows: j.noThrows, ToleranceCents: j.tolerance}
	var err error
	if j.tolerance < 0 {
		return c, usagef("--tolerance-cents 10", "--tolerance-cents %v is below nought", j.tolerance)
	}
	if j.notes != "" {
		if c.Low, c.High, err = parseRange(j.notes); err != nil {
			return c, usagef("--range F#3-C6", "--range %q: %v", j.notes, err)
		}
	}
	if j.just != "" {
		if c.Temperament, err = pitch.Just(j.just); err != nil {
			return c, usagef("--just C", "--just: %v", err)
		}
	}
	c = c.For(p)
	register, err := tuning.ParseRegister(j.register)
	if err != nil {
		return c, usagef("--register middle", "--register: %v", err)
	}
	c.Weights = tuning.Emphasis(register, c.Low, c.High)
	return c, nil
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
)
