package pool

import (
	"bytes"
	"context"

	"centwise/catalog"
)

// Part is some of what a catalog came to know behind a position, as a bundle.
// Parts are how catalogs keep up with each other over a network: whoever has
// merged one goes on from its end, and merging one again does no harm.
type Part struct {
	Bundle  []byte // nil: nothing to send
	Summary Summary
	Records []catalog.RecordRef // that the part is about, without what they need
	End     catalog.Position    // go on from here
	More    bool                // there may be more behind it
	Others  int                 // sessions passed over, as they are others' to send
}

// PartOptions say what goes into a part.
type PartOptions struct {
	Privacy Privacy
	// Contributor, if set, leaves out what others measured or entered, but for the
	// gear that sessions name.
	Contributor string
	// Except, if set, leaves out what came from this URL and is as it came.
	Except string
}

// Sizes of a part. A session is never cut: one with more readings than that is a
// part of its own.
const (
	partRecords  = 1000
	partReadings = 50_000
)

// NextPart gathers the records behind a position.
func NextPart(ctx context.Context, store catalog.Follower, secret catalog.PoolSecret, after catalog.Position, o PartOptions) (Part, error) {
	p := Part{End: after}
	readings := 0
	for {
		page, err := store.ChangedRecords(ctx, p.End, partRecords)
		if err != nil {
			return Part{}, err
		}
		for _, r := range page {
			if len(p.Records) > 0 && (len(p.Records) >= partRecords || readings+r.Readings > partReadings) {
				p.More = true
				return p, p.fill(ctx, store, secret, o)
			}
			p.End = r.Behind
			if o.leavesOut(r, &p) {
				continue
			}
			p.Records = append(p.Records, r.RecordRef)
			readings += r.Readings
		}
		if len(page) < partRecords {
			return p, p.fill(ctx, store, secret, o)
		}
	}
}

func (o PartOptions) leavesOut(r catalog.ChangedRecord, p *Part) bool {
	if o.Except != "" && r.Source == o.Except {
		return true
	}
	if o.Contributor == "" || r.Contributor == "" && r.Kind != catalog.PooledOther || r.Contributor == o.Contributor {
		return false
	}
	if r.Kind == catalog.PooledSession {
		p.Others++
	}
	return true
}

// fill writes the bundle.
func (p *Part) fill(ctx context.Context, store catalog.Follower, secret catalog.PoolSecret, o PartOptions) error {
	if len(p.Records) == 0 {
		return nil
	}
	var b bytes.Buffer
	out, err := newWriter(&b)
	if err != nil {
		return err
	}
	redaction := o.Privacy.redaction(secret)
	for r, err := range store.PooledRecords(ctx, p.Records) {
		if err != nil {
			return err
		}
		r = r.Redacted(redaction)
		body, err := r.Encode()
		if err == nil {
			err = out.add(r, body)
		}
		if err != nil {
			return err
		}
	}
	p.Summary, err = out.close()
	p.Bundle = b.Bytes()
	return err
}
