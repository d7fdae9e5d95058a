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
	v := profileView{Chart: newStaffChart(notes, false), Words: cleanAll(p.Words)}
	v.Chart.ID, v.Chart.Key, v.Chart.Alternative = "profile", markKey(), profileInWords(notes)
	if p.Horn != "" {
		v.Title = "What " + Clean(p.Horn) + " brings along"
		v.Chart.Title = "With a typical mouthpiece"
		v.Chart.Reading = "Cents before anything is corrected, as a typical player would find it; the mean over 31 notes is nought."
	} else {
		v.Title = "What " + Clean(p.Mouthpiece) + " does to a horn"
		v.Chart.Title = "Compared with a typical mouthpiece"
		v.Chart.Reading = "How many cents it moves each note, up to the right; the mean over 31 notes is nought."
	}
	for _, f := range gear {
		v.Facts = append(v.Facts, Fact{f.Name, Clean(f.Text)})
	}
	return v
}
