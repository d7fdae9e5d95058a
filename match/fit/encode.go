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
const formatVersion = 8

// Names of the sections that are not tables. The records of players are read when
// somebody asks: there are many, and most questions are about a typical one.
const (
	sectionModel       = "model"
	sectionHorns       = "horns"
	sectionMouthpieces = "mouthpieces"
	sectionPairs       = "pairs"
	sectionPlayers     = "players"
)

// storedModel is the section "model".
type storedModel struct {
	Seed         uint64
	At           time.Time
	Report       Report
	Components   Components
	Slots        []pitch.Slot
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
		Sources: m.sources, Learned: m.learned, Last: m.last}
	for e := range effects {
		s.Width[e], s.Items[e] = m.tables[e].width, m.tables[e].items
	}
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(s); err != nil {
		return err
	}
	sections[sectionModel] = b.Bytes()
	sections[sectionHorns], sections[sectionMouthpieces] = packHorns(m.horns), packItems(m.mouthpieces)
	sections[sectionPairs], sections[sectionPlayers] = packPairs(m.pairs), packItems(m.players)
	return nil
}

var errStale = catalog.Errorf(catalog.NotFound, "run centwise fit", "the stored fit is not of these data")

// errDamaged says that the model is sound but a table behind it is not; it is up
// to date, so it takes more than a plain fit to have it made again.
var errDamaged = catalog.Errorf(catalog.NotFound, "make it again with: centwise fit --again", "the stored fit is damaged")

// loadModel opens the stored fit; its tables are read as they are asked for.
func loadModel(ctx context.Context, store catalog.Store) (*Model, error) {
	m := &Model{}
	var s storedModel
	err := store.LoadFit(ctx, func(f catalog.StoredFit, section string, body []byte) error {
		m.Digest, m.storedAt = f.Digest, f.At
		if f.Version != formatVersion || m.takeSection(&s, section, body) != nil {
			return errStale
		}
		return nil
	}, sectionModel, sectionHorns, sectionMouthpieces, sectionPairs)
	if err != nil {
		return nil, err
	}
	m.At, m.Seed, m.Report, m.Components = s.At, s.Seed, s.Report, s.Components
	m.slots, m.sources, m.learned, m.last = s.Slots, s.Sources, s.Learned, s.Last
	m.Components.factorSession()
	for e := range effects {
		m.tables[e] = emptyTable(s.Items[e], s.Width[e], s.Report.Draws)
	}
	m.read = func(take func(string, []byte) error, sections ...string) error {
		return store.LoadFit(context.WithoutCancel(ctx), func(f catalog.StoredFit, section string, body []byte) error {
			if f.Digest != m.Digest || !f.At.Equal(m.storedAt) {
				return catalog.Errorf(catalog.Conflict, "run the command again", "the catalog was fitted anew meanwhile")
			}
			return take(section, body)
		}, sections...)
	}
	m.index()
	if err := m.fetchItem(0, effectCommon); err != nil {
		return nil, err
	}
	return m, nil
}

// takeSection takes a section apart, one that is no table.
func (m *Model) takeSection(s *storedModel, section string, body []byte) (err error) {
	switch section {
	case sectionModel:
		err = gob.NewDecoder(bytes.NewReader(body)).Decode(s)
	case sectionHorns:
		m.horns, err = unpackHorns(body)
	case sectionMouthpieces:
		m.mouthpieces, err = unpackItems(body)
	case sectionPairs:
		m.pairs, err = unpackPairs(body)
	case sectionPlayers:
		m.players, err = unpackItems(body)
	}
	return err
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
		err := m.readWhole(func(section string, body []byte) error {
			p := some[slices.Index(names, section)]
			return m.tables[p.effect].take(p.part, body)
		}, names...)
		if err != nil {
			return err
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
		m.playersError = m.readWhole(func(section string, body []byte) error {
			if m.takeSection(nil, section, body) != nil || len(m.players) != m.tables[effectPlayer].items {
				return errDamaged
			}
			return nil
		}, sectionPlayers)
		m.indexPlayers()
	})
	return m.playersError
}

// readWhole reads sections, which are there in a fit that is not damaged.
func (m *Model) readWhole(take func(section string, body []byte) error, sections ...string) error {
	err := m.read(take, sections...)
	if catalog.KindOf(err) == catalog.NotFound {
		return errDamaged
	}
	return err
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
