package match

import (
	"fmt"
	"math"

	"centwise/match/fit"
)

// ResidualCheck compares one number about the residuals with what it is if the
// fit's assumptions hold.
type ResidualCheck struct {
	Name     string // a stable name, for programs
	Plot     string // which drawing shows it, one of the Plot constants
	Question string // what is asked
	Found    float64
	Expected float64
	Chance   float64 // by how much they differ by chance: standard deviation
	AtMost   bool    // Expected is a departure that chance explains: less is as good
	// Matters is the difference from which on a departure would be worth
	// modelling, however sure it is.
	Matters float64
	Unit    string // "" (a ratio or correlation), "cents" or "%"
	Where   string // where the departure is largest; may be empty
}

// Names of the drawings of a [ResidualReport].
const (
	PlotLaw     = "law"
	PlotSlots   = "slots"
	PlotSources = "sources"
	PlotFitted  = "fitted"
	PlotNear    = "neighbours"
	PlotTime    = "time"
	PlotRepeats = "repeats"
)

// Holds tells whether the departure is within chance or too small to matter.
func (c ResidualCheck) Holds() bool {
	off := c.Found - c.Expected
	if !c.AtMost {
		off = math.Abs(off)
	}
	return off <= max(3*c.Chance, c.Matters)
}

// Departures from which on an assumption would be worth another look; common
// practice for spreads and correlations, no source.
const (
	spreadMatters      = 0.05
	meanMatters        = 0.3 // cents: a tenth of a good reading's noise
	correlationMatters = 0.05
	slopeMatters       = 0.02 // 0.2 cents on a fitted value 10 cents out
	tailMatters        = 0.5  // % of readings
)

func (s *Residuals) checks(r *ResidualReport, c fit.Components) []ResidualCheck {
	if s.all.good == 0 {
		return nil
	}
	out := s.lawChecks(r, c)
	var groups []named
	for _, g := range r.Slots {
		groups = append(groups, named{g.Group, fmt.Sprintf("%s on %s", g.Slot.Note(), g.Slot.Valves)})
	}
	out = append(out, spreadCheck("slot-spread", PlotSlots, "spread note by note, off 1 by", groups)...)
	out = append(out, meanCheck("slot-mean", PlotSlots, "mean note by note, off 0 by, cents", groups)...)
	groups = nil
	for _, g := range r.Source {
		groups = append(groups, named{g.Group, SourceName(g.Source)})
	}
	out = append(out, spreadCheck("source-spread", PlotSources, "spread by contributor, off 1 by", groups)...)
	groups = nil
	for _, g := range r.Fitted {
		groups = append(groups, named{g.Group, fmt.Sprintf("%.0f..%.0f cents", g.Low, g.High)})
	}
	out = append(out, spreadCheck("fitted-spread", PlotFitted, "spread by fitted value, off 1 by", groups)...)
	out = append(out, ResidualCheck{Name: "fitted-slope", Plot: PlotFitted, Question: "slope on the fitted value",
		Found: r.FittedSlope, Expected: r.ExpectedSlope, Chance: s.slopeChance(), Matters: slopeMatters})
	for _, n := range r.Near {
		if n.Semitones <= 2 || n.Semitones == fit.NearSemitones {
			out = append(out, ResidualCheck{Name: fmt.Sprintf("near-%d", n.Semitones), Plot: PlotNear,
				Question: "correlation " + Count(n.Semitones, "semitone") + " apart",
				Found:    n.Correlation, Expected: n.Expected, Chance: n.Chance, Matters: correlationMatters})
		}
	}
	groups = nil
	for i, g := range r.Times {
		groups = append(groups, named{g.Group, fmt.Sprintf("part %d of %d", i+1, len(r.Times))})
	}
	out = append(out, spreadCheck("time-spread", PlotTime, "spread over time, off 1 by", groups)...)
	if r.Repeats.Good > 0 {
		out = append(out, ResidualCheck{Name: "repeat-spread", Plot: PlotRepeats, Question: "repeats' spread over learned noise",
			Found: r.Repeats.Spread, Expected: 1, Chance: r.Repeats.SpreadSD, Matters: spreadMatters})
	}
	return out
}

