package show

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"centwise/match"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
)

// ResidualPlot is one drawing of a report on residuals.
type ResidualPlot struct {
	Name string // one of match.PlotLaw and so on
	Picture
}

// ResidualPlots draws what residuals say of the fit's assumptions; what there
// are too few readings for is left out.
func ResidualPlots(r *match.ResidualReport) []ResidualPlot {
	var out []ResidualPlot
	for _, p := range []struct {
		name string
		draw func(*match.ResidualReport) (Picture, bool)
	}{
		{match.PlotLaw, lawPlot}, {match.PlotSlots, slotsPlot}, {match.PlotSources, sourcesPlot}, {match.PlotFitted, fittedPlot},
		{match.PlotNear, nearPlot}, {match.PlotTime, timePlot}, {match.PlotRepeats, repeatsPlot},
	} {
		if picture, ok := p.draw(r); ok {
			out = append(out, ResidualPlot{p.name, picture})
		}
	}
	return out
}

const chanceFoot = "Bars: what chance alone makes of it, two standard deviations to either side."

// lawPlot is a quantile-quantile plot.
func lawPlot(r *match.ResidualReport) (Picture, bool) {
	if len(r.Law) < 3 {
		return Picture{}, false
	}
	p := newPanel(1.3, "quantile of the normal law", "residual, in its own standard deviations")
	var found, mixture, normal plotter.XYs
	var x, low, high []float64
	for _, q := range r.Law {
		found = append(found, plotter.XY{X: q.Normal, Y: q.Found})
		mixture = append(mixture, plotter.XY{X: q.Normal, Y: q.Mixture})
		normal = append(normal, plotter.XY{X: q.Normal, Y: q.Normal})
		x, low, high = append(x, q.Normal), append(low, q.Mixture-2*q.Chance), append(high, q.Mixture+2*q.Chance)
	}
	p.bars(x, low, high, pale)
	p.line(normal, faint, 1, 4, 3)
	p.line(mixture, sharpC, 1.5)
	p.points(found, ink, 1.7)
	p.Y.Tick.Marker = evenTicks{signed: true}
	p.X.Tick.Marker = evenTicks{signed: true}
	last := r.Law[len(r.Law)-1]
	limit := 1.15 * max(math.Abs(last.Mixture), math.Abs(r.Law[0].Mixture), 3)
	p.Y.Min, p.Y.Max = -limit, limit // what is farther out than that needs no place of its own
	return Picture{
		Title: "Law of the residuals: good readings and slips",
		Lead: "If the mixture of good and gross readings holds, dots lie on the orange line, and in the middle on the dashed one. " +
			"Dots steeper than it at the ends: more slips, or wider ones, than was learned.",
		Foot: fmt.Sprintf("%s. Dashed: the normal law of good readings. Orange: the fitted mixture, with pale bars for what chance makes of it, "+
			"two standard deviations to either side.", match.Count(r.All.Readings, "reading")),
		Panels: []Panel{p},
	}, true
}

// spot is a group of residuals at a place of the x axis.
type spot struct {
	x    float64
	mean float64 // what is expected of the mean, cents
	match.Group
}

// spreadPanel shows the spreads of groups around 1.
func spreadPanel(share float64, xLabel string, spots []spot, from, to float64) Panel {
	p := newPanel(share, xLabel, "spread / as learned")
	p.level(1, from, to)
	p.groupMarks(spots, func(s spot) (value, chance float64) { return s.Spread, s.SpreadSD })
	widen(&p.Y, 0.8, 1.2)
	return p
}

// meanPanel shows the means of groups around what is expected.
func meanPanel(share float64, xLabel string, spots []spot) Panel {
	p := newPanel(share, xLabel, "mean residual, cents")
	var expected plotter.XYs
	for _, s := range spots {
		expected = append(expected, plotter.XY{X: s.x, Y: s.mean})
	}
	p.line(expected, faint, 1)
	p.groupMarks(spots, func(s spot) (value, chance float64) { return s.Mean, s.MeanSD })
	p.Y.Tick.Marker = evenTicks{signed: true}
	widen(&p.Y, -1, 1)
	return p
}

// groupMarks draws a dot with its bar for every spot.
func (p Panel) groupMarks(spots []spot, of func(spot) (value, chance float64)) {
	var found plotter.XYs
	var x, low, high []float64
	for _, s := range spots {
		v, chance := of(s)
		found = append(found, plotter.XY{X: s.x, Y: v})
		x, low, high = append(x, s.x), append(low, v-2*chance), append(high, v+2*chance)
	}
	p.bars(x, low, high, flatC)
	p.points(found, ink, 2)
}

