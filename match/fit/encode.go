package fit

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/gob"
	"math"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// formatVersion of the stored sections; another one means fitting anew.
const formatVersion = 1

// sectionModel holds everything but the tables.
const sectionModel = "model"

// storedModel is the section "model".
type storedModel struct {
	Seed        uint64
	At          time.Time
	Report      Report
	Components  Components
	Slots       []pitch.Slot
	Horns       []hornRecord
	Mouthpieces []itemRecord
	Players     []itemRecord
	Pairs       []int32 // horn, mouthpiece, sessions in turn
}

// tableNames are the sections of the tables.
var tableNames = [effects]string{"common", "horn", "mouthpiece", "mouthpiece slots", "player", "player slots", "pair"}

func saveModel(ctx context.Context, store catalog.Store, m *Model) error {
	s := storedModel{m.Seed, m.At, m.Report, m.Components, m.slots, m.horns, m.mouthpieces, m.players, nil}
	for _, p := range m.pairs {
		s.Pairs = append(s.Pairs, p.horn, p.mouthpiece, p.sessions)
	}
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(s); err != nil {
		return err
	}
	f := catalog.StoredFit{Digest: m.Digest, Version: formatVersion, At: m.At, Sections: map[string][]byte{sectionModel: b.Bytes()}}
	for i, name := range tableNames {
		f.Sections[name] = m.tables[i].encode()
	}
	return store.SaveFit(ctx, f)
}

// loadModel reads the stored fit if it was made from data with this digest.
func loadModel(ctx context.Context, store catalog.Store, digest string) (*Model, error) {
	f, err := store.LoadFit(ctx)
	if err != nil {
		return nil, err
	}
	stale := catalog.Errorf(catalog.NotFound, "run centwise fit", "the stored fit is not of these data")
	if f.Digest != digest || f.Version != formatVersion {
		return nil, stale
	}
	var s storedModel
	if err := gob.NewDecoder(bytes.NewReader(f.Sections[sectionModel])).Decode(&s); err != nil {
		return nil, stale
	}
	m := &Model{Digest: f.Digest, At: s.At, Seed: s.Seed, Report: s.Report, Components: s.Components,
		slots: s.Slots, horns: s.Horns, mouthpieces: s.Mouthpieces, players: s.Players}
	for i := 0; i+2 < len(s.Pairs); i += 3 {
		m.pairs = append(m.pairs, pairRecord{s.Pairs[i], s.Pairs[i+1], s.Pairs[i+2]})
	}
	for i, name := range tableNames {
		if !m.tables[i].decode(f.Sections[name]) {
			return nil, stale
		}
	}
	m.index()
	return m, nil
}

// encode writes a table in little-endian order: width, draws, items, means as
// 64-bit and deviations as 32-bit floats.
func (t *table) encode() []byte {
	out := make([]byte, 0, 12+8*len(t.Mean)+4*len(t.Deviations))
	for _, v := range []int{t.Width, t.Draws, t.items()} {
		out = binary.LittleEndian.AppendUint32(out, uint32(v))
	}
	for _, v := range t.Mean {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
	}
	for _, v := range t.Deviations {
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(v))
	}
	return out
}

// decode reads what encode wrote; false if the bytes are not a whole table.
func (t *table) decode(b []byte) bool {
	if len(b) < 12 {
		return false
	}
	width, draws := int(binary.LittleEndian.Uint32(b)), int(binary.LittleEndian.Uint32(b[4:]))
	items := int(binary.LittleEndian.Uint32(b[8:]))
	b = b[12:]
	if len(b) != 8*items*width+4*items*draws*width {
		return false
	}
	*t = newTable(items, width, draws)
	for i := range t.Mean {
		t.Mean[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
	}
	b = b[8*len(t.Mean):]
	for i := range t.Deviations {
		t.Deviations[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
	}
	return true
}
