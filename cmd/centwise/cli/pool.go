package cli

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

func newPoolCmd(f *Factory) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "pool",
		Short: "Exchange measurements with other catalogs",
		Long: long(`No single player owns forty mouthpieces: catalogs of several people are worth more together. A bundle is a file
that carries gear and sessions from one catalog to others. Merging takes over what is new and leaves the rest alone;
it does not matter in which order bundles are merged, or how often.`,
			`What people would not want to pass on stays at home: handles of players leave as pseudonyms, remarks and owner
notes not at all. 'centwise pool export --show' lists exactly what would leave.`,
			`What two people have entered apart may be one and the same instrument, or one design spelled twice:
'centwise catalog check' proposes what to link, 'centwise pool link' does, 'centwise pool unlink' undoes it.`),
		Example: `  centwise pool export --show
  centwise pool export lantern-bay.jsonl.gz
  centwise pool merge lantern-bay.jsonl.gz
  centwise pool link horn "Old Alder" Alder`,
	}
	asGroup(cmd)
	cmd.AddCommand(newPoolExportCmd(f, nil), newPoolMergeCmd(f, nil), newPoolLinkCmd(f, nil), newPoolUnlinkCmd(f, nil), newPoolLinksCmd(f, nil),
		newPoolContributorsCmd(f, nil), newPoolPushCmd(f, nil), newPoolPullCmd(f, nil), newPoolServeCmd(f, nil), newPoolTokenCmd(f))
	return cmd
}

type poolExportOptions struct {
	factory                     *Factory
	path                        string
	since                       string
	horns, mouthpieces, players []string
	contributors                []string
	privacy                     pool.Privacy
	show                        bool
	force                       bool
}

