package cli

import (
	"context"
	"crypto/tls"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/catalog/sqlstore"
	"centwise/cmd/centwise/server"
)

type poolServeOptions struct {
	factory     *Factory
	listen      string
	cert, key   string
	behindProxy bool
	rate        float64
	privacy     pool.Privacy
	public      bool
}

// fitPause is how long a server rests between fits at least: those who push in
// parts change the catalog every few seconds.
const fitPause = 10 * time.Second

// defaultListen is reached from this machine only.
const defaultListen = "127.0.0.1:8417"

func newPoolServeCmd(f *Factory, runF func(*poolServeOptions) error) *cobra.Command {
	o := &poolServeOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Serve this catalog as a pool that others push to and pull from",
		Long: long(`Serve the catalog over HTTP until Ctrl-C: others send what they measured with 'centwise pool push' and get what
everybody measured with 'centwise pool pull'. Who may do what is said by tokens ('centwise pool token --help'); other commands may use
the catalog meanwhile.`,
			`Without --listen the server is reached from this machine only. To be reached from others it speaks TLS, with --tls-cert and
--tls-key (read again when they are renewed), or stands behind a proxy that does, with --behind-proxy: then X-Forwarded-For tells
where requests come from, of several addresses the last. See to it that only the proxy reaches the port.`,
			`What is pulled leaves handles of players as pseudonyms and remarks and owner notes not at all, like 'centwise pool export';
--handles, --remarks and --owner-notes let them go, to everybody who has a token.`,
			`To a browser the server shows pages, without script and for phones too: designs, horns and mouthpieces with their profiles,
who measured what, and which mouthpieces suit a horn. They ask for a name, which may be anything, and a password: a token
that may read. --public-pages shows them to anybody who reaches the server. Predictions are worked out beside requests; a page
says so while they are behind.`,
			`Requests are bounded in size, time and number; whoever asks too often is told when to come again. On standard output stands
the address, on standard error a line of JSON for each request, without tokens. Ctrl-C or SIGTERM finishes the requests that
run. GET /health answers whether the catalog can be read.`,
			`Back the catalog up ('centwise catalog backup'): it can be done while the server runs. After going back to a backup, those who
push send again what was lost.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: `  centwise pool serve
  centwise pool serve --listen 0.0.0.0:8417 --tls-cert pool.pem --tls-key pool.key
  centwise pool serve --listen 10.0.0.5:8417 --behind-proxy`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.take(); err != nil {
				return err
			}
			return orRun(runF, poolServeRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.listen, "listen", defaultListen, "listen on `HOST:PORT`; port 0 takes any that is free")
	fs.StringVar(&o.cert, "tls-cert", "", "speak TLS, with the certificate in `FILE` (PEM, with its chain)")
	fs.StringVar(&o.key, "tls-key", "", "the key of the certificate, in `FILE` (PEM)")
	fs.BoolVar(&o.behindProxy, "behind-proxy", false, "a proxy in front speaks TLS and says where requests come from")
	fs.Float64Var(&o.rate, "rate", server.DefaultRate, "let each token make `N` requests a second on the whole, and each address twice as many")
	fs.BoolVar(&o.public, "public-pages", false, "let anybody look at the pages")
	fs.BoolVar(&o.privacy.Handles, "handles", false, "let handles of players go, and what else is known of them")
	fs.BoolVar(&o.privacy.Remarks, "remarks", false, "let remarks, reasons and names of files go")
	fs.BoolVar(&o.privacy.Owners, "owner-notes", false, "let owner notes go")
	return cmd
}

// take refuses combinations that mean nothing.
func (o *poolServeOptions) take() error {
	switch {
	case (o.cert == "") != (o.key == ""):
		return usagef("--tls-cert pool.pem --tls-key pool.key", "--tls-cert and --tls-key go together")
	case o.cert != "" && o.behindProxy:
		return usagef("leave --behind-proxy out, or the certificate to the proxy", "--tls-cert and --behind-proxy cannot be used together")
	case !(o.rate > 0 && o.rate <= 1e6):
		return usagef("--rate 20", "--rate %v is no number of requests a second", o.rate)
	}
	return nil
}

func poolServeRun(ctx context.Context, o *poolServeOptions) error {
	log := server.NewLog(o.factory.Streams.Err)
	store, err := o.factory.open(ctx, sqlstore.Options{Notice: func(text string) { log.Warn(text) }})
	if err != nil {
		return err
	}
	defer store.Close()
	c := server.Config{
		Address: o.listen, BehindProxy: o.behindProxy, Rate: o.rate, Privacy: o.privacy, Version: buildVersion().version,
		PublicPages: o.public, Pause: fitPause, Log: log, Now: o.factory.Now,
	}
	if c.TLS, err = o.tls(c); err != nil {
		return err
	}
	l, err := server.Listen(ctx, c)
	if err != nil {
		return err
	}
	defer l.Close()
	if err := o.noteTokens(ctx, store); err != nil {
		return err
	}
	fmt.Fprintln(o.factory.Streams.Out, server.URL(c, l))
	if err := o.factory.Streams.Flush(); err != nil {
		return err
	}
	return server.New(store, c).Serve(ctx, l)
}

// tls is how the server speaks; nil for without.
func (o *poolServeOptions) tls(c server.Config) (*tls.Config, error) {
	if o.cert == "" {
		return nil, nil
	}
	certificate := &server.Certificate{CertFile: o.cert, KeyFile: o.key, Log: c.Log}
	return certificate.TLS()
}

// noteTokens says so if nobody can come in.
func (o *poolServeOptions) noteTokens(ctx context.Context, store catalog.Store) error {
	tokens, err := store.Tokens(ctx)
	if err != nil {
		return err
	}
	for _, t := range tokens {
		if t.Good(o.factory.Now()) {
			return nil
		}
	}
	o.factory.Streams.Note("nobody has a token yet; make one, while this runs, with:")
	o.factory.Streams.Command("centwise pool token add NAME" + o.factory.Here())
	return nil
}
