package show

import (
	"fmt"
	"math"
	"strings"
)

// Heard is a tone of a recording as it is shown.
type Heard struct {
	File       string
	Number     int     // of those that count; 0 if it is rejected
	Start, End float64 // s
	Note       string  // written where the horn is known, else sounding
	Fingering  string
	Cents      float64
	Spread     float64
	Drift      float64
	Vibrato    float64 // cents to either side
	Grade      string
	Doubt      []string // what else it may be
	Reason     string   // why it is left out
	Contour    []HeardPoint
	SteadyPart [2]float64 // s; the same twice if there is none
}

// HeardPoint is the pitch at a moment, in semitones of sounding pitch (A4 = 69).
type HeardPoint struct{ Second, Semitone float64 }

// HeardTable lists what was heard in recordings.
func HeardTable(tones []Heard, severalFiles bool) *Table {
	t := &Table{Columns: []Column{
		{Title: "tone", Name: "tone", Right: true}, {Title: "at", Name: "start_s", Right: true}, {Title: "s", Name: "seconds", Right: true, Drop: 2},
		{Title: "note", Name: "note"}, {Title: "valves", Name: "fingering", Drop: 3}, {Title: "cents", Name: "cents", Right: true},
		{Title: "spread", Name: "spread_cents", Right: true, Drop: 4}, {Title: "drift", Name: "drift_cents", Right: true, Drop: 5},
		{Title: "vibrato", Name: "vibrato_cents", Right: true, Drop: 6}, {Title: "grade", Name: "grade"}, {Title: "doubt", Name: "remark", Drop: 1},
	}}
	if severalFiles {
		t.Columns = append([]Column{{Title: "file", Name: "file", Drop: 7}}, t.Columns...)
	}
	for _, h := range tones {
		row := heardRow(h)
		if severalFiles {
			row = append([]Cell{Text(h.File)}, row...)
		}
		t.Add(row...)
	}
	return t
}

func heardRow(h Heard) []Cell {
	number, remark := Cell{}, h.Reason
	if h.Number > 0 {
		number = Count(h.Number)
	}
	if len(h.Doubt) > 0 {
		remark = "or " + strings.Join(h.Doubt, ", ")
	}
	at, length := Either(Clock(h.Start), full(h.Start)), Number(h.End-h.Start, 1)
	if h.Number == 0 {
		return []Cell{number, at, length, {}, {}, {}, {}, {}, {}, Words(h.Grade), Words(remark)}
	}
	return []Cell{number, at, length, Words(h.Note), Words(h.Fingering), Cents(h.Cents, 1), Number(h.Spread, 1), Share(h.Drift), Number(h.Vibrato, 0), Words(h.Grade), Words(remark)}
}

// Clock writes seconds as minutes and seconds, with hours where there are some.
func Clock(seconds float64) string {
	whole := int(math.Floor(seconds))
	tenth := int(10 * (seconds - float64(whole)))
	if whole >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d.%d", whole/3600, whole/60%60, whole%60, tenth)
	}
	return fmt.Sprintf("%d:%02d.%d", whole/60, whole%60, tenth)
}
