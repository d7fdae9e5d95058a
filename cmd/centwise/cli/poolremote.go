package cli

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"runtime"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/cmd/centwise/remote"
	"centwise/cmd/centwise/show"
	"centwise/cmd/centwise/wire"
	"centwise/match"
)

// tokenVariable may hold a token.
const tokenVariable = "CENTWISE_POOL_TOKEN"

// remoteFlags say how to reach a pool server.
type remoteFlags struct {
	url       string
	tokenFile string
	caFile    string
	again     bool
	json      bool
}

func (r *remoteFlags) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&r.tokenFile, "token-file", "", "take the token from `FILE` (default the variable "+tokenVariable+")")
	fs.StringVar(&r.caFile, "tls-ca", "", "trust the certificates in `FILE` too (PEM), for a pool that has its own")
	fs.BoolVar(&r.again, "again", false, "begin at the beginning instead of where the last time ended")
	fs.BoolVar(&r.json, "json", false, "print what was done as JSON")
}

// remoteHelp is what pushing and pulling have in common.
var remoteHelp = []string{
	`The token comes from a file, --token-file, or from the variable CENTWISE_POOL_TOKEN: never from the command line, which others on
the machine can read.`,
	`Records travel in parts. What got through is remembered in the catalog: when the connection breaks it is tried again for some
minutes, and the same command goes on later where it stopped. A part that arrives twice changes nothing.`,
}

// client makes the client of a command.
func (r *remoteFlags) client(f *Factory) (*remote.Client, error) {
	if _, err := remote.Address(r.url); err != nil {
		return nil, err
	}
	secret, err := r.token(f)
	if err != nil {
		return nil, err
	}
	return remote.New(remote.Config{
		URL: r.url, Token: secret, CAFile: r.caFile, Version: buildVersion().version,
		Note: func(text string) { f.Streams.Note("%s", text) },
	})
}

// token finds the token.
func (r *remoteFlags) token(f *Factory) (catalog.Secret, error) {
	if r.tokenFile == "" {
		text := f.Getenv(tokenVariable)
		if text == "" {
			return catalog.Secret{}, usagef("--token-file pool.token", "there is no token: name its file with --token-file, or put it into the variable %s", tokenVariable)
		}
		secret, err := catalog.ParseSecret(text)
		if err != nil {
			return secret, &catalog.Error{Kind: catalog.Invalid, What: "the variable " + tokenVariable, Err: err}
		}
		return secret, nil
	}
	if looksLikeSecret(r.tokenFile) {
		return catalog.Secret{}, usagef("put it into a file that only you can read, and revoke it if others may have seen it", "--token-file takes the name of a file, not a token")
	}
	text, err := os.ReadFile(r.tokenFile)
	if err != nil {
		return catalog.Secret{}, &catalog.Error{Kind: catalog.Unavailable, What: "reading the token", Err: err, Hint: "check --token-file"}
	}
	if info, err := os.Stat(r.tokenFile); err == nil && runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		f.Streams.Note("others on this machine may read %s: chmod 600 %s", r.tokenFile, catalog.ShellPath(r.tokenFile))
	}
	secret, err := catalog.ParseSecret(string(text))
	if err != nil {
		return secret, &catalog.Error{Kind: catalog.Invalid, What: r.tokenFile, Err: err}
	}
	return secret, nil
}

func looksLikeSecret(text string) bool {
	_, err := catalog.ParseSecret(text)
	_, missing := os.Stat(text)
	return err == nil && errors.Is(missing, fs.ErrNotExist)
}

type poolPushOptions struct {
	factory *Factory
	remote  remoteFlags
	privacy pool.Privacy
}

