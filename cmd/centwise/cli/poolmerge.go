package cli

import (
	"context"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

type poolMergeOptions struct {
	factory *Factory
	files   []string
	json    bool
}

func newPoolMergeCmd(f *Factory, runF func(*poolMergeOptions) error) *cobra.Command {
	o := &poolMergeOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "merge FILE...",
		Short: "Take over what bundles of other catalogs hold",
		Long: long(`Take over what the bundles hold and this catalog does not: gear, sessions, retractions and newer revisions of
gear. "-" reads standard input. All files are one change: when anything in any of them is damaged or wrong, the message
names file and record, and nothing is merged. The catalog is made if there is none.`,
			`Everybody who merges the same bundles gets the same catalog, whatever the order. Of two revisions with one number
the later counts; a session that anybody retracted is retracted; what somebody withheld is filled in when another bundle
tells it. Records of different catalogs that have the same label are told apart: the one that was made first keeps it,
the others get the end of their id behind it until somebody gives them another with 'centwise horn edit'.`,
			`--json prints {"horns", "mouthpieces", "players" and "links": {"new", "changed"}, "sessions": {"new", "changed", "same"},
"readings" (of new sessions), "retracted", "kept" (records of kinds that this version does not know), "renamed": [{"kind", "id",
"stated", "label"}]}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitBusy, exitCancelled)),
		Example: `  centwise pool merge lantern-bay.jsonl.gz
  centwise pool merge north.jsonl.gz south.jsonl.gz --json`,
		Args: args(1, -1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.files = got
			return orRun(runF, poolMergeRun)(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print what was done as JSON")
	return cmd
}

func poolMergeRun(ctx context.Context, o *poolMergeOptions) error {
	files, closeFiles, err := openFiles[pool.File](o.factory.Streams.In, o.files)
	if err != nil {
		return err
	}
	defer closeFiles()
	var merged catalog.Merged
	merge := func(store catalog.Store) (err error) {
		merged, err = pool.Merge(ctx, store, files, o.factory.Progress())
		return err
	}
	store, err := o.factory.Existing(ctx)
	switch {
	case noCatalog(err):
		err = o.factory.BeginWith(ctx, merge)
	case err == nil:
		defer store.Close()
		err = merge(store)
	}
	if err != nil {
		return err
	}
	return o.report(merged)
}

func (o *poolMergeOptions) report(m catalog.Merged) error {
	s := o.factory.Streams
	if o.json {
		return show.JSON(s.Out, mergedFields(m))
	}
	s.Note("new: %s with %s, %s, %s, %s", match.Count(m.Sessions.New, "session"), match.Count(m.Readings, "reading"),
		match.Count(m.Horns.New, "horn"), match.Count(m.Mouthpieces.New, "mouthpiece"), match.Count(m.Players.New, "player"))
	if n := m.Horns.Changed + m.Mouthpieces.Changed + m.Players.Changed; n > 0 {
		s.Note("changed: %s of gear or players", match.Count(n, "record"))
	}
	if m.Retracted > 0 {
		s.Note("retracted elsewhere, so no longer counted here: %s", match.Count(m.Retracted, "session"))
	}
	if m.Sessions.Changed > 0 {
		s.Note("more is known now of %s", match.Count(m.Sessions.Changed, "session"))
	}
	if m.Sessions.Same > 0 {
		s.Note("in the catalog already: %s", match.Count(m.Sessions.Same, "session"))
	}
	noteLinks(s, m.Links.New+m.Links.Changed)
	noteKept(s, m.Kept)
	noteRenamed(s, m.Renamed)
	return nil
}

func noteLinks(s *Streams, n int) {
	if n > 0 {
		s.Note("linked, or taken apart, elsewhere: %s; see 'centwise pool links'", match.Count(n, "link"))
	}
}

func noteKept(s *Streams, n int) {
	if n > 0 {
		s.Note("kept for newer versions, which know what they are: %s", match.Count(n, "record"))
	}
}

func noteRenamed(s *Streams, list []catalog.Renaming) {
	for _, r := range list {
		s.Note("the %s %s is called %s here, as an older one has that label", r.Kind, catalog.ShellWord(r.Stated), catalog.ShellWord(r.Label))
	}
}

func mergedFields(m catalog.Merged) show.Fields {
	kind := func(k catalog.MergedKind) show.Fields {
		return show.Fields{{Name: "new", Value: k.New}, {Name: "changed", Value: k.Changed}}
	}
	return show.Fields{
		{Name: "horns", Value: kind(m.Horns)}, {Name: "mouthpieces", Value: kind(m.Mouthpieces)}, {Name: "players", Value: kind(m.Players)},
		{Name: "links", Value: kind(m.Links)}, {Name: "sessions", Value: append(kind(m.Sessions), show.Field{Name: "same", Value: m.Sessions.Same})},
		{Name: "readings", Value: m.Readings}, {Name: "retracted", Value: m.Retracted}, {Name: "kept", Value: m.Kept}, {Name: "renamed", Value: renamedFields(m.Renamed)},
	}
}

func renamedFields(list []catalog.Renaming) []show.Fields {
	out := []show.Fields{}
	for _, r := range list {
		out = append(out, show.Fields{{Name: "kind", Value: r.Kind}, {Name: "id", Value: r.ID}, {Name: "stated", Value: r.Stated}, {Name: "label", Value: r.Label}})
	}
	return out
}