func newPoolExportCmd(f *Factory, runF func(*poolExportOptions) error) *cobra.Command {
	o := &poolExportOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "export FILE",
		Short: "Write a bundle for other catalogs",
		Long: long(`Write what the catalog holds to FILE, as a bundle that 'centwise pool merge' reads: everything, or with --since
what this catalog has learned since a day, or the sessions that were chosen, with their gear. Flags of one kind add up;
sessions must fit every kind that is given. FILE appears whole or not at all; "-" is standard output.`,
			`Handles of players leave as pseudonyms, which stay the same from export to export and tell nothing without the
catalog; a handle is replaced wherever it stands as a word, also as contributor or in a label, but not in makers,
models and serial numbers, which tell what a thing is. What else is known of players, remarks, reasons of
retractions, names of imported files and owner notes stay at home. --handles, --remarks and --owner-notes let them
go.`,
			`--show writes no file, but to standard output what would leave, a line of JSON a record; "withheld" names the
fields that stay at home or are replaced.`,
			`A bundle is compressed JSON Lines: a program that unpacks gzip shows it.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitCancelled)),
		Example: `  centwise pool export --show
  centwise pool export lantern-bay.jsonl.gz
  centwise pool export news.jsonl.gz --since 2026-01-31
  centwise pool export alder.jsonl.gz --horn Alder --contributor lamp-keeper`,
		RunE: func(cmd *cobra.Command, got []string) error {
			if len(got) > 0 {
				o.path = got[0]
			}
			return orRun(runF, poolExportRun)(cmd.Context(), o)
		},
	}
	cmd.Args = func(cmd *cobra.Command, got []string) error {
		if o.show {
			return args(0, 0)(cmd, got)
		}
		return args(1, 1)(cmd, got)
	}
	fs := cmd.Flags()
	fs.StringVar(&o.since, "since", "", "only what this catalog has learned on this `DATE` or later, as in 2026-01-31")
	fs.StringArrayVar(&o.horns, "horn", nil, "only sessions with the horn `LABEL`; may be repeated")
	fs.StringArrayVar(&o.mouthpieces, "mouthpiece", nil, "only sessions with the mouthpiece `LABEL`; may be repeated")
	fs.StringArrayVar(&o.players, "player", nil, "only sessions by the player `HANDLE`; may be repeated")
	fs.StringArrayVar(&o.contributors, "contributor", nil, "only sessions measured by `HANDLE`; may be repeated")
	fs.BoolVar(&o.privacy.Handles, "handles", false, "let handles of players go, and what else is known of them")
	fs.BoolVar(&o.privacy.Remarks, "remarks", false, "let remarks, reasons and names of files go")
	fs.BoolVar(&o.privacy.Owners, "owner-notes", false, "let owner notes go")
	fs.BoolVar(&o.show, "show", false, "print what would leave instead")
	fs.BoolVar(&o.force, "force", false, "replace the file if it is there already")
	return cmd
}

func poolExportRun(ctx context.Context, o *poolExportOptions) error {
	selection := catalog.PoolSelection{}
	var err error
	if o.since != "" {
		if selection.Since, err = time.ParseInLocation(time.DateOnly, o.since, time.Local); err != nil {
			return usagef("--since 2026-01-31", "--since %q is not a date", o.since)
		}
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	if err := o.choose(ctx, store, &selection); err != nil {
		return err
	}
	export := pool.ExportOptions{Selection: selection, Privacy: o.privacy, Progress: o.factory.Progress()}
	if o.show {
		return o.showRecords(ctx, store, export)
	}
	var summary pool.Summary
	write := func(w io.Writer) (err error) {
		summary, err = pool.Export(ctx, store, w, export)
		return err
	}
	s := o.factory.Streams
	if o.path == "-" {
		err = write(s.Out)
	} else {
		err = writeFile(o.path, o.force, write)
	}
	if err != nil {
		return err
	}
	s.Note("wrote %s with %s to %s", match.Count(summary.Records, "record"), match.Count(summary.Readings, "reading"), o.path)
	o.noteHome()
	return nil
}

// noteHome says what stays at home.
func (o *poolExportOptions) noteHome() {
	var home []string
	for _, h := range []struct {
		goes bool
		what string
	}{{o.privacy.Handles, "handles of players (pseudonyms go instead)"}, {o.privacy.Remarks, "remarks"}, {o.privacy.Owners, "owner notes"}} {
		if !h.goes {
			home = append(home, h.what)
		}
	}
	if len(home) > 0 {
		o.factory.Streams.Note("stays at home: %s", strings.Join(home, ", "))
	}
}

// choose turns labels into a selection.
func (o *poolExportOptions) choose(ctx context.Context, s catalog.Store, to *catalog.PoolSelection) error {
	for _, label := range o.horns {
		h, err := s.Horn(ctx, label)
		if err != nil {
			return err
		}
		to.Horns = append(to.Horns, h.ID)
	}
	for _, label := range o.mouthpieces {
		m, err := s.Mouthpiece(ctx, label)
		if err != nil {
			return err
		}
		to.Mouthpieces = append(to.Mouthpieces, m.ID)
	}
	for _, label := range o.players {
		p, err := s.Player(ctx, label)
		if err != nil {
			return err
		}
		to.Players = append(to.Players, p.ID)
	}
	return o.chooseContributors(ctx, s, to)
}

// chooseContributors refuses handles that measured nothing: a slip would
// otherwise look like an empty bundle.
func (o *poolExportOptions) chooseContributors(ctx context.Context, s catalog.Store, to *catalog.PoolSelection) error {
	for _, handle := range o.contributors {
		handle = catalog.NormalLabel(handle)
		found, err := s.Sessions(ctx, catalog.SessionFilter{Contributor: handle, Retracted: true, Limit: 1})
		if err != nil {
			return err
		}
		if len(found) == 0 {
			return o.noContributor(ctx, s, handle)
		}
		to.Contributors = append(to.Contributors, handle)
	}
	return nil
}

func (o *poolExportOptions) noContributor(ctx context.Context, s catalog.Store, handle string) error {
	all, err := s.Sessions(ctx, catalog.SessionFilter{Retracted: true})
	if err != nil {
		return err
	}
	var have []string
	for _, x := range all {
		have = append(have, x.Contributor)
	}
	missing := catalog.Missing("contributor", handle, have)
	if len(catalog.Near(handle, have, 1)) == 0 {
		missing.Hint = "see who measured with: centwise session list"
	}
	return missing
}

// showRecords prints the records that would leave, as they would.
func (o *poolExportOptions) showRecords(ctx context.Context, store catalog.Store, export pool.ExportOptions) error {
	s := o.factory.Streams
	records, readings := 0, 0
	err := pool.Each(ctx, store, export, func(p catalog.Pooled, body []byte) error {
		records++
		if p.Session != nil {
			readings += len(p.Session.Record.Readings)
		}
		_, err := fmt.Fprintf(s.Out, "{%q:%s}\n", p.Kind(), show.Clean(string(body)))
		return err
	})
	if err != nil {
		return err
	}
	s.Note("would leave: %s with %s", match.Count(records, "record"), match.Count(readings, "reading"))
	o.noteHome()
	return nil
}
