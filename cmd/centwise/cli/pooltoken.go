package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

func newPoolTokenCmd(f *Factory) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "token",
		Short: "Say who may use the pool server",
		Long: long(`A pool server ('centwise pool serve') lets in whoever has a token. Each token belongs to one contributor, has a
scope, and runs out. Of a token the catalog keeps a hash: its text is shown once, when it is made.`,
			`Whoever has the text of a token can use it. Give it to its holder in a way that nobody else reads; when it may have
got into other hands, revoke it and make another. Tokens are in backups of the catalog as hashes, and never leave with
'centwise pool export'.`),
		Example: `  centwise pool token add reed-otter
  centwise pool token list`,
	}
	asGroup(cmd)
	cmd.AddCommand(newTokenAddCmd(f, nil), newTokenListCmd(f, nil), newTokenRevokeCmd(f, nil))
	return cmd
}

type tokenAddOptions struct {
	factory     *Factory
	contributor string
	scope       string
	expires     string
	note        string
	out         string
	json        bool
}

func newTokenAddCmd(f *Factory, runF func(*tokenAddOptions) error) *cobra.Command {
	o := &tokenAddOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "add CONTRIBUTOR",
		Short: "Make a token for a contributor",
		Long: long(`Make a token for CONTRIBUTOR and print it: this once, then never again. --output writes it into a file instead that only you
can read. The catalog is made if there is none.`,
			`What the holder may do: "read" looks at pages and pulls; "contribute" sends too, but only what CONTRIBUTOR measured or
entered; "curate" sends records of anybody, with links and retractions: for the few who look after the pool.`,
			`CONTRIBUTOR stands beside everything that is sent with the token, for everybody who reads the pool. It needn't be a
person's name, and must be written as the sessions say it ('centwise session list').`,
			`--json prints {"id", "contributor", "scope", "expires" or null, "note", "token"}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitBusy)),
		Example: `  centwise pool token add reed-otter
  centwise pool token add harbour-shop --scope read --expires 30d --note "tablet in the shop"
  centwise pool token add lamp-keeper --scope curate --output lamp-keeper.token`,
		Args: args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.contributor = got[0]
			return orRun(runF, tokenAddRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.scope, "scope", string(catalog.ScopeContribute), "what it allows: `WORD` read, contribute or curate")
	fs.StringVar(&o.expires, "expires", "365d", "`WHEN` it runs out: days from now as in 90d, a date as in 2027-01-31, or never")
	fs.StringVar(&o.note, "note", "", "`TEXT` to know it by, as in laptop")
	fs.StringVarP(&o.out, "output", "o", "", "write it into `FILE`, which must not be there yet")
	fs.BoolVar(&o.json, "json", false, "print JSON")
	exclusive(cmd, "output", "json")
	return cmd
}

// expiry reads when a token runs out.
func expiry(text string, now time.Time) (time.Time, error) {
	if text == "never" {
		return time.Time{}, nil
	}
	if digits, ok := strings.CutSuffix(text, "d"); ok {
		if days, err := strconv.Atoi(digits); err == nil && days > 0 && days <= 36525 {
			return now.AddDate(0, 0, days), nil
		}
	}
	if day, err := time.ParseInLocation(time.DateOnly, text, time.Local); err == nil {
		if day.After(now) {
			return day, nil
		}
		return time.Time{}, usagef("--expires 90d", "--expires %s is over already", text)
	}
	return time.Time{}, usagef("--expires 90d, --expires 2027-01-31 or --expires never", "--expires %q is neither a number of days nor a date", text)
}

func tokenAddRun(ctx context.Context, o *tokenAddOptions) error {
	now := o.factory.Now()
	secret := catalog.NewSecret()
	t := catalog.Token{ID: catalog.NewID(), Contributor: o.contributor, Scope: catalog.Scope(o.scope), Hash: secret.Hash(), Note: o.note, Created: now}
	var err error
	if t.Expires, err = expiry(o.expires, now); err != nil {
		return err
	}
	if t.Normalize(); !t.Scope.Allows(catalog.ScopeRead) {
		return usagef("--scope contribute", "--scope %q is none of read, contribute, curate", o.scope)
	}
	if err := t.Validate(); err != nil {
		return err
	}
	remove := func() {}
	if o.out != "" {
		// Before the token is kept: a token that nobody has is of no use.
		if err := writeSecret(o.out, secret); err != nil {
			return err
		}
		remove = func() { os.Remove(o.out) }
	}
	known, err := o.keep(ctx, t)
	if err != nil {
		remove()
		return err
	}
	return o.report(t, secret, known)
}

// keep adds the token to the catalog, which is made if there is none, and tells
// whether its contributor has measured something in it.
func (o *tokenAddOptions) keep(ctx context.Context, t catalog.Token) (known bool, err error) {
	store, err := o.factory.Existing(ctx)
	switch {
	case noCatalog(err):
		return false, o.factory.BeginWith(ctx, func(s catalog.Store) error { return s.AddToken(ctx, t) })
	case err != nil:
		return false, err
	}
	defer store.Close()
	found, err := store.Sessions(ctx, catalog.SessionFilter{Contributor: t.Contributor, Retracted: true, Limit: 1})
	if err == nil {
		err = store.AddToken(ctx, t)
	}
	return len(found) > 0, err
}

func (o *tokenAddOptions) report(t catalog.Token, secret catalog.Secret, known bool) error {
	s := o.factory.Streams
	if o.json {
		return show.JSON(s.Out, append(tokenFields(t), show.Field{Name: "token", Value: secret.Reveal()}))
	}
	until := "it does not run out"
	if !t.Expires.IsZero() {
		until = "it runs out on " + t.Expires.Local().Format(time.DateOnly)
	}
	if o.out == "" {
		fmt.Fprintln(s.Out, secret.Reveal())
		s.Note("the token of %s, to %s; %s", t.Contributor, t.Scope, until)
		s.Note("it is not shown again")
	} else {
		s.Note("wrote the token of %s, to %s, into %s; %s", t.Contributor, t.Scope, o.out, until)
	}
	if known {
		s.Note("%s has measured sessions in this catalog: whoever holds the token speaks for them", t.Contributor)
	}
	s.Note("revoke it with:")
	s.Command("centwise pool token revoke " + string(t.ID) + o.factory.Here())
	return nil
}

// writeSecret writes a token into a new file that only its owner can read.
func writeSecret(path string, secret catalog.Secret) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return catalog.Errorf(catalog.Conflict, "choose another name", "%s exists already", path)
	}
	if err != nil {
		return cannotWrite(path, err)
	}
	_, err = fmt.Fprintln(f, secret.Reveal())
	err = errors.Join(err, f.Sync(), f.Close())
	if err != nil {
		os.Remove(path)
		return cannotWrite(path, err)
	}
	return nil
}

// tokenFields is a token as JSON, without what would open anything.
func tokenFields(t catalog.Token) show.Fields {
	return show.Fields{{Name: "id", Value: t.ID}, {Name: "contributor", Value: t.Contributor}, {Name: "scope", Value: t.Scope},
		{Name: "expires", Value: timeOrNull(t.Expires)}, {Name: "note", Value: t.Note}}
}

type tokenListOptions struct {
	factory *Factory
	all     bool
	output  outputFlags
}

func newTokenListCmd(f *Factory, runF func(*tokenListOptions) error) *cobra.Command {
	o := &tokenListOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the tokens",
		Long: long(`List the tokens that open the pool server, with when each was used last; --all for those that are revoked or have run
out too. Their texts are not kept, so they can't be shown.`,
			`--json prints {"tokens": [{"id", "contributor", "scope", "expires" or null, "note", "created", "revoked" or null,
"last_used" or null, "good"}]}.`,
			exitStatus(exitOK, exitUsage, exitNoCatalog)),
		Example: `  centwise pool token list
  centwise pool token list --all --json`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error { return orRun(runF, tokenListRun)(cmd.Context(), o) },
	}
	cmd.Flags().BoolVar(&o.all, "all", false, "list those that open nothing any more too")
	o.output.add(cmd)
	return cmd
}

