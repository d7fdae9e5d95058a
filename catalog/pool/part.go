package pool

import (
	"bytes"
	"context"
	"errors"

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
	partBytes    = 64 << 20 // unpacked, at most
)

// NextPart gathers the records behind a position. Invalid: one of them, with what
// it needs, is too large.
func NextPart(ctx context.Context, store catalog.Follower, secret catalog.PoolSecret, after catalog.Position, o PartOptions) (Part, error) {
	p := Part{End: after}
	var chosen []catalog.ChangedRecord
	var others []int // passed over until each of them
	for readings, last := 0, false; !last && !p.More; {
		page, err := store.ChangedRecords(ctx, p.End, partRecords)
		if err != nil {
			return Part{}, err
		}
		last = len(page) < partRecords
		for _, r := range page {
			if p.More = len(chosen) > 0 && (len(chosen) >= partRecords || readings+r.Readings > partReadings); p.More {
				break
			}
			p.End = r.Behind
			if !o.leavesOut(r, &p) {
				chosen, others = append(chosen, r), append(others, p.Others)
				readings += r.Readings
			}
		}
	}
	for {
		err := p.fill(ctx, store, chosen, o.Privacy.redaction(secret))
		if !errors.Is(err, errPartTooLarge) {
			return p, err
		}
		if len(chosen) == 1 {
			return p, catalog.Errorf(catalog.Invalid, "exchange it as a file: centwise pool export", "the %s %s and what it needs is too large to be sent", chosen[0].Kind, chosen[0].ID)
		}
		chosen = chosen[:len(chosen)/2]
		last := len(chosen) - 1
		p.End, p.Others, p.More = chosen[last].Behind, others[last], true
	}
}

func (o PartOptions) leavesOut(r catalog.ChangedRecord, p *Part) bool {
	if o.Except != "" && r.Source == o.Except {
		return true
	}
	if o.Contributor == "" {
		return false
	}
	if r.Kind == catalog.PooledLink || r.Kind == catalog.PooledOther {
		return true // not a contributor's to say
	}
	if r.Contributor == "" || r.Contributor == o.Contributor {
		return false
	}
	if r.Kind == catalog.PooledSession {
		p.Others++
	}
	return true
}

var errPartTooLarge = errors.New("the part is too large")

// fill writes the bundle.
func (p *Part) fill(ctx context.Context, store catalog.Follower, chosen []catalog.ChangedRecord, redaction catalog.Redaction) error {
	p.Records = nil
	for _, r := range chosen {
		p.Records = append(p.Records, r.RecordRef)
	}
	if len(chosen) == 0 {
		return nil
	}
	var b bytes.Buffer
	out, err := newWriter(&b)
	if err != nil {
		return err
	}
	unpacked := 0
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
		if unpacked += len(out.line); unpacked > partBytes {
			return errPartTooLarge
		}
	}
	p.Summary, err = out.close()
	p.Bundle = b.Bytes()
	return err
}
