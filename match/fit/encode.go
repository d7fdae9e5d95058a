package fit

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/gob"
	"fmt"
	"math"
	"slices"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// formatVersion of the stored sections; another one means fitting anew.
const formatVersion = 5

// sectionModel holds everything but the tables and the players, sectionPlayers the
// players: there are many, and most questions are about a typical one.
const (
	sectionModel   = "model"
	sectionPlayers = "players"
)

// storedModel is the section "model".
type storedModel struct {
	Seed         uint64
	At           time.Time
	Report       Report
	Components   Components
	Slots        []pitch.Slot
	Horns        packedHorns
	Mouthpieces  packedItems
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
	if err := m.encode(f.Sections); err != nil {
		return err
	}
	return store.SaveFit(ctx, f)
}

// encode writes the sections that are not tables.
func (m *Model) encode(sections map[string][]byte) error {
	s := storedModel{Seed: m.Seed, At: m.At, Report: m.Report, Components: m.Components, Slots: m.slots,
		Horns: m.horns, Mouthpieces: m.mouthpieces,
		Sources: m.sources, Learned: m.learned, Last: m.last}
	for _, p := range m.pairs {
		s.Pairs = append(s.Pairs, p.horn, p.mouthpiece, p.sessions, p.at)
	}
	for e := range effects {
		s.Width[e], s.Items[e] = m.tables[e].width, m.tables[e].items
	}
	for name, content := range map[string]any{sectionModel: s, sectionPlayers: packedItems(m.players)} {
		var b bytes.Buffer
		if err := gob.NewEncoder(&b).Encode(content); err != nil {
			return err
		}
		sections[name] = b.Bytes()
	}
	return nil
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
		slots: s.Slots, horns: s.Horns, mouthpieces: s.Mouthpieces,
		sources: s.Sources, learned: s.Learned, last: s.Last, storedAt: f.At}
	m.Components.factorSession()
	m.pairs = make([]pairRecord, 0, len(s.Pairs)/4)
	for i := 0; i+3 < len(s.Pairs); i += 4 {
		m.pairs = append(m.pairs, pairRecord{s.Pairs[i], s.Pairs[i+1], s.Pairs[i+2], s.Pairs[i+3]})
	}
	for e := range effects {
		m.tables[e] = emptyTable(s.Items[e], s.Width[e], s.Report.Draws)
	}
	m.read = func(sections ...string) (map[string][]byte, error) {
		f, err := store.LoadFit(context.WithoutCancel(ctx), sections...)
		if err != nil {
			return nil, err
		}
		if f.Digest != m.Digest || !f.At.Equal(m.storedAt) {
			return nil, catalog.Errorf(catalog.Conflict, "run the command again", "the catalog was fitted anew meanwhile")
		}
		return f.Sections, nil
	}
	m.index()
	if err := m.fetchItem(0, effectCommon); err != nil {
		return nil, err
	}
	return m, nil
}

// addSetup asks for the parts that a setup needs.
func (s *partSet) addSetup(m *Model, p setupPlace) {
	s.add(m, effectHorn, p.horn)
	s.add(m, effectMouthpiece, p.mouthpiece)
	s.add(m, effectMouthpieceSlots, p.mouthpiece)
	s.add(m, effectPlayer, p.player)
	s.add(m, effectPlayerSlots, p.player)
	s.add(m, effectPair, p.pair)
}

// fetchItem reads the parts that hold an item of some tables; -1 is no item.
func (m *Model) fetchItem(item int, tables ...effect) error {
	var parts partSet
	for _, e := range tables {
		parts.add(m, e, item)
	}
	return m.fetchParts(parts)
}

// tablePart names a part of a table.
type tablePart struct {
	effect effect
	part   int
}

// partSet is parts that are to be read, in the order in which they were asked for.
type partSet struct {
	list []tablePart
	have map[tablePart]bool
}

// add asks for the part with an item, unless there is none or it was read.
func (s *partSet) add(m *Model, e effect, item int) {
	t := &m.tables[e]
	if item < 0 || t.items == 0 {
		return
	}
	p := tablePart{e, item / t.together}
	if t.parts[p.part].Load() != nil || s.have[p] {
		return
	}
	if s.have == nil {
		s.have = map[tablePart]bool{}
	}
	s.have[p] = true
	s.list = append(s.list, p)
}

// readTogether is how many sections are read at a time: in one go it takes less
// time, one by one less memory.
const readTogether = 8

// fetchParts reads parts of tables.
func (m *Model) fetchParts(parts partSet) error {
	for some := range slices.Chunk(parts.list, readTogether) {
		var names []string
		for _, p := range some {
			names = append(names, sectionName(p.effect, p.part))
		}
		sections, err := m.readWhole(names...)
		if err != nil {
			return err
		}
		for i, p := range some {
			if err := m.tables[p.effect].take(p.part, sections[names[i]]); err != nil {
				return err
			}
		}
	}
	return nil
}

// ReadAhead reads what a stored fit says of all horns or of all mouthpieces, for
// those who know that they will ask for most of them and have something else to do
// meanwhile. What is not read ahead is read when it is asked for.
func (m *Model) ReadAhead(horns, mouthpieces bool) error {
	var parts partSet
	all := func(e effect) {
		for i := 0; i < m.tables[e].items; i += m.tables[e].together {
			parts.add(m, e, i)
		}
	}
	if horns {
		all(effectHorn)
	}
	if mouthpieces {
		all(effectMouthpiece)
		all(effectMouthpieceSlots)
	}
	return m.fetchParts(parts)
}

// take decodes a part.
func (t *table) take(i int, b []byte) error {
	p := decodePart(b, t.partLength(i), t.width, t.draws)
	if p == nil {
		return errDamaged
	}
	t.parts[i].Store(p)
	return nil
}

// fetchPlayers reads the players unless they are there.
func (m *Model) fetchPlayers() error {
	m.playersOnce.Do(func() {
		if m.read == nil {
			return // a fit made just now
		}
		var b map[string][]byte
		if b, m.playersError = m.readWhole(sectionPlayers); m.playersError != nil {
			return
		}
		if gob.NewDecoder(bytes.NewReader(b[sectionPlayers])).Decode((*packedItems)(&m.players)) != nil || len(m.players) != m.tables[effectPlayer].items {
			m.playersError = errDamaged
		}
		m.indexPlayers()
	})
	return m.playersError
}

// readWhole reads sections, which are there in a fit that is not damaged.
func (m *Model) readWhole(sections ...string) (map[string][]byte, error) {
	b, err := m.read(sections...)
	if catalog.KindOf(err) == catalog.NotFound {
		return nil, errDamaged
	}
	return b, err
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
