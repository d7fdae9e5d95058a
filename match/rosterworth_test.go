package match

import (
	"context"
	"slices"
	"testing"

	"centwise/catalog"
)

func TestOneMoreOfEach(t *testing.T) {
	a, b, c, d := horn("A"), horn("B"), horn("C"), horn("D")
	a.Maker, a.Model, a.Serial, a.Owner, a.Throw3MM = "Tidewright", "Skerry", "1", "reed-otter", 20
	b.Maker, b.Model = "TIDEWRIGHT ", "skerry" // the same, typed otherwise
	c.Maker, c.Model = "Northlamp", "Cove"
	m := mouthpiece("M")
	m.Model, m.Owner = "Plover", "blue-kite"
	horns, mouthpieces := OneMoreOfEach([]catalog.Horn{a, b, c, d}, []catalog.Mouthpiece{m, mouthpiece("N")}, catalog.Designs{})
	if len(horns) != 2 || len(mouthpieces) != 1 {
		t.Fatalf("%+v, %+v", horns, mouthpieces)
	}
	if h := horns[0]; h.Design() != a.Design() || h.ID == a.ID || h.Label == a.Label || h.Serial != "" || h.Owner != "" || h.Throw3MM != 20 || !h.Loaner || likeOf(h.Label) != "A" {
		t.Errorf("%+v", h)
	}
	if x := mouthpieces[0]; x.Owner != "" || x.RimMM != m.RimMM || x.ID == m.ID {
		t.Errorf("%+v", x)
	}
}

// What one more is worth is what a plan with it saves.
func TestWorthOfOneMore(t *testing.T) {
	e, q := class(4, 4)
	q.ChangeCents = 0.3
	better, worse := horn("better"), horn("worse")
	better.Maker, better.Model, worse.Model = "Tidewright", "Skerry", "Cove"
	horns, _ := OneMoreOfEach([]catalog.Horn{better, worse}, nil, catalog.Designs{})
	e.items[horns[0].ID], e.items[horns[1].ID] = nought, wave("worse", 60)
	piece := mouthpiece("piece")
	piece.Model = "Plover"
	_, mouthpieces := OneMoreOfEach(nil, []catalog.Mouthpiece{piece}, catalog.Designs{})
	e.items[mouthpieces[0].ID] = wave("piece", 2)
	list, err := WorthOfOneMore(context.Background(), e, q, horns, mouthpieces)
	if err != nil || len(list) != 3 {
		t.Fatalf("%+v, %v", list, err)
	}
	for _, w := range list {
		with := q
		switch w.Design {
		case "Tidewright Skerry":
			with.Horns = slices.Concat(q.Horns, horns[:1])
		case "Cove":
			with.Horns = slices.Concat(q.Horns, horns[1:])
		default:
			with.Spares = []Spare{{mouthpieces[0], 1}}
		}
		total := func(r *Roster) (sum float64) {
			for _, l := range r.Lines {
				sum += l.ErrorCents
				if l.Moved {
					sum += q.ChangeCents
				}
				if l.NowMouthpiece != l.Mouthpiece {
					sum += q.ChangeCents
				}
			}
			return sum
		}
		near(t, w.Design, w.TotalCents, total(planned(t, e, q))-total(planned(t, e, with)), 1e-9)
	}
	if first := list[0]; first.Design != "Tidewright Skerry" || first.Like != "better" || first.Kind != "horn" || first.TotalCents <= 0 || first.Who == "" || first.Different == 0 || first.Gain.Cents <= 0 {
		t.Errorf("first %+v", first)
	}
	if last := list[2]; last.Design == "Cove" && (last.TotalCents != 0 || last.Who != "" || last.Gain != (Gain{})) {
		t.Errorf("what nobody wants: %+v", last)
	}
	q.Horns = q.Horns[:3]
	list, err = WorthOfOneMore(context.Background(), e, q, horns, nil)
	if err != nil || list[0].Served != 1 || list[1].Served != 1 || list[0].Design != "Tidewright Skerry" || list[0].TotalCents != 0 {
		t.Errorf("with a horn too few: %+v, %v", list, err)
	}
}

func TestExtended(t *testing.T) {
	e := Extended{fakeStore{}, []catalog.Horn{horn("X")}, []catalog.Mouthpiece{mouthpiece("Y")}}
	horns, err := e.Horns(context.Background(), false)
	mouthpieces, err2 := e.Mouthpieces(context.Background(), false)
	if err != nil || err2 != nil || len(horns) != 2 || len(mouthpieces) != 1 || horns[1].Label != "X" {
		t.Errorf("%v %v %v %v", horns, mouthpieces, err, err2)
	}
}

// fakeStore has one horn.
type fakeStore struct{ catalog.Store }

func (fakeStore) Horns(context.Context, bool) ([]catalog.Horn, error) {
	return []catalog.Horn{horn("A")}, nil
}
func (fakeStore) Mouthpieces(context.Context, bool) ([]catalog.Mouthpiece, error) { return nil, nil }
