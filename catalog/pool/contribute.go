package pool

import (
	"context"
	"fmt"
	"slices"

	"centwise/catalog"
)

// Contribution is what a contributor may send into a pool: sessions that the
// contributor measured, gear and players that the contributor entered, their
// later revisions, and retractions of those sessions. What is not signed is
// signed in the contributor's name. Gear that somebody else entered may come
// along where it is not known yet and does not say whose it is.
type Contribution struct {
	Contributor string
	coming      map[catalog.ID]bool // sessions of the bundle that may be admitted
}

// NewContribution looks a bundle through for what its records refer to. The error
// is that of [Read], also where the bundle unpacks to more than limit bytes.
func NewContribution(ctx context.Context, contributor string, f File, limit int64) (*Contribution, error) {
	c := &Contribution{contributor, map[catalog.ID]bool{}}
	for p, err := range read(ctx, f, &place{file: f.Name}, limit) {
		if err != nil {
			return nil, err
		}
		if s := p.Session; s != nil {
			_, why := c.sign(s.Record.Contributor, s.Withheld, "contributor", "measured")
			c.coming[s.Record.ID] = why == ""
		}
	}
	return c, nil
}

// Narrow admits retractions in favour of sessions that are stored only. What is
// to replace a session may be held back itself, which shows at the end.
func (c *Contribution) Narrow() { clear(c.coming) }

// sign gives the name that stands in a field from now on.
func (c *Contribution) sign(name string, withheld []string, field, did string) (as, why string) {
	switch {
	case name == c.Contributor:
		return name, ""
	case slices.Contains(withheld, field):
		return "", "it does not say who " + did + " it"
	case name == "":
		return c.Contributor, ""
	}
	return "", fmt.Sprintf("it was %s by %s", did, name)
}

// Admit is a [catalog.Admission].
func (c *Contribution) Admit(a catalog.Arrival) (catalog.Pooled, string) {
	switch p := a.Record; {
	case p.Horn != nil:
		as, why := admitGear(c, a, *p.Horn, &p.Horn.Record.Revision, func(r *catalog.Shared[catalog.Horn]) *catalog.Revision { return &r.Record.Revision })
		return catalog.Pooled{Horn: as}, why
	case p.Mouthpiece != nil:
		as, why := admitGear(c, a, *p.Mouthpiece, &p.Mouthpiece.Record.Revision, func(r *catalog.Shared[catalog.Mouthpiece]) *catalog.Revision { return &r.Record.Revision })
		return catalog.Pooled{Mouthpiece: as}, why
	case p.Player != nil:
		as, why := admitGear(c, a, *p.Player, &p.Player.Record.Revision, func(r *catalog.Shared[catalog.Player]) *catalog.Revision { return &r.Record.Revision })
		return catalog.Pooled{Player: as}, why
	case p.Session != nil:
		return c.session(a, *p.Session)
	}
	return catalog.Pooled{}, "it takes a token that may curate"
}

// admitGear signs a revision of gear.
func admitGear[T any](c *Contribution, a catalog.Arrival, in catalog.Shared[T], was *catalog.Revision, revision func(*catalog.Shared[T]) *catalog.Revision) (*catalog.Shared[T], string) {
	as, why := c.sign(was.Contributor, in.Withheld, "contributor", "entered")
	switch {
	case a.New && slices.Contains(in.Withheld, "contributor"):
		return &in, ""
	case why == "" && (a.New || a.Owner == c.Contributor):
		revision(&in).Contributor = as
		return &in, ""
	case why == "":
		return nil, "the pool has it from " + known(a.Owner)
	}
	return nil, why
}

// known names whoever is known.
func known(name string) string {
	if name == "" {
		return "somebody else"
	}
	return name
}

func (c *Contribution) session(a catalog.Arrival, in catalog.Shared[catalog.Session]) (catalog.Pooled, string) {
	refuse := func(why string) (catalog.Pooled, string) { return catalog.Pooled{}, why }
	as, why := c.sign(in.Record.Contributor, in.Withheld, "contributor", "measured")
	switch {
	case !a.New && a.Owner != c.Contributor:
		return refuse("the pool has it from " + known(a.Owner))
	case why != "":
		return refuse(why)
	case !a.New && !catalog.SameMeasurement(a.Stored.Session.Record, in.Record):
		return refuse("the pool has other readings under its id: retract it and record another one")
	}
	in.Record.Contributor = as
	r := in.Record.Retraction
	if r == nil || !a.New && same(a.Stored.Session.Record.Retraction, a.Joined.Session.Record.Retraction) {
		return catalog.Pooled{Session: &in}, ""
	}
	by, why := c.sign(r.Contributor, in.Withheld, "retracted_by", "retracted")
	switch {
	case why != "":
		return refuse(why)
	case r.ReplacedBy != "" && !a.ReplacementStored && !c.coming[r.ReplacedBy]:
		return refuse("the session that replaces it is not the contributor's")
	}
	signed := *r
	signed.Contributor = by
	in.Record.Retraction = &signed
	return catalog.Pooled{Session: &in}, ""
}

// same reports whether two retractions are one.
func same(a, b *catalog.Retraction) bool {
	return a == b || a != nil && b != nil && *a == *b
}