// lawChecks look at the distribution as a whole: its middle, its spread, its
// tails.
func (s *Residuals) lawChecks(r *ResidualReport, c fit.Components) []ResidualCheck {
	n, law := float64(s.all.n), s.mixture(c)
	share := 2 * law.cdf(-beyondSpreads)
	middle := s.central()
	half := law.quantile(0.75)
	return []ResidualCheck{
		{Name: "mean", Plot: PlotLaw, Question: "mean residual, cents", Found: r.All.Mean, Chance: r.All.MeanSD, Matters: meanMatters, Unit: "cents"},
		{Name: "spread", Plot: PlotLaw, Question: "spread over learned noise",
			Found: r.All.Spread, Expected: 1, Chance: r.All.SpreadSD, Matters: spreadMatters},
		{Name: "middle-half", Plot: PlotLaw, Question: "half of all are within, spreads", Found: middle, Expected: half,
			Chance: math.Sqrt(0.25/n) / (2 * law.density(half)), Matters: spreadMatters},
		{Name: "tails", Plot: PlotLaw, Question: "beyond three spreads, %", Found: 100 * s.beyond / n, Expected: 100 * share,
			Chance: 100 * math.Sqrt(share*(1-share)/n), Matters: tailMatters, Unit: "%"},
	}
}

// central is the size that half of the standardised residuals are below.
func (s *Residuals) central() float64 {
	missing, zero := float64(s.all.n)/2, len(s.law)/2
	for k := range zero {
		n := s.law[zero+k] + s.law[zero-1-k]
		if n >= missing {
			return lawStep * (float64(k) + missing/n)
		}
		missing -= n
	}
	return lawReach
}

// slopeChance is what the slope on fitted values scatters by, residuals taken
// for independent.
func (s *Residuals) slopeChance() float64 {
	m := s.moments
	spread := m.ff - m.f*m.f/m.good
	if spread <= 0 {
		return 0
	}
	return math.Sqrt(s.all.variance / s.all.good / spread)
}

type named struct {
	Group
	name string
}

// spreadCheck compares the root mean square departure of the groups' spreads
// from 1 with what it is by chance alone. Nothing, if fewer than two groups have
// readings enough.
func spreadCheck(name, plot, question string, groups []named) []ResidualCheck {
	return departures(ResidualCheck{Name: name, Plot: plot, Question: question, Matters: spreadMatters}, groups,
		func(g Group) (off, chance float64) { return g.Spread - 1, g.SpreadSD })
}

// meanCheck is the like of the groups' means.
func meanCheck(name, plot, question string, groups []named) []ResidualCheck {
	return departures(ResidualCheck{Name: name, Plot: plot, Question: question, Matters: meanMatters, Unit: "cents"}, groups,
		func(g Group) (off, chance float64) { return g.Mean, g.MeanSD })
}

// departures takes the mean of squares over readings: a group counts for as many
// as it has good ones.
func departures(c ResidualCheck, groups []named, of func(Group) (off, chance float64)) []ResidualCheck {
	c.AtMost = true
	n, all, found, expected, scatter, worst := 0, 0.0, 0.0, 0.0, 0.0, 0.0
	for _, g := range groups {
		if !g.Enough() {
			continue
		}
		off, chance := of(g.Group)
		n++
		all += g.Good
		found += g.Good * off * off
		expected += g.Good * chance * chance
		scatter += 2 * math.Pow(g.Good*chance*chance, 2)
		if surprise := math.Abs(off) / chance; surprise > worst {
			worst, c.Where = surprise, g.name
		}
	}
	if n < 2 {
		return nil
	}
	c.Found, c.Expected = math.Sqrt(found/all), math.Sqrt(expected/all)
	c.Chance = math.Sqrt(scatter) / all / (2 * c.Expected)
	return []ResidualCheck{c}
}

// SourceName names a contributor and method in a sentence.
func SourceName(s fit.Source) string {
	who := s.Contributor
	if who == "" {
		who = "nobody named"
	}
	return fmt.Sprintf("%s, %s", who, s.Method)
}