func tokenListRun(ctx context.Context, o *tokenListOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	all, err := store.Tokens(ctx)
	if err != nil {
		return err
	}
	now := o.factory.Now()
	t := &show.Table{Columns: []show.Column{
		{Title: "contributor", Name: "contributor"}, {Title: "scope", Name: "scope"}, {Title: "state", Name: "state"}, {Title: "expires", Name: "expires"},
		{Title: "last used", Name: "last_used", Drop: 1}, {Title: "note", Name: "note", Drop: 2}, {Title: "id", Name: "id"}, {Name: "created"}, {Name: "revoked"},
	}}
	list := []show.Fields{}
	for _, k := range all {
		if !o.all && !k.Good(now) {
			continue
		}
		t.Add(show.Text(k.Contributor), show.Words(string(k.Scope)), show.Words(tokenState(k, now)), day(k.Expires.Local()), day(k.LastUsed.Local()),
			show.Text(k.Note), show.Words(string(k.ID)), day(k.Created.Local()), day(k.Revoked.Local()))
		list = append(list, append(tokenFields(k), show.Fields{{Name: "created", Value: k.Created}, {Name: "revoked", Value: timeOrNull(k.Revoked)},
			{Name: "last_used", Value: timeOrNull(k.LastUsed)}, {Name: "good", Value: k.Good(now)}}...))
	}
	if len(list) == 0 && !o.output.json && !o.output.csv {
		o.factory.Streams.Note("no token opens the pool server; make one with 'centwise pool token add'")
	}
	return o.output.table(o.factory.Streams, t, func() any { return show.Fields{{Name: "tokens", Value: list}} })
}

