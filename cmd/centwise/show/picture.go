package show

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Picture is a drawing for a file: a title, what is to be seen, panels one
// below the other that share their left and right edges, and how to read them.
type Picture struct {
	Title  string
	Lead   string // what to look for
	Foot   string // what the marks mean
	Width  vg.Length
	Panels []Panel
}

// Panel is one plot of a picture; Share is its part of the height.
type Panel struct {
	*plot.Plot
	Share float64
}

// Sizes of pictures; lengths are in points.
const (
	pictureWidth  vg.Length = 640
	panelHeight   vg.Length = 330 // of a panel with share 1
	margin        vg.Length = 12
	footGap       vg.Length = 6
	titleSize     vg.Length = 13
	textSize      vg.Length = 9.5
	tickSize      vg.Length = 8.5
	pixelsPerInch           = 144
)

// Colours of pictures; sharp and flat as on terminals.
var (
	ink    = color.NRGBA{0x22, 0x22, 0x22, 0xff}
	faint  = color.NRGBA{0x77, 0x77, 0x77, 0xff}
	pale   = color.NRGBA{0xdd, 0xdd, 0xdd, 0xff}
	sharpC = color.NRGBA{0xd9, 0x6b, 0x00, 0xff}
	flatC  = color.NRGBA{0x00, 0x72, 0xb2, 0xff}
)

// sans is the typeface of pictures. SVG files name it, with the viewer's own as
// a substitute.
func sans(size vg.Length, bold bool) font.Font {
	f := font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
	if bold {
		f.Weight = 3 // golang.org/x/image/font.WeightBold
	}
	return f
}

func textStyle(size vg.Length, bold bool, c color.Color) text.Style {
	return text.Style{Color: c, Font: sans(size, bold), Handler: plot.DefaultTextHandler}
}

// newPanel makes an empty plot in the style of all.
func newPanel(share float64, xLabel, yLabel string) Panel {
	p := plot.New()
	p.BackgroundColor = nil
	for axis, label := range map[*plot.Axis]string{&p.X: xLabel, &p.Y: yLabel} {
		axis.Label.Text = Clean(label)
		axis.Label.TextStyle.Font = sans(textSize, false)
		axis.Tick.Label.Font = sans(tickSize, false)
		axis.Tick.Marker = evenTicks{}
		axis.Color, axis.Tick.LineStyle.Color = faint, faint
	}
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = pale, pale
	grid.Vertical.Width, grid.Horizontal.Width = vg.Points(0.4), vg.Points(0.4)
	p.Add(grid)
	return Panel{p, share}
}

// evenTicks are ticks at round numbers: labelled ones a step of 1, 2 or 5 times
// a power of ten apart, as many as there is room for.
type evenTicks struct{ signed bool }

// Ticks gives four to nine labelled ticks.
func (t evenTicks) Ticks(low, high float64) []plot.Tick {
	if !(high > low) {
		return nil
	}
	exponent := math.Floor(math.Log10((high - low) / 4))
	step := math.Pow(10, exponent)
	for _, factor := range []float64{5, 2} {
		if (high-low)/(factor*step) >= 4 {
			step *= factor
			break
		}
	}
	digits := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	var out []plot.Tick
	for k := math.Ceil(low/step - 1e-9); k*step <= high+1e-9*step; k++ {
		label := strconv.FormatFloat(k*step+0, 'f', digits, 64)
		if t.signed || k == 0 {
			label = Signed(k*step, digits)
		}
		out = append(out, plot.Tick{Value: k * step, Label: label})
	}
	return out
}

// SVG writes the picture as SVG.
func (p Picture) SVG(w io.Writer) error {
	c := vgsvg.New(p.width(), p.height())
	p.draw(draw.New(c))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return fmt.Errorf("drawing %s: %w", p.Title, err)
	}
	out := bytes.ReplaceAll(b.Bytes(), []byte("font-family:Liberation Sans;"), []byte("font-family:'Liberation Sans',sans-serif;"))
	// A title, for readers who hear pictures, as the first thing in the drawing.
	if at := bytes.Index(out, []byte("<svg")); at >= 0 {
		if end := bytes.IndexByte(out[at:], '>'); end >= 0 {
			at += end + 1
			out = fmt.Appendf(nil, "%s\n<title>%s</title>%s", out[:at], html.EscapeString(Clean(p.Title+". "+p.Lead)), out[at:])
		}
	}
	_, err := w.Write(out)
	return err
}

// PNG writes the picture as PNG.
func (p Picture) PNG(w io.Writer) error {
	c := vgimg.NewWith(vgimg.UseWH(p.width(), p.height()), vgimg.UseDPI(pixelsPerInch), vgimg.UseBackgroundColor(color.White))
	p.draw(draw.New(c))
	_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(w)
	return err
}

func (p Picture) width() vg.Length {
	if p.Width > 0 {
		return p.Width
	}
	return pictureWidth
}

func (p Picture) height() vg.Length {
	h := 2*margin + footGap + p.textHeight(p.Lead, textSize) + p.textHeight(p.Foot, textSize) + p.textHeight(p.Title, titleSize)
	for _, panel := range p.Panels {
		h += vg.Length(panel.Share) * panelHeight
	}
	return h
}

