package show

import (
	"fmt"
	"image/color"

	"centwise/match"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// ProfilePicture draws a prediction: above, every note's deviation with its
// interval and what is left to the lip; below, the shares of horn, mouthpiece
// and player.
func ProfilePicture(x *match.Explanation, concert bool) Picture {
	var names []string
	for _, n := range x.Notes {
		name := n.Note
		if concert {
			name = n.Concert
		}
		names = append(names, name)
	}
	sum, shares := sumPanel(x), sharesPanel(x, concert)
	sum.names(blank(len(names)))
	shares.names(names)
	foot := "Above: dots with the 80 % interval, orange sharp, blue flat; crosses: what is left to the lip after the best slide and throws. " +
		"Below: filled dots the horn's share, rings the mouthpiece's"
	if x.Player != "" {
		foot += ", triangles the player's"
	}
	return Picture{
		Title: setupOf(x),
		Lead: fmt.Sprintf("Deviation of each note in cents, + sharp, - flat. Left to the lip: %.1f cents (80 %% chance of %.1f to %.1f).",
			x.ErrorCents, x.Low, x.High),
		Foot:   foot + ".",
		Panels: []Panel{sum, shares},
	}
}

// toneColour is the colour of a deviation in pictures.
func toneColour(cents float64) color.NRGBA {
	switch ToneOf(cents) {
	case Sharp:
		return sharpC
	case Flat:
		return flatC
	}
	return ink
}

func sumPanel(x *match.Explanation) Panel {
	p := newPanel(1, "", "sum, cents")
	p.Y.Tick.Marker = evenTicks{signed: true}
	p.level(0, -0.6, float64(len(x.Notes))-0.4)
	var left plotter.XYs
	for i, n := range x.Notes {
		at := float64(i)
		p.line(plotter.XYs{{X: at, Y: n.Low}, {X: at, Y: n.High}}, toneColour(n.Cents), 1.4)
		p.points(plotter.XYs{{X: at, Y: n.Cents}}, toneColour(n.Cents), 2.6)
		left = append(left, plotter.XY{X: at, Y: n.Left})
	}
	p.marks(left, draw.CrossGlyph{}, faint, 2.6)
	widen(&p.Y, min(-10, p.Y.Min-edge), max(10, p.Y.Max+edge))
	return p
}

func sharesPanel(x *match.Explanation, concert bool) Panel {
	label := "written note"
	if concert {
		label = "sounding note"
	}
	p := newPanel(0.75, label, "shares, cents")
	p.Y.Tick.Marker = evenTicks{signed: true}
	p.level(0, -0.6, float64(len(x.Notes))-0.4)
	var horn, mouthpiece, player plotter.XYs
	for i, n := range x.Notes {
		horn = append(horn, plotter.XY{X: float64(i), Y: n.Horn})
		mouthpiece = append(mouthpiece, plotter.XY{X: float64(i), Y: n.Mouthpiece})
		player = append(player, plotter.XY{X: float64(i), Y: n.Player})
	}
	p.line(horn, faint, 0.8)
	p.points(horn, ink, 2.4)
	p.line(mouthpiece, faint, 0.8, 3, 2)
	p.marks(mouthpiece, draw.RingGlyph{}, ink, 2.6)
	if x.Player != "" {
		p.line(player, faint, 0.8, 1, 2)
		p.marks(player, draw.TriangleGlyph{}, ink, 2.8)
	}
	widen(&p.Y, min(-10, p.Y.Min-edge), max(10, p.Y.Max+edge))
	return p
}

// edge is the room that is left above and below what is drawn, cents.
const edge = 1.5

// marks draws a glyph at each point.
func (p Panel) marks(xy plotter.XYs, shape draw.GlyphDrawer, c color.Color, radius vg.Length) {
	p.Add(&plotter.Scatter{XYs: xy, GlyphStyle: draw.GlyphStyle{Color: c, Radius: radius, Shape: shape}})
}
