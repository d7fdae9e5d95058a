package remote

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/cmd/centwise/wire"
)

// Options say how to push or pull.
type Options struct {
	Privacy  pool.Privacy    // what leaves; pushing only
	Again    bool            // from the beginning
	Parts    int             // no more than so many; 0: all there are
	Progress catalog.Counter // may be nil
}

// Pushed says what a push did, also one that ended with an error.
type Pushed struct {
	Contributor string
	Scope       catalog.Scope
	Sent        wire.Counts // what the server did not have
	Changed     wire.Counts // what it knows more of now
	HeldBack    []catalog.HeldBack
	Others      int  // sessions that others measured, which this token can't send
	Anew        bool // the server had gone back to a backup, or is another one
}

// Pulled says what a pull did, also one that ended with an error.
type Pulled struct {
	News    wire.Counts
	Changed wire.Counts
	Renamed []catalog.Renaming
	Kept    int
	Anew    bool
	More    bool // stopped by Options.Parts
}

// meet finds out who the server takes us for, and what was exchanged before.
func (c *Client) meet(ctx context.Context, store catalog.Follower, again bool) (r catalog.Remote, s wire.Status, anew bool, err error) {
	r, err = store.Remote(ctx, c.url)
	if err != nil && catalog.KindOf(err) != catalog.NotFound {
		return r, s, false, err
	}
	fresh := err != nil
	if s, err = c.Status(ctx, r.Seen, r.Received); err != nil {
		return r, s, false, err
	}
	own, err := store.PoolID(ctx)
	if err != nil {
		return r, s, false, err
	}
	if own == s.Catalog {
		return r, s, false, catalog.Errorf(catalog.Invalid, "check the address and --catalog", "%s serves this very catalog, or a copy of it", c.url)
	}
	anew = !fresh && (r.Catalog != s.Catalog || !s.Known)
	if fresh || anew || again {
		if err := store.ForgetRemote(ctx, c.url); err != nil {
			return r, s, anew, err
		}
		r = catalog.Remote{URL: c.url, Catalog: s.Catalog}
	}
	if r.Seen, err = catalog.ParsePosition(s.Position); err != nil {
		return r, s, anew, notAServer(c.url, err)
	}
	return r, s, anew, nil
}

// Push sends what the server may not have yet.
func (c *Client) Push(ctx context.Context, store catalog.Store, o Options) (out Pushed, err error) {
	r, status, anew, err := c.meet(ctx, store, o.Again)
	if err != nil {
		return out, err
	}
	out.Contributor, out.Scope, out.Anew = status.Contributor, status.Scope, anew
	if !status.Scope.Allows(catalog.ScopeContribute) {
		return out, catalog.Errorf(catalog.Invalid, "ask whoever keeps the pool for a token that may contribute", "the token of %s may only read at %s", status.Contributor, c.url)
	}
	parts := pool.PartOptions{Privacy: o.Privacy, Except: c.url}
	if !status.Scope.Allows(catalog.ScopeCurate) {
		parts.Contributor, parts.Privacy.Signed = status.Contributor, status.Contributor
	}
	if terms := termsOf(parts); r.Terms != terms {
		r.Terms, r.Sent = terms, catalog.Position{}
	}
	secret, err := store.PoolSecret(ctx)
	if err != nil {
		return out, err
	}
	counter := startCounter(o.Progress, "sending readings")
	defer counter.Done()
	for n := 1; ; n++ {
		part, err := pool.NextPart(ctx, store, secret, r.Sent, parts)
		if err != nil {
			return out, err
		}
		if err := c.pushPart(ctx, store, &r, part, &out); err != nil {
			return out, err
		}
		counter.Add(int64(part.Summary.Readings))
		if !part.More || n == o.Parts {
			return out, nil
		}
	}
}

