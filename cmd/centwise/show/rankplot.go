package show

import (
	"fmt"
	"strings"

	"centwise/match"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
)

// Sizes of a drawn ranking.
const (
	drawnPairings           = 60 // more would not be read
	rowHeight     vg.Length = 19
	drawnLabel              = 44 // characters of a pairing's name
)

// RankPicture draws a ranking: for each pairing a dot at its error on a line
// over its interval, the best on top.
func RankPicture(r *match.Ranking, toleranceCents float64) Picture {
	list := r.Pairings
	if len(list) > drawnPairings {
		list = list[:drawnPairings]
	}
	height := rowHeight * vg.Length(len(list)+2)
	p := newPanel(float64(height/panelHeight), "cents left to the lip, all notes together", "")
	ticks := make(plot.ConstantTicks, len(list))
	largest := 0.0
	var chances plotter.XYLabels
	for i, x := range list {
		at := -float64(i)
		ticks[i] = plot.Tick{Value: at, Label: pairingName(r, x)}
		p.line(plotter.XYs{{X: x.Low, Y: at}, {X: x.High, Y: at}}, flatC, 1.6)
		p.points(plotter.XYs{{X: x.ErrorCents, Y: at}}, ink, 2.8)
		chances.XYs = append(chances.XYs, plotter.XY{X: x.High, Y: at})
		chances.Labels = append(chances.Labels, "best "+chance(x.ChanceBest))
		largest = max(largest, x.High, x.ErrorCents)
	}
	bottom := -float64(len(list)-1) - 0.7
	p.line(plotter.XYs{{X: toleranceCents, Y: bottom}, {X: toleranceCents, Y: 0.7}}, faint, 0.8, 3, 2)
	p.label(chances, 2*largest) // all to the right
	p.Y.Tick.Marker = ticks
	p.Y.Min, p.Y.Max = bottom, 0.7
	p.X.Min, p.X.Max = 0, 1.15*max(largest, toleranceCents)
	return Picture{Title: rankHeading(r), Lead: rankLead(r, len(list)),
		Foot: fmt.Sprintf("Dots: expected error after the best slide and throws, uncertainty included; lines: its 80 %% interval. "+
			"Best: chance of being the best of the list. Dashed: %.0f cents, what counts as in tune.", toleranceCents),
		Panels: []Panel{p}}
}

// pairingName is what a line is called: what is not in the heading.
func pairingName(r *match.Ranking, x match.Pairing) string {
	var parts []string
	if r.Horn == "" {
		parts = append(parts, Clean(x.Horn))
	}
	if r.Mouthpiece == "" {
		parts = append(parts, Clean(x.Mouthpiece))
	}
	name := strings.Join(parts, " with ")
	if Width(name) > drawnLabel {
		name = cut(name, drawnLabel, "…")
	}
	return name
}

// rankHeading is what is ranked, and who plays.
func rankHeading(r *match.Ranking) string {
	heading := "Horns and mouthpieces"
	switch {
	case r.Horn != "":
		heading = "Mouthpieces for " + r.Horn
	case r.Mouthpiece != "":
		heading = "Horns for " + r.Mouthpiece
	}
	return fmt.Sprintf("%s, played by %s", heading, played(r.Player))
}

func rankLead(r *match.Ranking, drawn int) string {
	lead := fmt.Sprintf("%d of %d. Lines that overlap much can't be told apart: try several before you decide.", drawn, r.Considered)
	if drawn < len(r.Pairings) {
		lead = fmt.Sprintf("The first %d of %d. Lines that overlap much can't be told apart: try several before you decide.", drawn, r.Considered)
	}
	return lead
}
