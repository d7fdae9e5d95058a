package fit

import (
	"cmp"
	"slices"
)

// Part is horns and mouthpieces that chains of sessions join, and no session
// joins to the rest; two specimens of a named design are in one part.
type Part struct {
	Sessions           int
	Horns, Mouthpieces []Item // measured ones, those with most sessions first
}

// Parts lists the parts that have sessions, the one with most sessions first.
func (m *Model) Parts() []Part {
	byPart := map[int32]*Part{}
	for _, p := range m.pairs {
		part := m.horns[p.horn].Record.Part
		if byPart[part] == nil {
			byPart[part] = &Part{}
		}
		byPart[part].Sessions += int(p.sessions)
	}
	collect := func(records []itemRecord, into func(*Part) *[]Item) {
		slices.SortFunc(records, func(a, b itemRecord) int {
			return cmp.Or(b.Sessions-a.Sessions, cmp.Compare(a.Label, b.Label))
		})
		for _, r := range records {
			if r.Sessions > 0 {
				list := into(byPart[r.Part])
				*list = append(*list, r.Item)
			}
		}
	}
	var horns []itemRecord
	for _, h := range m.horns {
		horns = append(horns, h.Record)
	}
	collect(horns, func(p *Part) *[]Item { return &p.Horns })
	collect(slices.Clone(m.mouthpieces), func(p *Part) *[]Item { return &p.Mouthpieces })
	out := make([]Part, 0, len(byPart))
	for _, p := range byPart {
		out = append(out, *p)
	}
	slices.SortFunc(out, func(a, b Part) int {
		return cmp.Or(b.Sessions-a.Sessions, cmp.Compare(a.Horns[0].Label, b.Horns[0].Label))
	})
	return out
}

// Sources lists whose readings the fit learned a noise of, in the order of
// Components.SourceNoise.
func (m *Model) Sources() []Source { return m.sources }
