package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

// predictPairsRun predicts the setups of a file for another program.
func predictPairsRun(ctx context.Context, o *predictOptions) error {
	lines, err := readPairs(o.factory.Streams.In, o.pairs)
	if err != nil {
		return err
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	known, err := readLabels(ctx, store)
	if err != nil {
		return err
	}
	rows, problems := known.resolve(o.pairs, lines)
	if len(problems) > 0 && !o.skip {
		return catalog.Errorf(catalog.NotFound, "correct the labels, or leave such lines out with --skip-unknown",
			"%s of %s not in the catalog; nothing was predicted:\n%s", match.Count(len(problems), "line"), o.pairs, strings.Join(problems, "\n"))
	}
	engine, err := o.factory.Engine(ctx, store, o.factory.Progress())
	if err != nil {
		return err
	}
	if err := printPairs(ctx, o, engine, rows); err != nil {
		return err
	}
	if len(problems) > 0 {
		return &skippedError{fmt.Sprintf("left out %s of %s:\n%s", match.Count(len(problems), "line"), o.pairs, strings.Join(problems, "\n")), "correct the labels"}
	}
	return nil
}

// pairLine is one line of a file of pairs.
type pairLine struct {
	line                     int
	horn, mouthpiece, player string
}

// readPairs reads the file of pairs, "-" for standard input.
func readPairs(stdin io.Reader, path string) ([]pairLine, error) {
	in := stdin
	if path != "-" {
		file, err := os.Open(path)
		if err != nil {
			return nil, &catalog.Error{Kind: catalog.NotFound, What: "reading the pairs", Hint: "name a file with the columns horn and mouthpiece", Err: err}
		}
		defer file.Close()
		in = file
	}
	return parsePairs(in, path)
}

// labels finds records by label as the catalog does: exactly, then ignoring
// case, then by id.
type labels struct {
	noun  string
	exact map[string]catalog.ID
	fold  map[string]catalog.ID
	all   []string
}

func (l *labels) add(id catalog.ID, label string) {
	l.exact[label] = id
	if _, taken := l.fold[catalog.Fold(label)]; !taken {
		l.fold[catalog.Fold(label)] = id
	}
	if _, taken := l.exact[string(id)]; !taken {
		l.exact[string(id)] = id
	}
	l.all = append(l.all, label)
}

func (l *labels) find(label string) (catalog.ID, error) {
	if id, ok := l.exact[catalog.NormalLabel(label)]; ok {
		return id, nil
	}
	if id, ok := l.fold[catalog.Fold(label)]; ok {
		return id, nil
	}
	return "", catalog.Missing(l.noun, label, l.all)
}

// known holds the labels of everything in a catalog.
type known struct{ horns, mouthpieces, players labels }

func newLabels(noun string) labels {
	return labels{noun: noun, exact: map[string]catalog.ID{}, fold: map[string]catalog.ID{}}
}

func readLabels(ctx context.Context, s catalog.Store) (*known, error) {
	k := &known{newLabels("horn"), newLabels("mouthpiece"), newLabels("player")}
	horns, err := s.Horns(ctx, true)
	if err != nil {
		return nil, err
	}
	for _, h := range horns {
		k.horns.add(h.ID, h.Label)
	}
	mouthpieces, err := s.Mouthpieces(ctx, true)
	if err != nil {
		return nil, err
	}
	for _, m := range mouthpieces {
		k.mouthpieces.add(m.ID, m.Label)
	}
	players, err := s.Players(ctx, true)
	for _, p := range players {
		k.players.add(p.ID, p.Label)
	}
	if err != nil {
		return nil, err
	}
	links, err := s.Links(ctx)
	for _, l := range links {
		switch {
		case !l.InEffect():
		case l.Kind == catalog.LinkHorn:
			k.horns.add(catalog.ID(l.Root), l.AliasLabel)
		case l.Kind == catalog.LinkMouthpiece:
			k.mouthpieces.add(catalog.ID(l.Root), l.AliasLabel)
		}
	}
	return k, err
}

// resolve turns lines into setups, and says what of them is not known.
func (k *known) resolve(path string, lines []pairLine) (rows []match.PairRow, problems []string) {
	for _, line := range lines {
		row := match.PairRow{Horn: line.horn, Mouthpiece: line.mouthpiece}
		var errs []error
		find := func(l *labels, label string) catalog.ID {
			id, err := l.find(label)
			if err != nil {
				errs = append(errs, err)
			}
			return id
		}
		row.Setup.Horn = find(&k.horns, line.horn)
		row.Setup.Mouthpiece = find(&k.mouthpieces, line.mouthpiece)
		if line.player != "" {
			row.Setup.Player = find(&k.players, line.player)
		}
		for _, err := range errs {
			problems = append(problems, fmt.Sprintf("%s:%d: %v", path, line.line, err))
		}
		if len(errs) == 0 {
			rows = append(rows, row)
		}
	}
	return rows, problems
}

// printPairs predicts and prints line by line, so that a long file needs little
// memory.
func printPairs(ctx context.Context, o *predictOptions, e match.Engine, rows []match.PairRow) error {
	s := o.factory.Streams
	progress := o.factory.Progress()
	slots := match.AnsweredSlots(e)
	progress.Start("predicting", int64(len(rows)*len(slots)))
	defer progress.Done()
	writer := show.NewPairWriter(s.Out, o.output.json, o.output.csv)
	for line, err := range match.Pairs(e, rows, slots) {
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = writer.Write(line)
		}
		if err != nil {
			return err
		}
		progress.Add(1)
	}
	return writer.Close()
}
