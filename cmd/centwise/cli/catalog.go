package cli

import (
	"context"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/cmd/centwise/show"
)

func newCatalogCmd(f *Factory) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "catalog",
		Short: "Describe, check, back up and name the catalog",
		Long: long(`The catalog is one file that holds all gear, players and sessions, and what was worked out from them; or the same in
a PostgreSQL database that several people share: --catalog postgres://NAME@HOST/DATABASE.`),
		Example: `  centwise catalog info
  centwise catalog check
  centwise catalog backup catalog-2026-11-25.db`,
	}
	asGroup(cmd)
	cmd.AddCommand(newCatalogInfoCmd(f, nil), newCatalogCheckCmd(f, nil), newCatalogBackupCmd(f, nil), newCatalogTitleCmd(f, nil))
	return cmd
}

type catalogInfoOptions struct {
	factory *Factory
	json    bool
}

func newCatalogInfoCmd(f *Factory, runF func(*catalogInfoOptions) error) *cobra.Command {
	o := &catalogInfoOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "info",
		Short: "Count what the catalog holds",
		Long: long(`Say where the catalog is, what it holds, and whether what was worked out from it is up to date. --json prints
"title", "path", "schema", "horns", "mouthpieces", "players", "contributors", "sessions", "readings", "retired",
"retracted", "drafts" (unfinished sessions), "linked" (horns and mouthpieces that go by another's name, see 'centwise
pool links', and are not counted among the others), "pairs_measured", "bytes", "digest" (of the data), "fit_digest" (of
the data the stored fit was made from) and "fit_at".`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: `  centwise catalog info
  centwise catalog info --json --catalog band.db`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, catalogInfoRun)(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func catalogInfoRun(ctx context.Context, o *catalogInfoOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	info, err := store.Info(ctx)
	if err != nil {
		return err
	}
	s := o.factory.Streams
	if o.json {
		return show.JSON(s.Out, infoJSON{info, timeOrNull(info.FitAt)})
	}
	return show.Record(s.Out, s.Style, infoPairs(info))
}

// infoJSON is the description as JSON, where a fit that was never made has no
// time.
type infoJSON struct {
	catalog.Info
	FitAt any `json:"fit_at"`
}

func infoPairs(i catalog.Info) []show.Pair {
	fit := show.Either("not made yet", "")
	switch {
	case i.FitDigest != "" && i.FitDigest == i.Digest:
		fit = show.Either("up to date, made "+i.FitAt.Local().Format("2006-01-02 15:04"), i.FitAt.Format(time.RFC3339))
	case i.FitDigest != "":
		fit = show.Either("out of date: it is made again when it is needed", "")
	}
	return []show.Pair{
		{Name: "title", Value: show.Text(i.Title)},
		{Name: "path", Value: show.Text(i.Path)},
		{Name: "horns", Value: show.Count(i.Horns)},
		{Name: "mouthpieces", Value: show.Count(i.Mouthpieces)},
		{Name: "players", Value: show.Count(i.Players)},
		{Name: "contributors", Value: show.Count(i.Contributors)},
		{Name: "sessions", Value: show.Count(i.Sessions)},
		{Name: "readings", Value: show.Count(i.Readings)},
		{Name: "pairs measured", Value: show.Count(i.Pairs)},
		{Name: "retired", Value: show.Count(i.Retired)},
		{Name: "retracted", Value: show.Count(i.Retracted)},
		{Name: "linked", Value: show.Count(i.Linked)},
		{Name: "drafts", Value: show.Count(i.Drafts)},
		{Name: "bytes", Value: show.Words(strconv.FormatInt(i.Bytes, 10))},
		{Name: "schema", Value: show.Count(i.Schema)},
		{Name: "fit", Value: fit},
		{Name: "digest", Value: show.Words(i.Digest)},
	}
}

type catalogBackupOptions struct {
	factory *Factory
	path    string
}

func newCatalogBackupCmd(f *Factory, runF func(*catalogBackupOptions) error) *cobra.Command {
	o := &catalogBackupOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "backup FILE",
		Short: "Write a complete copy of the catalog",
		Long: long(`Write a complete copy of the catalog to FILE, also while others use it. FILE must not exist. The copy is a
catalog of its own: --catalog FILE opens it.`,
			`A catalog in a database is copied to a file too, drafts, loans and the fit included. FILE may be the address of a
database without a catalog: so a file goes to a server, and a backup back to it.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: `  centwise catalog backup catalog-2026-11-25.db
  centwise catalog info --catalog catalog-2026-11-25.db
  centwise catalog backup postgres://reed-otter@band.example/lantern`,
		Args: args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.path = got[0]
			return orRun(runF, catalogBackupRun)(cmd.Context(), o)
		},
	}
	return cmd
}

func catalogBackupRun(ctx context.Context, o *catalogBackupOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	if err := store.Backup(ctx, o.path); err != nil {
		return err
	}
	o.factory.Streams.Note("wrote a copy of the catalog to %s", sqlstore.Shown(o.path))
	return nil
}

type catalogTitleOptions struct {
	factory *Factory
	title   string
}

func newCatalogTitleCmd(f *Factory, runF func(*catalogTitleOptions) error) *cobra.Command {
	o := &catalogTitleOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "title TEXT",
		Short: "Give the catalog a title",
		Long: long(`Give the catalog a title, which 'centwise catalog info' and reports show. An empty one ("") takes it away.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: `  centwise catalog title "Lantern Bay Youth Winds"
  centwise catalog title ""`,
		Args: args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.title = got[0]
			return orRun(runF, catalogTitleRun)(cmd.Context(), o)
		},
	}
	return cmd
}

func catalogTitleRun(ctx context.Context, o *catalogTitleOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	return store.SetTitle(ctx, o.title)
}
