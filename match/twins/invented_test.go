package twins_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/oklog/ulid/v2"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/twins"
)

// An invented pool: gear of several bands, some of it entered by two people, each
// in their own way. Everything is made up.
var (
	makers = []string{"Tidewright", "Northlamp", "Saltmarsh & Daughters", "Brandling Bros.", "Ó Haligan", "Körting-Mewes", "Lockgate", "Ferryman Brass Co.", "Windhover", "Reedmere"}
	birds  = []string{"Heron", "Egret", "Bittern", "Curlew", "Sandpiper", "Oystercatcher", "Tern", "Avocet", "Dunlin", "Plover", "Redshank", "Great Skua", "Knot", "Whimbrel"}
	marks  = []string{"", "", "2", "3", "5", "Mk II", "Mark 3", "B", "3C", "3B", "5C", "No. 7", "16.2", "16.6", "S", "120", "125"}
	trees  = []string{"Alder", "Elder", "Rowan", "Hazel", "Birch", "Aspen", "Hornbeam", "Blackthorn", "Whitebeam", "Juniper", "Larch", "Linden", "Sycamore", "Willow", "Hawthorn", "Spindle", "Maple", "Walnut", "Chestnut", "Wych Elm"}
	bands  = []string{"Lantern Bay", "Harbour School", "Mill Lane", "Quarry Band", "North Quay", "Old Foundry"}
)

// invention is a pool with what is known of it.
type invention struct {
	horns       []catalog.Horn
	mouthpieces []catalog.Mouthpiece
	thing       map[string]int // by id of a record: which thing it is of
	twins       int            // things entered twice
}

type inventor struct {
	*rand.Rand
	invention
	labels map[string]bool
	clock  time.Time
	things int
}

func (v *inventor) pick(from ...string) string { return from[v.IntN(len(from))] }
func (v *inventor) chance(percent int) bool    { return v.IntN(100) < percent }
func (v *inventor) of(list []string) string    { return list[v.IntN(len(list))] }
func (v *inventor) digits(n int) (out string) {
	for range n {
		out += fmt.Sprint(v.IntN(10))
	}
	return out
}

// id is a ULID of our own making, so that the pool is the same every time.
func (v *inventor) id() catalog.ID {
	v.clock = v.clock.Add(time.Hour)
	var entropy [10]byte
	for i := range entropy {
		entropy[i] = byte(v.IntN(256))
	}
	id := ulid.ULID{}
	id.SetTime(ulid.Timestamp(v.clock))
	id.SetEntropy(entropy[:])
	return catalog.ID(id.String())
}

// slip makes one typing mistake in a word of four letters or more.
func (v *inventor) slip(text string) string {
	words := strings.Fields(text)
	at := v.IntN(len(words))
	r := []rune(words[at])
	if len(r) < 4 || r[0] < 'A' {
		return text
	}
	i := 1 + v.IntN(len(r)-2)
	switch v.IntN(4) {
	case 0: // left out
		r = append(r[:i], r[i+1:]...)
	case 1: // doubled
		r = append(r[:i], append([]rune{r[i]}, r[i:]...)...)
	case 2: // exchanged
		r[i], r[i+1] = r[i+1], r[i]
	case 3: // another key
		r[i] = rune("qwertyuioplkjhgfdsazxcvbnm"[v.IntN(26)])
	}
	words[at] = string(r)
	return strings.Join(words, " ")
}