// blank gives n names that leave nothing but their lines.
func blank(n int) []string { return slices.Repeat([]string{" "}, n) }

// slotsPlot shows mean and spread by slot.
func slotsPlot(r *match.ResidualReport) (Picture, bool) {
	var spots []spot
	var names []string
	for _, g := range r.Slots {
		if g.Enough() {
			spots = append(spots, spot{x: float64(len(spots)), Group: g.Group})
			names = append(names, fmt.Sprintf("%s  %s", g.Slot.Note(), g.Slot.Valves))
		}
	}
	if len(spots) < 2 {
		return Picture{}, false
	}
	end := float64(len(spots)) - 0.4
	top := spreadPanel(0.8, "", spots, -0.6, end)
	bottom := meanPanel(0.95, "note and valves", spots)
	top.names(blank(len(spots)))
	bottom.names(names)
	return Picture{
		Title:  "Residuals note by note: is the noise alike for all?",
		Lead:   "If it is, the upper dots lie at 1 and the lower ones at 0, as near as their bars reach. A note with a spread of 1.2 was read a fifth less surely than the model takes it to be.",
		Foot:   chanceFoot + " Slips count for little. Means lie nearer to 0 than their bars: what all sessions share is part of the model.",
		Panels: []Panel{top, bottom}}, true
}

// namedSources is how many sources are named in a drawing; more would hide the
// dots.
const namedSources = 12

// sourcesPlot shows every contributor's spread against the learned one.
func sourcesPlot(r *match.ResidualReport) (Picture, bool) {
	p, n := sourcePanel(r, "spread of the readings, cents", func(g match.SourceGroup) match.Group { return g.Group })
	return Picture{
		Title: "Contributors and methods: spread against the learned noise",
		Lead: "If each one's noise is as learned, dots lie on the line, as near as their bars reach. Dots flatter than the line: " +
			"contributors differ less than was learned; steeper: more, and their noise is drawn too much towards the common one.",
		Foot:   fmt.Sprintf("Contributors and methods with %[2]d good readings or more: %[1]d, the larger the more readings. %[3]s", n, match.CheckedEnough, chanceFoot),
		Panels: []Panel{p}}, n > 0
}

// repeatsPlot shows the spread of repeats against the learned noise.
func repeatsPlot(r *match.ResidualReport) (Picture, bool) {
	p, n := sourcePanel(r, "spread of repeats, cents", func(g match.SourceGroup) match.Group { return g.Repeats })
	return Picture{
		Title: "Repeats in one session: spread against the learned noise",
		Lead: "If reading errors are independent, the same note read again in one session differs by the learned noise, and dots lie on the line. " +
			"Below it: repeats agree better with each other than with the fit, so a note's error of the day is not noise but something the model leaves out.",
		Foot: fmt.Sprintf("%s of readings of one slot in one session, by contributor and method. %s",
			match.Count(r.Repeats.Readings, "difference"), chanceFoot),
		Panels: []Panel{p}}, n > 0
}

// sourcePanel draws a dot for every source with readings enough.
func sourcePanel(r *match.ResidualReport, yLabel string, of func(match.SourceGroup) match.Group) (Panel, int) {
	p := newPanel(1.2, "learned noise of a reading, cents", yLabel)
	largest, n := 1.0, 0
	var labels plotter.XYLabels
	var x, low, high []float64
	type dot struct{ x, y, count float64 }
	var dots []dot
	most := 1.0
	for _, s := range r.Source {
		g := of(s)
		if !g.Enough() {
			continue
		}
		v := g.Spread * s.Noise
		dots = append(dots, dot{s.Noise, v, g.Good})
		most = max(most, g.Good)
		x, low, high = append(x, s.Noise), append(low, v-2*g.SpreadSD*s.Noise), append(high, v+2*g.SpreadSD*s.Noise)
		largest = max(largest, s.Noise, v)
		if n++; n <= namedSources {
			labels.XYs = append(labels.XYs, plotter.XY{X: s.Noise, Y: v})
			labels.Labels = append(labels.Labels, Clean(fmt.Sprintf("%s (%d)", match.SourceName(s.Source), g.Readings)))
		}
	}
	p.line(plotter.XYs{{X: 0, Y: 0}, {X: 1.15 * largest, Y: 1.15 * largest}}, faint, 1)
	shade := flatC
	if n > namedSources {
		shade.A = 0x50 // so many hide each other
	}
	p.bars(x, low, high, shade)
	for _, d := range dots {
		p.points(plotter.XYs{{X: d.x, Y: d.y}}, ink, vg.Length(1+2.5*math.Sqrt(d.count/most)))
	}
	if n > 0 && n <= namedSources {
		p.label(labels, 1.15*largest/2)
	}
	p.X.Min, p.Y.Min = 0, 0
	p.X.Max, p.Y.Max = 1.15*largest, 1.15*largest
	return p, n
}

