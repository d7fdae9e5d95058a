package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/match"
)

// tradeFlags are the flags of rank that weigh pairings against each other or
// against what is played now.
type tradeFlags struct {
	against string
	pareto  bool
}

func (o *tradeFlags) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&o.against, "against", "", "compare with the `SETUP` played now, and say whether changing is worth it")
	fs.BoolVar(&o.pareto, "pareto", false, "only the pairings that no other one beats in everything")
	for _, list := range []string{"each-horn", "each-mouthpiece", "matrix"} {
		exclusive(cmd, "against", list)
		exclusive(cmd, "pareto", list)
	}
}

// tradeHelp is what the help of rank says of them.
var tradeHelp = []string{
	`--against compares every pairing with the setup you play now: from --horn name your mouthpiece, from --mouthpiece
your horn, over all pairs both, as in "Alder + Plover 16.2", which names another setup in the other cases too. First comes
the answer whether changing is worth it, then for each line how much less it should leave to the lip, with the 80 % interval
and the chance that it is better at all, from the same joint draws. Worth it is what most likely leaves less (the whole
interval above nought) by at least what you could measure: 1.28 n / sqrt(notes / 2), n the noise of a reading in this
catalog, which is what one session with each setup shows with 90 % chance.`,
	`--pareto lists the trade-offs: a pairing is left out if another one is at least as good in all of expected error, worst
note, harmonic support and chance of being in tune (error within the tolerance), and better in one. Equal ones stay.`,
	`With --against the JSON has "against": {"horn", "mouthpiece", "error_cents", "low", "high", "measurable_cents",
"worth_changing", "answer"}, and of "pairings" [{"gain": {"cents", "low", "high", "chance_better"}, or "now" for that setup
itself, ...}]; with --pareto it has "pareto", how many nothing beats. Pairings with impedance sessions have "support_measured".`,
}

// put adds to a question what the flags ask for and, for one list, what was
// measured of resonances.
func (o *tradeFlags) put(ctx context.Context, s catalog.Store, q *match.Question, oneList bool) (err error) {
	q.Pareto = o.pareto
	if q.Against, err = o.present(ctx, s, q); err != nil {
		return err
	}
	if !oneList {
		return nil
	}
	var horn, mouthpiece catalog.ID
	if q.FromHorn != nil {
		horn = q.FromHorn.ID
	}
	if q.FromMouthpiece != nil {
		mouthpiece = q.FromMouthpiece.ID
	}
	q.Resonances, err = match.LoadResonances(ctx, s, horn, mouthpiece)
	return err
}

// setupJoin stands between horn and mouthpiece in the name of a setup.
const setupJoin = " + "

// present finds the setup played now, nil if none is named.
func (o *tradeFlags) present(ctx context.Context, s catalog.Store, q *match.Question) (*match.Of, error) {
	if o.against == "" {
		return nil, nil
	}
	whole, err := o.half(ctx, s, q)
	if err == nil || !strings.Contains(o.against, setupJoin) {
		return whole, err
	}
	// A label may hold the join itself: the first place that gives two labels counts.
	first := err
	for at := 0; ; {
		next := strings.Index(o.against[at:], setupJoin)
		if next < 0 {
			return nil, first
		}
		at += next
		of, err := bothOf(ctx, s, o.against[:at], o.against[at+len(setupJoin):])
		if err == nil {
			return of, nil
		}
		first = err
		at += len(setupJoin)
	}
}

// half takes the name for that of the gear that the question looks for, with
// what it is asked from.
func (o *tradeFlags) half(ctx context.Context, s catalog.Store, q *match.Question) (*match.Of, error) {
	switch {
	case q.FromHorn != nil:
		m, err := s.Mouthpiece(ctx, o.against)
		return &match.Of{Horn: *q.FromHorn, Mouthpiece: m}, err
	case q.FromMouthpiece != nil:
		h, err := s.Horn(ctx, o.against)
		return &match.Of{Horn: h, Mouthpiece: *q.FromMouthpiece}, err
	}
	return nil, usagef(`--against "Alder + Plover 16.2"`, "--against %q: over all pairs name horn and mouthpiece", o.against)
}

func bothOf(ctx context.Context, s catalog.Store, horn, mouthpiece string) (*match.Of, error) {
	h, err := s.Horn(ctx, strings.TrimSpace(horn))
	if err != nil {
		return nil, err
	}
	m, err := s.Mouthpiece(ctx, strings.TrimSpace(mouthpiece))
	if err != nil {
		return nil, err
	}
	return &match.Of{Horn: h, Mouthpiece: m}, nil
}
