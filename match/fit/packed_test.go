package fit

import (
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
)

func drawRecord(t *rapid.T) itemRecord {
	r := itemRecord{
		Item:   Item{catalog.ID(rapid.String().Draw(t, "id")), rapid.String().Draw(t, "label")},
		Design: rapid.String().Draw(t, "design"), Part: rapid.Int32().Draw(t, "part"),
		Sessions: rapid.Int().Draw(t, "sessions"), DesignSessions: rapid.Int().Draw(t, "of the design"),
		HasDimensions: rapid.Bool().Draw(t, "dimensions known"),
	}
	if r.HasDimensions {
		for i := range r.Dimensions {
			r.Dimensions[i] = rapid.Float64().Draw(t, "dimension")
		}
	}
	return r
}

// What is packed comes back; cut short it is refused.
func TestPackedRecords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		items := rapid.SliceOf(rapid.Custom(drawRecord)).Draw(t, "items")
		var horns []hornRecord
		for i, r := range items {
			horns = append(horns, hornRecord{r, i - 3, 7 * i})
		}
		text := packItems(items)
		back, err := unpackItems(text)
		if err != nil || len(back) != len(items) || len(items) > 0 && !reflect.DeepEqual(back, items) {
			t.Fatalf("%v came back as %v, %v", items, back, err)
		}
		hornsBack, err := unpackHorns(packHorns(horns))
		if err != nil || len(horns) > 0 && !reflect.DeepEqual(hornsBack, horns) {
			t.Fatalf("%v came back as %v, %v", horns, hornsBack, err)
		}
		cut := rapid.IntRange(0, len(text)-1).Draw(t, "cut")
		if _, err := unpackItems(text[:cut]); err == nil {
			t.Fatalf("%d of %d bytes are taken for the whole", cut, len(text))
		}
	})
}

// Any bytes are records or an error, and records pack again.
func FuzzPackedRecords(f *testing.F) {
	f.Add(packItems([]itemRecord{{Item: Item{"01", "Plover 16.2"}, Sessions: 3}, {Item: Item{"02", ""}, HasDimensions: true}}))
	f.Add([]byte{})
	f.Add([]byte{0xff, 0xff, 0xff, 0xff, 0x0f})
	f.Fuzz(func(t *testing.T, text []byte) {
		items, err := unpackItems(text)
		if err != nil {
			return
		}
		back, err := unpackItems(packItems(items))
		if err != nil || len(back) != len(items) {
			t.Fatalf("%q unpacks, but not what it packs to: %v", text, err)
		}
	})
}
