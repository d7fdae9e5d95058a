package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Options decide a world. Look is how many mouthpieces a player of the harder
// kind tries before keeping the one that suits the horn best; 0 is the default
// of 12, 1 pairs at random. Sessions is how many there are; 0 is what the size
// has. Even gives all horns as many of them, and all mouthpieces and players,
// where else half of these have one and a few very many.
type Options struct {
	Kind     Kind
	Size     Size
	Seed     uint64
	Look     int
	Sessions int
	Even     bool
}

// Generate makes a world of the given kind and size. It panics on a kind or
// size that is not listed.
func Generate(kind Kind, size Size, seed uint64) *World {
	return GenerateWith(Options{Kind: kind, Size: size, Seed: seed})
}

// GenerateWith is [Generate] with all options. It panics too when there are too
// few sessions for the items.
func GenerateWith(o Options) *World {
	p, ok := plans[o.Kind][o.Size]
	if o.Size == Scaled {
		p, ok = planFor(o.Sessions), o.Kind == Plain && o.Sessions > 0
	}
	if !ok {
		panic(fmt.Sprintf("simulate: no catalog of kind %q and size %q", o.Kind, o.Size))
	}
	if o.Sessions > 0 {
		p.sessions = o.Sessions
	}
	if o.Look == 0 {
		o.Look = 1
		if o.Kind == Harder {
			o.Look = 12
		}
	}
	w := &World{Kind: o.Kind, Size: o.Size, Seed: o.Seed, nature: newNature(o.Kind, o.Seed), HeldOut: map[Stratum][]Pair{}}
	w.makeItems(p)
	w.makeContributors(p)
	w.makePlayers(p)
	w.makeSessions(p, o)
	if o.Kind == Harder {
		w.addUnmeasured()
	}
	w.holdOut(p)
	return w
}

// makeItems draws the measured horns and mouthpieces and puts them into parts.
func (w *World) makeItems(p plan) {
	islands := islandCount(p.horns)
	hornDesigns := w.drawDesigns("horn", p.hornDesigns)
	mouthpieceDesigns := w.drawDesigns("mouthpiece", p.mouthpieceDesigns)
	copies := stream(w.Seed, "copies")
	for part, n := range partSizes(p.horns, islands) {
		for range n {
			item := w.newItem("horn", len(w.Horns), hornDesigns, pickDesign(copies, len(hornDesigns), len(w.Horns)))
			item.Part = part
			w.Horns = append(w.Horns, item)
		}
	}
	for part, n := range partSizes(p.mouthpieces, islands) {
		for range n {
			item := w.newItem("mouthpiece", len(w.Mouthpieces), mouthpieceDesigns, pickDesign(copies, len(mouthpieceDesigns), len(w.Mouthpieces)))
			item.Part = part
			w.Mouthpieces = append(w.Mouthpieces, item)
		}
	}
	shuffleDesigns(stream(w.Seed, "spread horn designs"), w.Horns)
	shuffleDesigns(stream(w.Seed, "spread mouthpiece designs"), w.Mouthpieces)
}

// pickDesign gives each design its first copy in turn, and further copies to
// designs of low number more often. -1 where there are no designs.
func pickDesign(rng *rand.Rand, designs, item int) int {
	if designs == 0 || item < designs {
		return min(item, designs-1)
	}
	return int(float64(designs) * math.Pow(rng.Float64(), 1.7))
}

// shuffleDesigns deals the items' natures out anew, so that the parts hold
// copies of the same designs; labels and parts stay.
func shuffleDesigns(rng *rand.Rand, items []Item) {
	rng.Shuffle(len(items), func(i, j int) {
		items[i], items[j] = items[j], items[i]
		items[i].Label, items[j].Label = items[j].Label, items[i].Label
		items[i].Part, items[j].Part = items[j].Part, items[i].Part
	})
}

// design is what copies share.
type design struct {
	maker, model string
	dimensions   *Dimensions
	known        bool
	truth        []float64
}

// makers are invented.
var makers = []string{"Tidewright", "Northlamp", "Saltmarsh", "Harrowgate Quay", "Fenlight"}

func (w *World) drawDesigns(what string, count int) []design {
	out := make([]design, count)
	for i := range out {
		out[i] = w.drawDesign(what, i)
	}
	return out
}

func (w *World) drawDesign(what string, number int) design {
	rng := stream(w.Seed, what+" design", uint64(number))
	d := design{
		maker: makers[rng.IntN(len(makers))],
		model: fmt.Sprintf("%s design %d", what, number+1),
		truth: make([]float64, len(Slots)),
	}
	if what == "horn" {
		w.nature.process[OfHornDesign].draw(rng, d.truth)
		return d
	}
	dims := drawDimensions(rng)
	d.dimensions, d.known = &dims, rng.Float64() < 0.7
	copy(d.truth, w.DimensionEffect(dims))
	w.nature.process[OfMouthpieceRest].draw(rng, d.truth)
	return d
}

// newItem draws a specimen of one of the designs, or, when there are none, an
// item of its own.
func (w *World) newItem(what string, number int, designs []design, chosen int) Item {
	component, letter := OfHornSpecimen, "H"
	if what == "mouthpiece" {
		component, letter = OfMouthpieceSpecimen, "M"
	}
	item := Item{Label: fmt.Sprintf("%s%04d", letter, number+1), Design: chosen, Part: -1, Truth: make([]float64, len(Slots))}
	w.nature.process[component].draw(stream(w.Seed, what, uint64(number)), item.Truth)
	if chosen < 0 {
		return item
	}
	d := designs[chosen]
	item.Maker, item.Model, item.Dimensions, item.Known = d.maker, d.model, d.dimensions, d.known
	item.DesignTruth = d.truth
	for j, x := range d.truth {
		item.Truth[j] += x
	}
	return item
}

// makeContributors gives everybody the same noise in the plain kind, and a
// tuner, a noise and a rounding of their own in the harder one.
func (w *World) makeContributors(p plan) {
	rng := stream(w.Seed, "contributors")
	for i := range p.contributors {
		c := Contributor{Label: fmt.Sprintf("C%04d", i+1), NoiseSD: PlainNoiseSD, Step: 0.1}
		if w.Kind == Harder {
			c.Tuner = TunerSD * rng.NormFloat64()
			c.NoiseSD = 2 + 4*rng.Float64()
			c.Step = []float64{0.5, 1}[rng.IntN(2)]
		}
		w.Contributors = append(w.Contributors, c)
	}
}

func (w *World) makePlayers(p plan) {
	rng := stream(w.Seed, "players")
	for part, n := range partSizes(p.players, islandCount(p.horns)) {
		for range n {
			player := Player{
				Label:       fmt.Sprintf("P%05d", len(w.Players)+1),
				Contributor: rng.IntN(len(w.Contributors)),
				Part:        part,
				Truth:       make([]float64, len(Slots)),
			}
			w.nature.process[OfPlayer].draw(rng, player.Truth)
			w.Players = append(w.Players, player)
		}
	}
}