// otherwise writes a name as somebody else would.
func (v *inventor) otherwise(text string) string {
	for _, change := range []struct {
		percent int
		do      func(string) string
	}{
		{25, strings.ToLower}, {10, strings.ToUpper},
		{20, func(s string) string { return strings.ReplaceAll(strings.ReplaceAll(s, "&", "and"), ".", "") }},
		{60, func(s string) string {
			return strings.NewReplacer("Mk II", v.pick("Mark 2", "mk2", "MkII", "mk. ii", "2"), "Mark 3", v.pick("Mk 3", "mk III", "Mk.3", "III")).Replace(s)
		}},
		{40, func(s string) string {
			return strings.NewReplacer("No. ", v.pick("#", "no ", "Nr. ", ""), "3C", v.pick("3 C", "3-C", "3c")).Replace(s)
		}},
		{30, func(s string) string {
			return strings.NewReplacer("ö", "o", "Ó ", "O'", "-", " ", " Bros.", " Bros", " Co.", "", "Tidewright", "Tide Wright", "Great Skua", "Great-Skua").Replace(s)
		}},
		{25, func(s string) string {
			if words := strings.Fields(s); len(words) == 2 && !strings.ContainsAny(s, "0123456789") {
				return words[1] + ", " + words[0]
			}
			return s
		}},
		{30, v.slip},
	} {
		if v.chance(change.percent) {
			text = change.do(text)
		}
	}
	return text
}

// label gives a record a label that no other one of its kind has.
func (v *inventor) label(kind, wanted string, id catalog.ID) string {
	label := catalog.NormalLabel(wanted)
	if v.labels[kind+label] {
		label += " (" + string(id[21:]) + ")"
	}
	v.labels[kind+label] = true
	return label
}

// invent makes so many things of each kind; a part of them is entered twice.
func invent(seed uint64, things, percentTwice int) *invention {
	v := &inventor{Rand: rand.New(rand.NewPCG(seed, 3)), invention: invention{thing: map[string]int{}}, labels: map[string]bool{},
		clock: time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)}
	for i := range things {
		v.horn(v.chance(percentTwice))
		v.mouthpiece(v.chance(percentTwice))
		if i%20 == 0 {
			v.batch()
		}
	}
	return &v.invention
}

// serials are what two people write down of one serial number. Where neither does,
// or one, the labels must tell.
func (v *inventor) serials(percent int) (a, b string, tells bool) {
	if !v.chance(percent) {
		return "", "", false
	}
	a = v.pick("", "", "A", "TW-") + v.digits(3+v.IntN(4))
	switch v.IntN(5) {
	case 0:
		return a, "", false
	case 1:
		return "", a, false
	case 2:
		return a, v.pick("No. ", "#", "sn ", "0") + strings.ToLower(a), true
	}
	return a, strings.ReplaceAll(a, "-", " "), true
}

// enter notes that a record is of a thing.
func (v *inventor) enter(id catalog.ID, twice bool) {
	v.thing[string(id)] = v.things
	if twice {
		v.twins++
	}
}

func (v *inventor) horn(twice bool) {
	v.things++
	maker, model := v.of(makers), strings.TrimSpace(v.of(birds)+" "+v.of(marks))
	serial, again, tells := v.serials(70)
	tree := v.of(trees)
	if v.chance(30) {
		tree += fmt.Sprint(" ", 2+v.IntN(4))
	}
	label := tree
	switch v.IntN(6) {
	case 0:
		label = maker + " " + model
	case 1:
		label = fmt.Sprint("No. ", 1+v.IntN(400))
	}
	band := v.of(bands)
	h := catalog.Horn{ID: v.id(), Maker: maker, Model: model, Serial: serial, BoreMM: []float64{0, 11.68, 11.73, 11.8}[v.IntN(4)], Owner: band,
		Revision: catalog.Revision{Contributor: band + " keeper"}}
	h.Key = []pitch.Key{pitch.KeyBb, pitch.KeyBb, pitch.KeyBb, pitch.KeyC}[v.IntN(4)]
	h.Label = v.label("h", label, h.ID)
	h.Normalize()
	v.horns = append(v.horns, h)
	v.enter(h.ID, twice)
	if !twice {
		return
	}
	t := h
	t.ID, t.Serial = v.id(), again
	t.Maker, t.Model = v.otherwise(maker), v.otherwise(model)
	if v.chance(12) {
		t.Maker, t.Model = "", t.Maker+" "+t.Model
	} else if v.chance(12) {
		t.Maker = ""
	}
	t.Owner, t.Contributor = v.pick(band, band, "", "reed-otter"), v.pick("reed-otter", "blue-kite")
	if t.BoreMM != 0 && v.chance(50) {
		t.BoreMM += []float64{0, 0.02, -0.02}[v.IntN(3)]
	}
	switch {
	case tells && v.chance(50):
		label = v.pick("my horn", "trumpet", t.Maker+" "+t.Model, "school horn")
	case v.chance(40):
		label = v.pick(label+" of "+band, "old "+label, label+" (school)")
	default:
		label = v.otherwise(label)
	}
	t.Label = v.label("h", label, t.ID)
	t.Normalize()
	v.horns = append(v.horns, t)
	v.thing[string(t.ID)] = v.things
}

