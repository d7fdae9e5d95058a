package show

import "centwise/match"

// profileView is the part of a page that says what a horn or a mouthpiece
// contributes.
type profileView struct {
	Title string
	Chart staffChart
	Words []string
	Facts []Fact
}

func newProfileView(p *match.Profile, gear []Fact) profileView {
	var notes []staffNote
	for _, n := range p.Notes {
		notes = append(notes, staffNote{Note: n.Note, Valves: n.Valves, Cents: n.Cents, Low: n.Low, High: n.High})
	}
	v := profileView{Words: cleanAll(p.Words)}
	if p.Horn != "" {
		v.Title = "What " + Clean(p.Horn) + " brings along"
		v.Chart = newStaffChart(notes, staffPlays)
		v.Chart.Title = "With a typical mouthpiece"
		v.Chart.Reading = "Cents before anything is corrected, as a typical player would find it; the mean over 31 notes is nought."
	} else {
		v.Title = "What " + Clean(p.Mouthpiece) + " does to a horn"
		v.Chart = newStaffChart(notes, staffMoves)
		v.Chart.Title = "Compared with a typical mouthpiece"
		v.Chart.Reading = "By how many cents it moves each note; the mean over 31 notes is nought."
	}
	v.Chart.ID = "profile"
	for _, f := range gear {
		v.Facts = append(v.Facts, Fact{f.Name, Clean(f.Text)})
	}
	return v
}
