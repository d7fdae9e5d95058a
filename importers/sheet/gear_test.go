package sheet

import (
	"reflect"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

func TestGearList(t *testing.T) {
	m := &memory{}
	r := m.mustLoad(t, Options{Contributor: "lamp-keeper"}, `Kind,label,maker,model,serial,key,instrument,valves,receiver,shank,bore_mm,rim_mm,cup_cm3,cup_depth_mm,throat_mm,throat_length_mm,backbore_mm,Backbore Character,length_mm,throw1_mm,throw3_mm,loaner,stock,tags,owner,level,rim_min_mm,rim_max_mm,cup_min_cm3,cup_max_cm3,tolerance_cents,range_low,range_high,retired
horn,Alder,Tidewright,Bay,7,C,Trumpet,,,,11.7,,,,,,,,,20,15,yes,,"loan; brass, red",band room,,,,,,,,,
HORN,Wren,Northlamp,,,e-flat,piccolo,,,,,,,,,,,,,,,,,,,,,,,,,,,yes
mouthpiece,Plover 16.2,,,,,,,,cornet,,16.2,1.2,11,3.65,4,8.8,wide,86,,,,"Pier Street,cupboard",soft,reed-otter,,,,,,,,,no
player,reed-otter,,,,,,,,,,,,,,,,,,,,,,,,advanced,16,17,1,1.5,8,F♯3,C6,
`)
	if want := (Report{Horns: []string{"Alder", "Wren"}, Mouthpieces: []string{"Plover 16.2"}, Players: []string{"reed-otter"}}); !reflect.DeepEqual(*r, want) {
		t.Errorf("report %+v, want %+v", *r, want)
	}
	alder := catalog.Horn{Label: "Alder", Maker: "Tidewright", Model: "Bay", Serial: "7", Instrument: catalog.Trumpet, Key: pitch.KeyC, Valves: 3,
		Receiver: catalog.ShankTrumpet, BoreMM: 11.7, Throw1MM: 20, Throw3MM: 15, Loaner: true, Owner: "band room", Tags: []string{"brass", "loan", "red"}}
	wren := catalog.Horn{Label: "Wren", Maker: "Northlamp", Instrument: catalog.Piccolo, Key: pitch.KeyEb, Valves: 4, Receiver: catalog.ShankTrumpet}
	plover := catalog.Mouthpiece{Label: "Plover 16.2", Shank: catalog.ShankCornet, RimMM: 16.2, CupCM3: 1.2, CupDepthMM: 11, ThroatMM: 3.65, ThroatLengthMM: 4,
		BackboreMM: 8.8, BackboreCharacter: "wide", LengthMM: 86, Owner: "reed-otter", Stock: []string{"Pier Street", "cupboard"}, Tags: []string{"soft"}}
	otter := catalog.Player{Label: "reed-otter", Level: "advanced", RimMinMM: 16, RimMaxMM: 17, CupMinCM3: 1, CupMaxCM3: 1.5, ToleranceCents: 8,
		RangeLow: pitch.RangeLow, RangeHigh: pitch.RangeHigh}
	alder.ID, alder.Revision = m.horns[0].ID, catalog.Revision{Number: 1, At: m.horns[0].At, Contributor: "lamp-keeper"}
	wren.ID, wren.Revision = m.horns[1].ID, alder.Revision
	wren.Retired = true
	plover.ID, plover.Revision = m.mouthpieces[0].ID, alder.Revision
	otter.ID, otter.Revision = m.players[0].ID, alder.Revision
	want := &memory{horns: []catalog.Horn{alder, wren}, mouthpieces: []catalog.Mouthpiece{plover}, players: []catalog.Player{otter}}
	if !reflect.DeepEqual(m, want) {
		t.Errorf("catalog\n%+v, want\n%+v", *m, *want)
	}
}

// Columns that a list has not got stay as they are; an empty cell is not known.
func TestGearUpdate(t *testing.T) {
	const changed = "kind,label,maker,throw3_mm,owner\nhorn,Alder,Tidewright,,band room\nhorn,Rowan,Tidewright,,\n"
	m := bay(t)
	refused(t, m, Options{}, []File{text("gear.csv", changed)},
		[]string{`gear.csv:2: label "Alder" is a horn in the catalog already, and the row says otherwise of its throw3_mm, owner|--update`})
	r, err := m.load(Options{Update: true, Contributor: "lamp-keeper"}, text("gear.csv", changed))
	if err != nil {
		t.Fatal(err)
	}
	if want := (Report{Updated: []string{"horn Alder"}, GearUnchanged: 1}); !reflect.DeepEqual(*r, want) {
		t.Errorf("report %+v, want %+v", *r, want)
	}
	alder := m.horns[0]
	if alder.Number != 2 || alder.Contributor != "lamp-keeper" || alder.Throw3MM != 0 || alder.Owner != "band room" || alder.Model != "Bay" {
		t.Errorf("horn %+v", alder)
	}
}

// New weights alone make a new revision; a list without them leaves them.
func TestWeightsInGearLists(t *testing.T) {
	m := bay(t)
	const weights = "kind,label,weights\nplayer,reed-otter,D4=3 C4=12.5\n"
	refused(t, m, Options{}, []File{text("gear.csv", weights)}, []string{`gear.csv:2: label "reed-otter" is a player in the catalog already, and the row says otherwise of its weights|--update`})
	for _, step := range []struct {
		list      string
		unchanged int
	}{{weights, 0}, {"kind,label,weights\nplayer,reed-otter,C4=12.50 D4=3\n", 1}, {"kind,label,level\nplayer,reed-otter,third year\n", 0}} {
		r, err := m.load(Options{Update: true}, text("gear.csv", step.list))
		if err != nil || r.GearUnchanged != step.unchanged {
			t.Fatalf("%q: report %+v, error %v", step.list, r, err)
		}
		if w := m.players[0].Weights; len(w) != 2 || w[60] != 12.5 || w[62] != 3 {
			t.Errorf("%q: weights %v", step.list, w)
		}
	}
	if _, err := m.load(Options{Update: true}, text("gear.csv", "kind,label,weights\nplayer,reed-otter,\n")); err != nil || m.players[0].Weights != nil {
		t.Errorf("emptied: %v, error %v", m.players[0].Weights, err)
	}
	refused(t, m, Options{Update: true}, []File{text("gear.csv", "kind,label,weights,rim_mm\nplayer,a,C4=x,\nplayer,b,C4=-1,\nhorn,c,C4=1,\n")},
		[]string{`gear.csv:2: weights "C4=x" cannot be read: the weight of C4|decimal point`, `gear.csv:3: weights "C4=-1"|below nought`, `gear.csv:4: weights "C4=1" does not apply to a horn`})
}

func TestGearAgainChangesNothing(t *testing.T) {
	m := bay(t)
	gear, _ := m.exported(t)
	r, err := m.load(Options{}, text("gear.csv", string(gear)))
	if err != nil || r.GearUnchanged != 8 || len(r.Horns)+len(r.Updated) != 0 {
		t.Errorf("report %+v, %v", r, err)
	}
}

func TestGearRefusals(t *testing.T) {
	for _, tc := range []struct {
		name, content string
		want          []string
	}{
		{"no kind", "label,maker\nLarch,Tidewright\n", []string{`sheet.csv:1: kind is a column that is missing`}},
		{"no label", "kind,maker\nhorn,Tidewright\n", []string{`label is a column that is missing`}},
		{"unknown column", "kind,label,bore\nhorn,Larch,11.7\n", []string{`has a column "bore", which is not known in a gear list (did you mean bore_mm?`}},
		{"bad kind", "kind,label\ntrumpet,Larch\n,Larch\n", []string{`sheet.csv:2: kind "trumpet" is no kind of gear`, "sheet.csv:3: kind is empty"}},
		{"empty label", "kind,label\nhorn,\n", []string{"sheet.csv:2: label is empty"}},
		{"listed twice", "kind,label\nhorn,Larch\nmouthpiece,Larch\nhorn,Larch\n", []string{`sheet.csv:4: label "Larch" is a horn listed twice, first in sheet.csv:2`}},
		{"listed twice, there already", "kind,label\nhorn,Alder\nhorn,Alder\n", []string{`sheet.csv:3: label "Alder" is a horn listed twice, first in sheet.csv:2`}},
		{"differs by case", "kind,label\nhorn,alder\n", []string{`label "alder" differs from the horn "Alder" only by case`}},
		{"other kind's column", "kind,label,rim_mm\nhorn,Larch,16\n", []string{`rim_mm "16" does not apply to a horn`}},
		{"bad cells", "kind,label,key,valves,instrument,bore_mm,loaner\nhorn,Larch,H,5,tuba,wide,perhaps\n",
			[]string{`instrument "tuba" is not one of trumpet, cornet`, `key "H" is not a key`, `valves "5" is not a number of valves`, `bore_mm "wide" is not a number`, `loaner "perhaps" is neither`}},
		{"bad note", "kind,label,range_low\nplayer,grey-heron,low\n", []string{`range_low "low" is not a note`}},
		{"out of range", "kind,label,rim_mm,throat_mm,backbore_character\nmouthpiece,Avocet,0.65,27,\"a\u200bb\"\n",
			[]string{`rim_mm "0.65" is 0.65, outside 12..22 mm (it looks like inches: write 16.51 mm)`, `throat_mm "27"`, `backbore_character|invisible character`}},
		{"decimal comma", "kind,label,bore_mm,tags\nhorn,Larch,11,7,red\n", []string{"has 5 cells where the header has 4 (a decimal comma, as in 11,7"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := bay(t).load(Options{}, text("sheet.csv", tc.content))
			ps, ok := err.(*Problems)
			if !ok || len(ps.List) != len(tc.want) {
				t.Fatalf("want %d problems, got %v", len(tc.want), err)
			}
			for i, w := range tc.want {
				if !strings.Contains(ps.List[i].String(), strings.Split(w, "|")[0]) {
					t.Errorf("problem %d is\n  %s\nwhich does not say\n  %s", i+1, ps.List[i], w)
				}
			}
		})
	}
}

func TestGearFieldsAreColumns(t *testing.T) {
	used := map[string]bool{"kind": true}
	for _, f := range hornFields {
		used[f.column] = true
	}
	for _, f := range mouthpieceFields {
		used[f.column] = true
	}
	for _, f := range playerFields {
		used[f.column] = true
	}
	for _, column := range GearColumns() {
		if !used[column] {
			t.Errorf("the column %s belongs to no kind", column)
		}
		delete(used, column)
	}
	if len(used) != 0 {
		t.Errorf("%v are not among the columns of gear lists", used)
	}
}