func newPoolPushCmd(f *Factory, runF func(*poolPushOptions) error) *cobra.Command {
	o := &poolPushOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "push URL",
		Short: "Send what was measured here to a pool server",
		Long: long(`Send the pool server at URL what this catalog came to know since the last time: sessions, gear, retractions. With a
token to contribute, that is what its contributor measured or entered, and what nobody signed; with a token to curate, all
there is. Handles of players leave as pseudonyms and remarks and owner notes stay at home, as with 'centwise pool export'; the name of the
token's contributor leaves, those of others don't. 'centwise pool export --show' lists what would leave.`,
			remoteHelp[0], remoteHelp[1],
			`Somebody else's record in the pool is never changed by a token to contribute: what the server holds back is listed, with the
reason, and the exit code is 3.`,
			`--json prints "contributor", "scope", "sent" and "changed" (what the pool did not have, and what it knows more of now: "horns",
"mouthpieces", "players", "sessions", "readings", "links"), "held_back" (a list of "kind", "id", "label", "why"), "others" (sessions that
stay here, as others measured them), "anew" (the server had lost what it had, and got all again).`,
			exitStatus(exitOK, exitFailed, exitUsage, exitSkipped, exitNoCatalog, exitBusy, exitCancelled)),
		Example: `  centwise pool push https://pool.example.org --token-file pool.token
  centwise pool push https://pool.example.org --remarks --json`,
		Args: args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.remote.url = got[0]
			return orRun(runF, poolPushRun)(cmd.Context(), o)
		},
	}
	o.remote.add(cmd)
	fs := cmd.Flags()
	fs.BoolVar(&o.privacy.Handles, "handles", false, "let handles of players go, and what else is known of them")
	fs.BoolVar(&o.privacy.Remarks, "remarks", false, "let remarks, reasons and names of files go")
	fs.BoolVar(&o.privacy.Owners, "owner-notes", false, "let owner notes go")
	return cmd
}

func poolPushRun(ctx context.Context, o *poolPushOptions) error {
	client, err := o.remote.client(o.factory)
	if err != nil {
		return err
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	done, err := client.Push(ctx, store, remote.Options{Privacy: o.privacy, Again: o.remote.again, Progress: o.factory.Progress()})
	if err != nil {
		return stopped(ctx, err)
	}
	if o.remote.json {
		err = show.JSON(o.factory.Streams.Out, show.Fields{
			{Name: "contributor", Value: done.Contributor}, {Name: "scope", Value: done.Scope}, {Name: "sent", Value: done.Sent}, {Name: "changed", Value: done.Changed},
			{Name: "held_back", Value: append([]catalog.HeldBack{}, done.HeldBack...)}, {Name: "others", Value: done.Others}, {Name: "anew", Value: done.Anew},
		})
	} else {
		o.report(client.URL(), done)
	}
	if err == nil && len(done.HeldBack) > 0 {
		err = &skippedError{match.Count(len(done.HeldBack), "record") + " was held back by the server", "ask somebody whose token may curate"}
		if len(done.HeldBack) > 1 {
			err = &skippedError{match.Count(len(done.HeldBack), "record") + " were held back by the server", "ask somebody whose token may curate"}
		}
	}
	return err
}

// stopped says that what got through before a command was stopped is remembered.
func stopped(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return &stopError{"stopped; what got through is remembered", "repeat the command to go on", context.Canceled}
	}
	return err
}

// fewHeldBack is how many records that were held back are named.
const fewHeldBack = 10

func (o *poolPushOptions) report(url string, done remote.Pushed) {
	s := o.factory.Streams
	if done.Anew {
		s.Note("the pool had lost what it had, or is another one: everything was sent again")
	}
	noteCounts(s, "new in the pool", done.Sent)
	noteCounts(s, "the pool knows more now of", done.Changed)
	if done.Sent == (wire.Counts{}) && done.Changed == (wire.Counts{}) {
		s.Note("%s had everything already", url)
	}
	for i, h := range done.HeldBack {
		if i == fewHeldBack {
			s.Note("held back too: %d more", len(done.HeldBack)-i)
			break
		}
		s.Note("held back: the %s %s: %s", h.Kind, catalog.ShellWord(h.Label), h.Why)
	}
	if done.Others > 0 {
		s.Note("stays here: %s that others than %s measured", match.Count(done.Others, "session"), done.Contributor)
	}
}

