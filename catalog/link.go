package catalog

import (
	"cmp"
	"strings"
)

// LinkKind says what a link joins.
type LinkKind string

// Links join two records of one instrument or mouthpiece, or two spellings of
// one design.
const (
	LinkHorn             LinkKind = "horn"
	LinkMouthpiece       LinkKind = "mouthpiece"
	LinkHornDesign       LinkKind = "horn-design"
	LinkMouthpieceDesign LinkKind = "mouthpiece-design"
)

// LinkKinds lists the known kinds.
var LinkKinds = []LinkKind{LinkHorn, LinkMouthpiece, LinkHornDesign, LinkMouthpieceDesign}

// OfDesign reports whether the kind joins spellings of designs, not records.
func (k LinkKind) OfDesign() bool { return k == LinkHornDesign || k == LinkMouthpieceDesign }

// Link says that Alias is the same thing as Kept, under whose name both go on.
// Records are named by their ids, designs by their [DesignName.Key]. An alias has
// one link at a time: another target, or taking the link apart (Retired), is its
// next revision.
//
// A link that is stored need not be in effect, see [SettleLinks].
type Link struct {
	Kind        LinkKind
	Alias, Kept string
	Revision
}

// Normalize brings the link into the form that is stored.
func (l *Link) Normalize() {
	l.Revision.normalize()
	if l.Kind.OfDesign() {
		l.Alias, l.Kept = normalKey(l.Alias), normalKey(l.Kept)
	}
}

func normalKey(key string) string {
	maker, model, _ := strings.Cut(key, "\t")
	return NormalLabel(maker) + "\t" + NormalLabel(model)
}

// Ref is by what the link is known in the order of changes: its kind, and the id of
// its alias or a digest of the name.
func (l Link) Ref() string {
	name := l.Alias
	if l.Kind.OfDesign() {
		w := digestOf("design")
		w.text("name", name)
		name = w.sum().String()
	}
	return string(l.Kind) + " " + name
}

// maxLinkRevision is more than anybody links and takes apart.
const maxLinkRevision = 1 << 30

// Validate checks the link as it stands. The error is an [*Error] of kind Invalid
// holding [Problems].
func (l Link) Validate() error { return l.check().err() }

func (l Link) check() *check {
	c := checking("link of a", string(l.Kind))
	c.revision("", l.Revision)
	if l.Number > maxLinkRevision {
		c.addf("revision", "ask for a new bundle", "is %d", l.Number)
	}
	oneOf(c, "kind", l.Kind, LinkKinds)
	for _, end := range []struct{ field, name string }{{"alias", l.Alias}, {"kept", l.Kept}} {
		switch {
		case !l.Kind.OfDesign():
			if !ID(end.name).Valid() {
				c.addf(end.field, "name the record by its id", "%q is not a ULID", end.name)
			}
		default:
			maker, model, _ := strings.Cut(end.name, "\t")
			c.handle(end.field, maker)
			if c.handle(end.field, model); model == "" {
				c.add(end.field, "has no model", "a design is known by its model")
			}
		}
	}
	if l.Alias == l.Kept {
		c.add("kept", "is the alias itself", "link two different ones")
	}
	return c
}

// DesignName is what a design is called: maker and model as somebody typed them.
type DesignName struct{ Maker, Model string }

// DesignName is what the horn's design is called.
func (h Horn) DesignName() DesignName { return DesignName{h.Maker, h.Model} }

// DesignName is what the mouthpiece's design is called.
func (m Mouthpiece) DesignName() DesignName { return DesignName{m.Maker, m.Model} }

// Key is the form in which names are the same but for case and spaces; empty
// when the model is not known.
func (d DesignName) Key() string {
	if Fold(d.Model) == "" {
		return ""
	}
	return Fold(d.Maker) + "\t" + Fold(d.Model)
}

// String is maker and model in a line.
func (d DesignName) String() string { return strings.TrimSpace(d.Maker + " " + d.Model) }

// Exact is the name with maker and model kept apart, for where String could mean
// several.
func (d DesignName) Exact() string { return strings.TrimSpace(d.Maker + " / " + d.Model) }

// Is reports whether text means the name, however its case and spaces are.
func (d DesignName) Is(text string) bool {
	text = Fold(text)
	return d.Key() != "" && (text == Fold(d.String()) || text == Fold(d.Exact()))
}

// LinkSummary is a link with what became of it.
type LinkSummary struct {
	Link
	// AliasLabel and KeptLabel are the labels of the records, or the keys of
	// designs in a line. They are ids of records that are not in the catalog.
	AliasLabel, KeptLabel string
	// Root is what the alias goes by in the end, as chains are followed; empty if
	// the link is not in effect.
	Root, RootLabel string
	Why             string // the link is not in effect
}

// InEffect reports whether the alias goes by another name.
func (l LinkSummary) InEffect() bool { return l.Root != "" }

// Designs tells designs apart, where some have several spellings that are linked.
// Its zero value knows of no links.
type Designs struct{ horns, mouthpieces map[string]string }

// NewDesigns takes up the links that are in effect.
func NewDesigns(links []LinkSummary) Designs {
	d := Designs{map[string]string{}, map[string]string{}}
	for _, l := range links {
		switch {
		case !l.InEffect():
		case l.Kind == LinkHornDesign:
			d.horns[l.Alias] = l.Root
		case l.Kind == LinkMouthpieceDesign:
			d.mouthpieces[l.Alias] = l.Root
		}
	}
	return d
}

// Horn is [Horn.Design] under the spelling that is kept.
func (d Designs) Horn(h Horn) string {
	return d.of(d.horns, h.Design(), h.DesignName(), string(h.Instrument), string(h.Key))
}

// Mouthpiece is [Mouthpiece.Design] under the spelling that is kept.
func (d Designs) Mouthpiece(m Mouthpiece) string {
	return d.of(d.mouthpieces, m.Design(), m.DesignName(), string(m.Shank))
}

// HornName is the [DesignName.Key] of the spelling that is kept of a horn's design.
func (d Designs) HornName(h Horn) string { return named(d.horns, h.DesignName()) }

// MouthpieceName is HornName for mouthpieces.
func (d Designs) MouthpieceName(m Mouthpiece) string { return named(d.mouthpieces, m.DesignName()) }

func named(roots map[string]string, name DesignName) string {
	if root, linked := roots[name.Key()]; linked {
		return root
	}
	return name.Key()
}

func (d Designs) of(roots map[string]string, own string, name DesignName, rest ...string) string {
	if len(roots) == 0 {
		return own
	}
	root, linked := roots[name.Key()]
	if !linked {
		return own
	}
	maker, model, _ := strings.Cut(root, "\t")
	parts := []string{maker}
	for _, r := range rest {
		parts = append(parts, Fold(r))
	}
	return strings.Join(append(parts, model), "\t")
}

// Digest is the digest of a link in effect: of the names under which the catalog
// knows its ends.
func (l LinkSummary) Digest() Digest {
	w := digestOf("link")
	w.text("kind", string(l.Kind))
	if l.Kind.OfDesign() {
		w.text("alias", l.Alias)
		w.text("kept", l.Root)
	} else {
		w.text("alias", l.AliasLabel)
		w.text("kept", l.RootLabel)
	}
	return w.sum()
}

// CompareLinks orders links by kind, then by what they are called.
func CompareLinks(a, b LinkSummary) int {
	return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(Fold(a.AliasLabel), Fold(b.AliasLabel)), cmp.Compare(a.Alias, b.Alias))
}