func tokenState(t catalog.Token, now time.Time) string {
	switch {
	case !t.Revoked.IsZero():
		return "revoked"
	case t.Expired(now):
		return "run out"
	}
	return "good"
}

type tokenRevokeOptions struct {
	factory     *Factory
	ids         []string
	contributor string
}

func newTokenRevokeCmd(f *Factory, runF func(*tokenRevokeOptions) error) *cobra.Command {
	o := &tokenRevokeOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "revoke [ID...]",
		Short: "End tokens for good",
		Long: long(`End the tokens with these ids, or with --contributor all that somebody has. A server that runs refuses them from the
next request on. What was sent with them stays in the pool; 'centwise session retract' takes sessions back.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: `  centwise pool token revoke 01KQ3V5T8Y2M4N6P7R9S1T3V5W
  centwise pool token revoke --contributor reed-otter`,
		RunE: func(cmd *cobra.Command, got []string) error {
			o.ids = got
			return orRun(runF, tokenRevokeRun)(cmd.Context(), o)
		},
	}
	cmd.Args = func(cmd *cobra.Command, got []string) error {
		switch {
		case o.contributor == "" && len(got) == 0:
			return usagef("'centwise pool token list' shows ids", "say which: ids of tokens, or --contributor")
		case o.contributor != "" && len(got) > 0:
			return usagef("give one of them", "ids and --contributor cannot be used together")
		}
		return nil
	}
	cmd.Flags().StringVar(&o.contributor, "contributor", "", "all tokens of the contributor `HANDLE`")
	return cmd
}

func tokenRevokeRun(ctx context.Context, o *tokenRevokeOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	ids, err := o.choose(ctx, store)
	if err != nil {
		return err
	}
	if err := store.RevokeTokens(ctx, o.factory.Now(), ids...); err != nil {
		return err
	}
	o.factory.Streams.Note("revoked %s", match.Count(len(ids), "token"))
	return nil
}

func (o *tokenRevokeOptions) choose(ctx context.Context, store catalog.Store) (ids []catalog.ID, err error) {
	for _, id := range o.ids {
		ids = append(ids, catalog.ID(strings.ToUpper(id)))
	}
	if o.contributor == "" {
		return ids, nil
	}
	all, err := store.Tokens(ctx)
	if err != nil {
		return nil, err
	}
	name, now := catalog.NormalLabel(o.contributor), o.factory.Now()
	var have []string
	for _, t := range all {
		if !t.Good(now) {
			continue
		}
		have = append(have, t.Contributor)
		if t.Contributor == name {
			ids = append(ids, t.ID)
		}
	}
	if len(ids) == 0 {
		missing := catalog.Missing("token of", name, have)
		if len(catalog.Near(name, have, 1)) == 0 {
			missing.Hint = "list what is there with: centwise pool token list"
		}
		return nil, missing
	}
	return ids, nil
}