// noteCounts lists what there is of each kind.
func noteCounts(s *Streams, what string, c wire.Counts) {
	if c == (wire.Counts{}) {
		return
	}
	text := what + ":"
	for i, n := range []struct {
		n    int
		noun string
	}{{c.Sessions, "session"}, {c.Readings, "reading"}, {c.Horns, "horn"}, {c.Mouthpieces, "mouthpiece"}, {c.Players, "player"}, {c.Links, "link"}} {
		if n.n == 0 {
			continue
		}
		if text[len(text)-1] != ':' {
			text += ","
		}
		if i == 1 && c.Sessions > 0 {
			text = text[:len(text)-1] + " with"
		}
		text += " " + match.Count(n.n, n.noun)
	}
	s.Note("%s", text)
}

type poolPullOptions struct {
	factory *Factory
	remote  remoteFlags
}

func newPoolPullCmd(f *Factory, runF func(*poolPullOptions) error) *cobra.Command {
	o := &poolPullOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "pull URL",
		Short: "Take over what a pool server came to know",
		Long: long(`Take over from the pool server at URL what it came to know since the last time, as 'centwise pool merge' takes over
bundles. The catalog is made if there is none.`,
			remoteHelp[0], remoteHelp[1],
			`--json prints "new" and "changed" ("horns", "mouthpieces", "players", "sessions", "readings", "links"), "renamed" (a list of "kind", "id",
"stated", "label"), "kept" (records of kinds that this version does not know) and "anew" (the server had lost what it had, and was
asked for everything again).`,
			exitStatus(exitOK, exitFailed, exitUsage, exitBusy, exitCancelled)),
		Example: `  centwise pool pull https://pool.example.org --token-file pool.token
  centwise pool pull https://pool.example.org --json`,
		Args: args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.remote.url = got[0]
			return orRun(runF, poolPullRun)(cmd.Context(), o)
		},
	}
	o.remote.add(cmd)
	return cmd
}

func poolPullRun(ctx context.Context, o *poolPullOptions) error {
	client, err := o.remote.client(o.factory)
	if err != nil {
		return err
	}
	options := remote.Options{Again: o.remote.again, Progress: o.factory.Progress()}
	var done remote.Pulled
	store, err := o.factory.Existing(ctx)
	if noCatalog(err) {
		// With its first part the catalog comes to be; the others go on from there.
		err = o.factory.BeginWith(ctx, func(s catalog.Store) (err error) {
			first := options
			first.Parts = 1
			done, err = client.Pull(ctx, s, first)
			return err
		})
		if err != nil || !done.More {
			return o.report(ctx, done, err)
		}
		store, err = o.factory.Existing(ctx)
	}
	if err != nil {
		return err
	}
	defer store.Close()
	more, err := client.Pull(ctx, store, options)
	more.News.Add(done.News)
	more.Changed.Add(done.Changed)
	more.Renamed = append(done.Renamed, more.Renamed...)
	return o.report(ctx, more, err)
}

func (o *poolPullOptions) report(ctx context.Context, done remote.Pulled, err error) error {
	if err != nil {
		return stopped(ctx, err)
	}
	s := o.factory.Streams
	if o.remote.json {
		return show.JSON(s.Out, show.Fields{
			{Name: "new", Value: done.News}, {Name: "changed", Value: done.Changed}, {Name: "renamed", Value: renamedFields(done.Renamed)},
			{Name: "kept", Value: done.Kept}, {Name: "anew", Value: done.Anew},
		})
	}
	if done.Anew {
		s.Note("the pool had lost what it had, or is another one: it was asked for everything again")
	}
	noteCounts(s, "new", done.News)
	noteCounts(s, "more is known now of", done.Changed)
	if done.News == (wire.Counts{}) && done.Changed == (wire.Counts{}) {
		s.Note("there was nothing new")
	}
	noteKept(s, done.Kept)
	noteRenamed(s, done.Renamed)
	return nil
}