// fittedPlot shows mean and spread by fitted value.
func fittedPlot(r *match.ResidualReport) (Picture, bool) {
	var spots []spot
	middle, good := 0.0, 0.0
	for _, g := range r.Fitted {
		middle += g.Good * (g.Low + g.High) / 2
		good += g.Good
	}
	for _, g := range r.Fitted {
		if g.Enough() {
			at := (g.Low + g.High) / 2
			spots = append(spots, spot{x: at, mean: r.ExpectedSlope * (at - middle/good), Group: g.Group})
		}
	}
	if len(spots) < 2 {
		return Picture{}, false
	}
	top := spreadPanel(0.8, "", spots, spots[0].x, spots[len(spots)-1].x)
	bottom := meanPanel(0.8, "fitted deviation, cents", spots)
	for _, p := range []Panel{top, bottom} {
		p.X.Tick.Marker = evenTicks{signed: true}
		widen(&p.X, spots[0].x-2.5, spots[len(spots)-1].x+2.5)
	}
	return Picture{
		Title: "Residuals against the fitted value: are large deviations like small ones?",
		Lead: "If so, the upper dots lie at 1 and the lower ones on the grey line, which rises a little because a reading draws its own fitted value along. " +
			"A bend of the lower dots: effects don't simply add up.",
		Foot:   chanceFoot,
		Panels: []Panel{top, bottom}}, true
}

// nearPlot shows the correlation of notes of one session.
func nearPlot(r *match.ResidualReport) (Picture, bool) {
	if len(r.Near) < 2 {
		return Picture{}, false
	}
	p := newPanel(1, "notes of one session apart, semitones", "correlation of their residuals")
	var found, expected plotter.XYs
	var x, low, high []float64
	for _, n := range r.Near {
		at := float64(n.Semitones)
		found = append(found, plotter.XY{X: at, Y: n.Correlation})
		expected = append(expected, plotter.XY{X: at, Y: n.Expected})
		x, low, high = append(x, at), append(low, n.Correlation-2*n.Chance), append(high, n.Correlation+2*n.Chance)
	}
	p.line(plotter.XYs{{X: 0.5, Y: 0}, {X: x[len(x)-1] + 0.5, Y: 0}}, faint, 0.6)
	p.line(expected, sharpC, 1.5)
	p.bars(x, low, high, flatC)
	p.points(found, ink, 2)
	p.Y.Tick.Marker = evenTicks{signed: true}
	widen(&p.Y, -0.1, 0.1)
	p.X.Min, p.X.Max = 0.5, x[len(x)-1]+0.5
	return Picture{
		Title: "Neighbouring notes of a session: is the wiggle of the day enough?",
		Lead: "If it is, dots lie on the orange line; it runs below nought because the fit follows a session's notes with one curve. " +
			"Dots above it at small distances: the days' curves bend more than the model lets them.",
		Foot:   "Orange: what the model expects. " + chanceFoot,
		Panels: []Panel{p}}, true
}

// timePlot shows the spread in the order of time.
func timePlot(r *match.ResidualReport) (Picture, bool) {
	var spots []spot
	var names []string
	for _, g := range r.Times {
		spots = append(spots, spot{x: float64(len(spots)), Group: g.Group})
		name := strconv.Itoa(len(spots))
		if r.Dated {
			name = g.From.Format("2006-01-02")
		}
		names = append(names, name)
	}
	if len(spots) < 2 {
		return Picture{}, false
	}
	label := "sessions in the order they were recorded, parts of equal size"
	if r.Dated {
		label = "day of the first session of each part; parts of equal size"
	}
	p := spreadPanel(1, label, spots, -0.6, float64(len(spots))-0.4)
	p.names(names)
	return Picture{
		Title:  "Residuals in the course of time: does anything drift?",
		Lead:   "If nothing does, dots lie at 1, as near as their bars reach. A trend: people read better or worse than they used to.",
		Foot:   fmt.Sprintf("%s in each part. %s", match.Count(r.Times[0].Sessions, "session"), chanceFoot),
		Panels: []Panel{p}}, true
}