// batch is a cupboard of horns of one design, named after trees, or numbered: none
// is entered twice. Few have their serial number written down.
func (v *inventor) batch() {
	maker, model, band := v.of(makers), strings.TrimSpace(v.of(birds)+" "+v.of(marks)), v.of(bands)
	numbered := v.chance(30)
	for i := range 4 + v.IntN(8) {
		v.things++
		h := catalog.Horn{ID: v.id(), Maker: maker, Model: model, BoreMM: 11.68, Owner: band, Revision: catalog.Revision{Contributor: band + " keeper"}}
		label := trees[(i*7)%len(trees)]
		if numbered {
			label = fmt.Sprint("No. ", i+1)
		}
		if v.chance(20) {
			h.Serial = v.digits(5)
		}
		h.Label = v.label("h", label, h.ID)
		h.Normalize()
		v.horns = append(v.horns, h)
		v.enter(h.ID, false)
	}
}

func (v *inventor) mouthpiece(twice bool) {
	v.things++
	maker, model := v.of(makers), strings.TrimSpace(v.of(birds)+" "+v.of(marks))
	serial, again, tells := v.serials(25)
	label := v.pick(model, model+" "+v.of(trees), v.of(trees)+"'s mouthpiece", fmt.Sprint("drawer ", 1+v.IntN(300)))
	band := v.of(bands)
	rim := 15.8 + float64(v.IntN(12))/10
	m := catalog.Mouthpiece{ID: v.id(), Maker: maker, Model: model, Serial: serial, RimMM: rim, ThroatMM: 3.5 + float64(v.IntN(6))/20, Owner: band,
		Revision: catalog.Revision{Contributor: band + " keeper"}}
	m.Label = v.label("m", label, m.ID)
	m.Normalize()
	v.mouthpieces = append(v.mouthpieces, m)
	v.enter(m.ID, twice)
	if !twice {
		return
	}
	t := m
	t.ID, t.Serial = v.id(), again
	t.Maker, t.Model = v.otherwise(maker), v.otherwise(model)
	t.Owner, t.Contributor = v.pick(band, "", "reed-otter"), v.pick("reed-otter", "blue-kite")
	if v.chance(50) {
		t.RimMM, t.ThroatMM = 0, 0
	} else {
		t.RimMM += []float64{0, 0.05, -0.05}[v.IntN(3)]
	}
	if tells && v.chance(50) {
		label = v.pick("mouthpiece", "the deep one")
	} else {
		label = v.otherwise(label)
	}
	t.Label = v.label("m", label, t.ID)
	t.Normalize()
	v.mouthpieces = append(v.mouthpieces, t)
	v.thing[string(t.ID)] = v.things
}

func (in *invention) find(tb testing.TB) []twins.Proposal {
	tb.Helper()
	out, err := twins.Find(tb.Context(), twins.Question{Horns: in.horns, Mouthpieces: in.mouthpieces})
	if err != nil {
		tb.Fatal(err)
	}
	return out
}

// judge counts which proposals are right.
func (in *invention) judge(list []twins.Proposal) (right, wrong int, mistakes []twins.Proposal) {
	for _, p := range list {
		switch {
		case p.Kind.OfDesign():
		case in.thing[p.Alias] == in.thing[p.Kept]:
			right++
		default:
			wrong++
			mistakes = append(mistakes, p)
		}
	}
	return right, wrong, mistakes
}