// termsOf are the terms under which records go, as text.
func termsOf(o pool.PartOptions) string {
	terms := []string{"as " + o.Contributor}
	if o.Contributor == "" {
		terms = []string{"as anybody"}
	}
	for _, t := range []struct {
		goes bool
		what string
	}{{o.Privacy.Handles, "handles"}, {o.Privacy.Remarks, "remarks"}, {o.Privacy.Owners, "owner notes"}} {
		if t.goes {
			terms = append(terms, t.what)
		}
	}
	return strings.Join(terms, ", ")
}

// pushPart sends a part and remembers that.
func (c *Client) pushPart(ctx context.Context, store catalog.Store, r *catalog.Remote, part pool.Part, out *Pushed) error {
	out.Others += part.Others
	if part.Bundle != nil {
		receipt, err := c.send(ctx, part.Bundle)
		if err != nil {
			return err
		}
		if r.Seen, err = catalog.ParsePosition(receipt.Position); err != nil {
			return notAServer(c.url, err)
		}
		out.Sent.Add(receipt.New)
		out.Changed.Add(receipt.Changed)
		for _, h := range receipt.HeldBack {
			if about(part, h) {
				out.HeldBack = append(out.HeldBack, h)
			}
		}
	}
	r.Sent, r.SentAt = part.End, time.Now()
	return store.SaveRemote(ctx, *r)
}

// about reports whether a part was sent for a record, which did not just come
// along with a session.
func about(p pool.Part, h catalog.HeldBack) bool {
	for _, r := range p.Records {
		if r.Kind == h.Kind && (r.ID == string(h.ID) || h.Kind == catalog.PooledLink) || r.Kind == catalog.PooledOther && h.ID == "" {
			return true
		}
	}
	return false
}

// Pull takes over what the server came to know.
func (c *Client) Pull(ctx context.Context, store catalog.Store, o Options) (out Pulled, err error) {
	r, _, anew, err := c.meet(ctx, store, o.Again)
	out.Anew = anew
	if err != nil {
		return out, err
	}
	counter := startCounter(o.Progress, "receiving readings")
	defer counter.Done()
	for n := 1; ; n++ {
		got, err := c.fetch(ctx, r.Received)
		if err != nil {
			return out, err
		}
		if got.more && got.end == r.Received {
			return out, notAServer(c.url, errors.New("it goes round in circles"))
		}
		r.Received, r.ReceivedAt = got.end, time.Now()
		if got.bundle == nil {
			err = store.SaveRemote(ctx, r)
		} else {
			err = c.pullPart(ctx, store, r, got.bundle, &out, counter)
		}
		if err != nil {
			return out, err
		}
		if out.More = got.more && n == o.Parts; !got.more || out.More {
			return out, nil
		}
	}
}

// pullPart merges a part and remembers that with the same change.
func (c *Client) pullPart(ctx context.Context, store catalog.Store, r catalog.Remote, bundle []byte, out *Pulled, counter catalog.Counter) error {
	file := pool.File{Name: "what came from " + c.url, Content: bytes.NewReader(bundle)}
	merged, err := pool.Receive(ctx, store, file, wire.MaxUnpackedBytes, catalog.ReceiveOptions{From: c.url, Remote: &r})
	var domain *catalog.Error
	if errors.As(err, &domain) && domain.Kind == catalog.Invalid {
		return &catalog.Error{Kind: catalog.Invalid, What: "merging", Err: err, Hint: "tell whoever keeps the pool; what came before it is merged"}
	}
	if err != nil {
		return err
	}
	news, changed := wire.CountsOf(merged)
	out.News.Add(news)
	out.Changed.Add(changed)
	out.Renamed = append(out.Renamed, merged.Renamed...)
	out.Kept += merged.Kept
	counter.Add(int64(merged.Readings))
	return nil
}

func startCounter(c catalog.Counter, what string) catalog.Counter {
	if c == nil {
		c = catalog.NoCounter{}
	}
	c.Start(what, 0)
	return c
}
