package browsertest

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"

	"context"
	"math"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// view is a screen.
type view struct {
	name          string
	width, height int64
	scheme        string
}

var views = []view{
	{"phone", 360, 740, "light"}, {"phone-dark", 360, 740, "dark"},
	{"desktop", 1280, 900, "light"}, {"desktop-dark", 1280, 900, "dark"},
}

func (c *check) look(v view) {
	c.Helper()
	c.do(chromedp.EmulateViewport(v.width, v.height), media("screen", v.scheme))
	where := " on a " + v.name
	c.complain(where, "layout")
	c.complain(where, "contrast")
	c.save("-"+v.name+".png", func() ([]byte, error) { return chromedp.Run(c.ctx, chromedp.FullScreenshot(100)) })
}

// paper is a size of paper, in mm (A4 by ISO 216, Letter 8.5 by 11 inches).
type paper struct {
	name       string
	wide, high float64
}

var papers = []paper{{"A4", 210, 297}, {"Letter", 215.9, 279.4}}

const (
	// marginMM is the margin that pages ask for.
	marginMM = 15.0
	// pixelsPerMM is fixed by CSS Values and Units 4, section 6.2: 96 to the inch.
	pixelsPerMM = 96 / 25.4
	mmPerInch   = 25.4
	pointsPerMM = 72 / 25.4
)

// print looks at the page laid out for paper, then prints it.
func (c *check) print(p paper) {
	c.Helper()
	wide, high := int64((p.wide-2*marginMM)*pixelsPerMM), (p.high-2*marginMM)*pixelsPerMM
	c.do(chromedp.EmulateViewport(wide, int64(high)), media("print", "light"))
	where := " on " + p.name
	c.complain(where, "layout")
	c.complain(where, "contrast")
	if tallest := ask[float64](c, "tallest"); tallest > high {
		c.Errorf("%s%s: something is %.0f high and can't be broken, a page has %.0f", c.name, where, tallest, high)
	}
	result, err := chromedp.Run(c.ctx, func(ctx context.Context, t *chromedp.Target) (page.PrintToPDFResult, error) {
		return cdp.Call(ctx, t, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: p.wide / mmPerInch, PaperHeight: p.high / mmPerInch})
	})
	if err != nil {
		c.Fatalf("%s%s: %v", c.name, where, err)
	}
	if err := p.printed(result.Data); err != nil {
		c.Errorf("%s%s: %v", c.name, where, err)
	}
	c.save("-"+p.name+".pdf", func() ([]byte, error) { return result.Data, nil })
}

var mediaBox = regexp.MustCompile(`/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]`)

// printed checks that a PDF has pages, all of the size of the paper.
func (p paper) printed(pdf []byte) error {
	boxes := mediaBox.FindAllSubmatch(pdf, -1)
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) || len(boxes) == 0 {
		return fmt.Errorf("the print of %d bytes has no pages", len(pdf))
	}
	for _, box := range boxes {
		wide, _ := strconv.ParseFloat(string(box[1]), 64)
		high, _ := strconv.ParseFloat(string(box[2]), 64)
		if math.Abs(wide-p.wide*pointsPerMM) > 1.5 || math.Abs(high-p.high*pointsPerMM) > 1.5 {
			return fmt.Errorf("a page is %.0f by %.0f points, %.0f by %.0f are wanted", wide, high, p.wide*pointsPerMM, p.high*pointsPerMM)
		}
	}
	return nil
}
