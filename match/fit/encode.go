package fit

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"encoding/gob"
	"fmt"
	"math"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// formatVersion of the stored sections; another one means fitting anew.
const formatVersion = 3

// sectionModel holds everything but the tables.
const sectionModel = "model"

// storedModel is the section "model".
type storedModel struct {
	Seed         uint64
	At           time.Time
	Report       Report
	Components   Components
	Slots        []pitch.Slot
	Horns        []hornRecord
	Mouthpieces  []itemRecord
	Players      []itemRecord
	Pairs        []int32 // horn, mouthpiece, sessions, place in turn
	Sources      []Source
	Learned      []learnedLevel
	Last         int64 // sequence of the last session that went in
	Width, Items [effects]int
}

// tableNames begin the names of the tables' sections.
var tableNames = [effects]string{"common", "horn", "mouthpiece", "mouthpiece slots", "player", "player slots", "pair"}

func sectionName(e effect, part int) string { return fmt.Sprintf("%s/%d", tableNames[e], part) }

// learnedLevel is a level's learned covariance, p x p.
type learnedLevel struct {
	Name       string
	P          int
	Covariance []float64
}

func saveModel(ctx context.Context, store catalog.Store, m *Model) error {
	f := catalog.StoredFit{Digest: m.Digest, Version: formatVersion, At: m.At, Sections: map[string][]byte{}}
	for e := range effects {
		t := &m.tables[e]
		for i := range t.parts {
			f.Sections[sectionName(e, i)] = t.parts[i].Load().encode()
		}
	}
	var err error
	if f.Sections[sectionModel], err = m.encode(); err != nil {
		return err
	}
	return store.SaveFit(ctx, f)
}

// encode writes the section "model".
func (m *Model) encode() ([]byte, error) {
	s := storedModel{Seed: m.Seed, At: m.At, Report: m.Report, Components: m.Components, Slots: m.slots,
		Horns: m.horns, Mouthpieces: m.mouthpieces, Players: m.players,
		Sources: m.sources, Learned: m.learned, Last: m.last}
	for _, p := range m.pairs {
		s.Pairs = append(s.Pairs, p.horn, p.mouthpiece, p.sessions, p.at)
	}
	for e := range effects {
		s.Width[e], s.Items[e] = m.tables[e].width, m.tables[e].items
	}
	var b bytes.Buffer
	err := gob.NewEncoder(&b).Encode(s)
	return b.Bytes(), err
}

var errStale = catalog.Errorf(catalog.NotFound, "run centwise fit", "the stored fit is not of these data")

// errDamaged says that the model is sound but a table behind it is not; it is up
// to date, so it takes more than a plain fit to have it made again.
var errDamaged = catalog.Errorf(catalog.NotFound, "make it again with: centwise fit --again", "the stored fit is damaged")

// loadModel opens the stored fit; its tables are read as they are asked for.
func loadModel(ctx context.Context, store catalog.Store) (*Model, error) {
	f, err := store.LoadFit(ctx, sectionModel)
	if err != nil {
		return nil, err
	}
	if f.Version != formatVersion {
		return nil, errStale
	}
	var s storedModel
	if err := gob.NewDecoder(bytes.NewReader(f.Sections[sectionModel])).Decode(&s); err != nil {
		return nil, errStale
	}
	m := &Model{Digest: f.Digest, At: s.At, Seed: s.Seed, Report: s.Report, Components: s.Components,
		slots: s.Slots, horns: s.Horns, mouthpieces: s.Mouthpieces, players: s.Players,
		sources: s.Sources, learned: s.Learned, last: s.Last, storedAt: f.At}
	m.Components.factorSession()
	for i := 0; i+3 < len(s.Pairs); i += 4 {
		m.pairs = append(m.pairs, pairRecord{s.Pairs[i], s.Pairs[i+1], s.Pairs[i+2], s.Pairs[i+3]})
	}
	for e := range effects {
		m.tables[e] = emptyTable(s.Items[e], s.Width[e], s.Report.Draws)
	}
	m.read = func(section string) ([]byte, error) {
		f, err := store.LoadFit(context.WithoutCancel(ctx), section)
		if err != nil {
			return nil, err
		}
		if f.Digest != m.Digest || !f.At.Equal(m.storedAt) {
			return nil, catalog.Errorf(catalog.Conflict, "run the command again", "the catalog was fitted anew meanwhile")
		}
		return f.Sections[section], nil
	}
	m.index()
	if err := m.fetchPart(effectCommon, 0); err != nil {
		return nil, err
	}
	return m, nil
}

// fetch reads the parts of the tables that a setup needs.
func (m *Model) fetch(p setupPlace) error {
	return cmp.Or(m.fetchItem(p.horn, effectHorn), m.fetchItem(p.mouthpiece, effectMouthpiece, effectMouthpieceSlots),
		m.fetchItem(p.player, effectPlayer, effectPlayerSlots), m.fetchItem(p.pair, effectPair))
}

// fetchItem reads the parts that hold an item of some tables; -1 is no item.
func (m *Model) fetchItem(item int, tables ...effect) error {
	for _, e := range tables {
		if item < 0 || m.tables[e].items == 0 {
			continue
		}
		if err := m.fetchPart(e, item/partItems); err != nil {
			return err
		}
	}
	return nil
}

// fetchPart reads one part of a table unless it is there.
func (m *Model) fetchPart(e effect, i int) error {
	t := &m.tables[e]
	if t.parts[i].Load() != nil {
		return nil
	}
	b, err := m.read(sectionName(e, i))
	if catalog.KindOf(err) == catalog.NotFound {
		return errDamaged
	}
	if err != nil {
		return err
	}
	p := decodePart(b, t.partLength(i), t.width, t.draws)
	if p == nil {
		return errDamaged
	}
	t.parts[i].Store(p)
	return nil
}

// encode writes a part in little-endian order: the means as 64-bit, then the
// deviations as 32-bit floats.
func (p *part) encode() []byte {
	out := make([]byte, 0, 8*len(p.mean)+4*len(p.deviations))
	for _, v := range p.mean {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
	}
	for _, v := range p.deviations {
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(v))
	}
	return out
}

// decodePart reads what encode wrote; nil if the bytes are not such a part.
func decodePart(b []byte, items, width, draws int) *part {
	if len(b) != items*width*(8+4*draws) {
		return nil
	}
	p := &part{make([]float64, items*width), make([]float32, items*draws*width)}
	for i := range p.mean {
		p.mean[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
	}
	b = b[8*len(p.mean):]
	for i := range p.deviations {
		p.deviations[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
	}
	return p
}