// lines wraps text to the width of the picture.
func (p Picture) lines(s string, size vg.Length, bold bool) []string {
	style := textStyle(size, bold, ink)
	var out []string
	for _, word := range strings.Fields(Clean(s)) {
		if n := len(out) - 1; n >= 0 && style.Width(out[n]+" "+word) <= p.width()-2*margin {
			out[n] += " " + word
			continue
		}
		out = append(out, word)
	}
	return out
}

func (p Picture) textHeight(s string, size vg.Length) vg.Length {
	n := len(p.lines(s, size, size == titleSize))
	if n == 0 {
		return 0
	}
	return (vg.Length(n)*1.3 + 0.4) * size
}

// write sets text from the top down and returns where it ended.
func (p Picture) write(c draw.Canvas, top vg.Length, s string, size vg.Length, shade color.Color) vg.Length {
	bold := size == titleSize
	style := textStyle(size, bold, shade)
	for i, line := range p.lines(s, size, bold) {
		c.FillText(style, vg.Point{X: c.Min.X + margin, Y: top - (vg.Length(i)*1.3+1)*size}, line)
	}
	return top - p.textHeight(s, size)
}

func (p Picture) draw(c draw.Canvas) {
	c.SetColor(color.White)
	c.Fill(c.Rectangle.Path())
	top := p.write(c, c.Max.Y-margin, p.Title, titleSize, ink)
	top = p.write(c, top, p.Lead, textSize, ink)
	bottom := c.Min.Y + margin + p.textHeight(p.Foot, textSize)
	p.write(c, bottom, p.Foot, textSize, faint)
	bottom += footGap
	p.drawPanels(draw.Crop(c, margin, -margin, bottom-c.Min.Y, top-c.Max.Y))
}

// drawPanels places panels one below the other so that their data begin and end
// at the same places, as high as each asks for.
func (p Picture) drawPanels(area draw.Canvas) {
	total := 0.0
	var plots [][]*plot.Plot
	for _, panel := range p.Panels {
		total += panel.Share
		plots = append(plots, []*plot.Plot{panel.Plot})
	}
	aligned := plot.Align(plots, draw.Tiles{Rows: len(plots), Cols: 1}, area)
	top := area.Max.Y
	for i, panel := range p.Panels {
		place := area
		place.Min.X, place.Max.X = aligned[i][0].Min.X, aligned[i][0].Max.X
		place.Max.Y = top
		top -= area.Size().Y * vg.Length(panel.Share/total)
		place.Min.Y = top
		panel.Plot.Draw(place)
	}
}

// points draws dots.
func (p Panel) points(xy plotter.XYs, c color.Color, radius vg.Length) {
	s := &plotter.Scatter{XYs: xy, GlyphStyle: draw.GlyphStyle{Color: c, Radius: radius, Shape: draw.CircleGlyph{}}}
	p.Add(s)
}

// line joins points.
func (p Panel) line(xy plotter.XYs, c color.Color, width vg.Length, dashes ...vg.Length) {
	l := &plotter.Line{XYs: xy, LineStyle: draw.LineStyle{Color: c, Width: width, Dashes: dashes}}
	p.Add(l)
}

// level draws a line across at y.
func (p Panel) level(y, from, to float64) {
	p.line(plotter.XYs{{X: from, Y: y}, {X: to, Y: y}}, faint, vg.Points(1))
}

// bars draws upright bars from low to high at each x.
func (p Panel) bars(x, low, high []float64, c color.Color) {
	for i := range x {
		p.line(plotter.XYs{{X: x[i], Y: low[i]}, {X: x[i], Y: high[i]}}, c, vg.Points(0.9))
	}
}

// names puts names on the x axis at 0, 1, ...
func (p Panel) names(list []string) {
	ticks := make(plot.ConstantTicks, len(list))
	for i, s := range list {
		ticks[i] = plot.Tick{Value: float64(i), Label: Clean(s)}
	}
	p.X.Tick.Marker = ticks
	if len(list) > 12 {
		p.X.Tick.Label.Rotation = math.Pi / 2
		p.X.Tick.Label.XAlign, p.X.Tick.Label.YAlign = text.XRight, text.YCenter
	}
	p.X.Min, p.X.Max = -0.6, float64(len(list))-0.4
}

// widen makes an axis reach at least from low to high.
func widen(a *plot.Axis, low, high float64) { a.Min, a.Max = min(a.Min, low), max(a.Max, high) }

// label writes beside points: to the left of those right of the middle.
func (p Panel) label(l plotter.XYLabels, middle float64) {
	for i, at := range l.XYs {
		style, offset := textStyle(tickSize, false, ink), vg.Point{X: 6, Y: -3}
		if at.X > middle {
			style.XAlign, offset.X = text.XRight, -6
		}
		p.Add(&plotter.Labels{XYs: []plotter.XY{at}, Labels: l.Labels[i : i+1], TextStyle: []text.Style{style}, Offset: offset})
	}
}
