package twins

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"centwise/catalog"
)

// record is what tells a horn or a mouthpiece from others.
type record struct {
	kind   catalog.LinkKind
	id     catalog.ID
	label  string
	whole  spelling // the label
	named  spelling // what is named by it, without whose it is and the like
	bare   spelling // that without the marks of the design
	own    string   // letters of it that neither the design nor the kind explains
	name   catalog.DesignName
	key    string // of the name
	design design
	// traits are what no two records of one thing differ in, see
	// [catalog.Linkable].
	traits      string
	serial      string // plain
	serialText  string
	owner       string
	contributor string
	dimensions  []dimension
}

// dimension is one that may be stated, in the same place in every record of a kind.
type dimension struct {
	name  string
	value float64 // 0 = not known
	// Two people who measure the same thing differ by less than close; by more
	// than apart they have measured two. A share of the value where share is set.
	close, apart float64
	share        bool
}

// against compares a dimension in two records: 1 they agree, -1 they are clearly
// different, -2 twice as clearly, 0 neither.
func (d dimension) against(e dimension) int {
	if d.value == 0 || e.value == 0 {
		return 0
	}
	difference := math.Abs(d.value - e.value)
	if d.share {
		difference /= (d.value + e.value) / 2
	}
	switch {
	case difference <= d.close:
		return 1
	case difference > 2*d.apart:
		return -2
	case difference > d.apart:
		return -1
	}
	return 0
}

// How far apart two measurements of one thing lie: judged by how it is measured,
// from memory: rims and throats with a caliper or pin gauges, volumes by filling,
// slides by a ruler.
func hornDimensions(h catalog.Horn) []dimension {
	return []dimension{
		{"bore", h.BoreMM, 0.05, 0.15, false},
		{"first slide's throw", h.Throw1MM, 1, 5, false}, {"third slide's throw", h.Throw3MM, 1, 5, false},
	}
}

func mouthpieceDimensions(m catalog.Mouthpiece) []dimension {
	return []dimension{
		{"rim", m.RimMM, 0.1, 0.35, false}, {"cup volume", m.CupCM3, 0.06, 0.2, true}, {"cup depth", m.CupDepthMM, 0.3, 1.2, false},
		{"throat", m.ThroatMM, 0.04, 0.13, false}, {"throat length", m.ThroatLengthMM, 1, 4, false},
		{"backbore", m.BackboreMM, 0.15, 0.5, false}, {"length", m.LengthMM, 0.6, 2, false},
	}
}

// generic words of labels say what a thing is, not which.
var generic = func() map[string]bool {
	out := map[string]bool{}
	for _, w := range strings.Fields("trumpet cornet flugelhorn flugel piccolo horn mouthpiece tpt flg mpc mouth piece brass instrument") {
		out[w] = true
	}
	return out
}()

func ofHorn(h catalog.Horn) *record {
	r := &record{kind: catalog.LinkHorn, id: h.ID, label: h.Label, name: h.DesignName(), serialText: h.Serial,
		owner: catalog.Fold(h.Owner), contributor: h.Contributor, dimensions: hornDimensions(h)}
	return r.complete(h.Linkable())
}

func ofMouthpiece(m catalog.Mouthpiece) *record {
	r := &record{kind: catalog.LinkMouthpiece, id: m.ID, label: m.Label, name: m.DesignName(), serialText: m.Serial,
		owner: catalog.Fold(m.Owner), contributor: m.Contributor, dimensions: mouthpieceDimensions(m)}
	return r.complete(m.Linkable())
}

func (r *record) complete(l catalog.Linkable) *record {
	r.serial = catalog.PlainSerial(l.Serial)
	var traits []string
	for _, t := range l.Traits {
		traits = append(traits, t.Value)
	}
	r.traits = string(r.kind) + " " + strings.Join(traits, " ")
	r.key = r.name.Key()
	r.design = newDesign(r.name.Maker, r.name.Model)
	label := r.statedLabel()
	r.whole = newSpelling(label)
	owner := newSpelling(r.owner).words
	r.named = newSpelling(mainPart(label)).without(func(w string) bool { return qualifiers[w] || slices.Contains(owner, w) })
	r.bare = r.named.withoutMarks(r.design.both)
	for _, w := range r.named.words {
		if !generic[w] && !slices.ContainsFunc(r.design.both.words, func(d string) bool { _, ok := slipsOfWords(w, d); return ok }) {
			r.own += w
		}
	}
	return r
}

// mainPart is a label without what stands in brackets, and whose it is.
func mainPart(label string) string {
	end := len(label)
	for _, behind := range []string{" (", " [", " of ", " from ", " - "} {
		if at := strings.Index(label, behind); at > 0 {
			end = min(end, at)
		}
	}
	if newSpelling(label[:end]).empty() {
		return label
	}
	return label[:end]
}

// qualifiers are words that people put before or behind the name of a thing.
var qualifiers = map[string]bool{"old": true, "new": true, "our": true, "school": true, "band": true, "spare": true, "house": true}

// statedLabel is the label without the end of the id that tells it from another
// one's, see [catalog.Distinct].
func (r *record) statedLabel() string {
	if at := strings.LastIndex(r.label, " ("); at >= 0 {
		mark := strings.TrimRight(strings.TrimSuffix(r.label[at+2:], ")"), "+")
		if mark != "" && strings.HasSuffix(string(r.id), mark) && len(mark) >= 5 {
			return r.label[:at]
		}
	}
	return r.label
}

func (r *record) String() string { return fmt.Sprintf("%s %q", r.kind, r.label) }
