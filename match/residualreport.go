package match

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"centwise/catalog/pitch"
	"centwise/match/fit"

	"gonum.org/v1/gonum/stat/distuv"
)

// Group is what the residuals of some readings say.
type Group struct {
	Readings int
	Good     float64 // how many of them are good, as far as is known
	// Mean of the good ones' residuals, cents, and what it differs from nought
	// by chance.
	Mean, MeanSD float64
	// Spread of the good ones in units of what is expected of it: 1 if they
	// scatter as learned. SpreadSD is what it differs from 1 by chance.
	Spread, SpreadSD float64
}

func (t tally) group() Group {
	g := Group{Readings: t.n, Good: t.good}
	if t.good > 0 {
		g.Mean, g.MeanSD = t.cents/t.good, math.Sqrt(t.variance)/t.good
		g.Spread, g.SpreadSD = math.Sqrt(t.square/t.good), 1/math.Sqrt(2*t.good)
	}
	return g
}

func (t repeatTally) group() Group {
	g := Group{Readings: t.n, Good: t.good}
	if t.good > 0 {
		g.Spread, g.SpreadSD = math.Sqrt(t.square/t.good), 1/math.Sqrt(2*t.good)
	}
	return g
}

// ResidualReport is what residuals say of the fit's assumptions.
type ResidualReport struct {
	All    Group
	Law    []LawPoint    // by probability
	Slots  []SlotGroup   // by note
	Source []SourceGroup // those with most readings first
	Fitted []FittedGroup // by fitted value
	// FittedSlope is the regression of residuals on fitted values, expected to
	// be ExpectedSlope: a reading draws its own fitted value along.
	FittedSlope, ExpectedSlope float64
	Near                       []NearGroup // by distance
	Times                      []TimeGroup // the earliest first; nil when there are too few sessions
	Dated                      bool        // Times are by day played, else by order of recording
	Repeats                    Group       // Readings counts differences; no Mean
	Checks                     []ResidualCheck
}

// LawPoint is a quantile of the standardised residuals beside what it would be.
type LawPoint struct {
	Normal  float64 // of the normal law that good readings follow
	Mixture float64 // of the fitted mixture of good and gross readings
	Found   float64
	Chance  float64 // standard deviation of Found under the mixture
}

// SlotGroup is of one slot.
type SlotGroup struct {
	Slot pitch.Slot
	Group
}

// SourceGroup is of one contributor and method.
type SourceGroup struct {
	fit.Source
	Noise float64 // learned, cents
	Group
	Repeats Group // as ResidualReport.Repeats
}

// FittedGroup is of readings with a fitted value of Low..High cents.
type FittedGroup struct {
	Low, High float64
	Group
}

// NearGroup is of pairs of notes of one session.
type NearGroup struct {
	Semitones int
	Pairs     int
	// Correlation of their residuals, what is expected of it, and by how much
	// it differs from that by chance.
	Correlation, Expected, Chance float64
}

// TimeGroup is of sessions that followed each other.
type TimeGroup struct {
	Sessions int
	From, To time.Time // played; zero when not Dated
	Group
}

// CheckedEnough is how many good readings a group needs before its numbers are
// compared with others.
const CheckedEnough = 20

// Enough tells whether a group has readings enough to be compared.
func (g Group) Enough() bool { return g.Good >= CheckedEnough }

// Report sums up what was taken in. Components are those of the fit; played says
// when sessions were played, by name, as far as that is known.
func (s *Residuals) Report(c fit.Components, played map[string]time.Time) *ResidualReport {
	s.endSession()
	s.session = nil
	r := &ResidualReport{All: s.all.group()}
	r.Law = s.lawPoints(c)
	for _, slot := range slices.SortedFunc(maps.Keys(s.slots), pitch.Slot.Compare) {
		r.Slots = append(r.Slots, SlotGroup{slot, s.slots[slot].group()})
	}
	s.reportSources(r)
	s.reportFitted(r)
	s.reportNear(r)
	r.Times, r.Dated = s.times(played)
	r.Checks = s.checks(r, c)
	return r
}

func (s *Residuals) reportSources(r *ResidualReport) {
	var repeats repeatTally
	for source, t := range s.sources {
		r.Source = append(r.Source, SourceGroup{source, t.noise, t.group(), t.repeats.group()})
	}
	slices.SortFunc(r.Source, func(a, b SourceGroup) int {
		return cmp.Or(cmp.Compare(b.Readings, a.Readings), cmp.Compare(a.Contributor, b.Contributor), cmp.Compare(a.Method, b.Method))
	})
	for _, g := range r.Source { // in an order: sums of floats depend on it
		t := s.sources[g.Source].repeats
		repeats.n += t.n
		repeats.good += t.good
		repeats.square += t.square
	}
	r.Repeats = repeats.group()
}

// reportFitted lists the bins of fitted values and their regression. With f the
// fitted value and e the residual of a reading, f + e is the reading, so that
// given all readings Cov(f, e) is minus the variance of f; and since the true
// value and error are independent, the expectations have Cov = + that variance.
func (s *Residuals) reportFitted(r *ResidualReport) {
	for _, bin := range slices.Sorted(maps.Keys(s.fitted)) {
		r.Fitted = append(r.Fitted, FittedGroup{fittedStep * float64(bin), fittedStep * float64(bin+1), s.fitted[bin].group()})
	}
	m := s.moments
	if m.good == 0 {
		return
	}
	if variance := m.ff/m.good - (m.f/m.good)*(m.f/m.good); variance > 1e-9 {
		r.FittedSlope = (m.ef/m.good - m.e/m.good*m.f/m.good) / variance
		r.ExpectedSlope = m.given / m.good / variance
	}
}

// reportNear turns products of residuals into correlations.
func (s *Residuals) reportNear(r *ResidualReport) {
	if s.all.good == 0 {
		return
	}
	// Residuals in noises have this variance: good ones spread by one standard
	// deviation of what the fit leaves.
	own := r.All.Spread * r.All.Spread * float64(s.all.n) / s.widening
	for k, n := range s.near {
		if n.good == 0 {
			continue
		}
		r.Near = append(r.Near, NearGroup{Semitones: k + 1, Pairs: n.pairs,
			Correlation: n.product / n.good / own, Expected: s.expected[k] / own, Chance: 1 / math.Sqrt(n.good)})
	}
}

// lawSpan and lawPointStep say at which quantiles of the normal law the
// distribution is looked at.
const (
	lawSpan      = 5.0
	lawPointStep = 0.1
)

// lawPoints compares quantiles. A gross reading is grossFactor times as far off
// as a good one, and the fit follows it little, so its residual is about as
// wide as its error, in units of what the fit leaves of a good reading.
func (s *Residuals) lawPoints(c fit.Components) []LawPoint {
	n := float64(s.all.n)
	if n == 0 {
		return nil
	}
	law := s.mixture(c)
	var out []LawPoint
	seen, bin := 0.0, 0
	for k := -int(lawSpan / lawPointStep); k <= int(lawSpan/lawPointStep); k++ {
		x := float64(k) * lawPointStep
		p := distuv.UnitNormal.CDF(x)
		if p*n < 1 || (1-p)*n < 1 {
			continue
		}
		for bin < len(s.law) && seen+s.law[bin] < p*n {
			seen += s.law[bin]
			bin++
		}
		within := 0.5
		if bin < len(s.law) && s.law[bin] > 0 {
			within = (p*n - seen) / s.law[bin]
		}
		q := law.quantile(p)
		out = append(out, LawPoint{Normal: x, Mixture: q, Found: -lawReach + lawStep*(float64(bin)+within),
			Chance: math.Sqrt(p*(1-p)/n) / law.density(q)})
	}
	return out
}

// mixture is the law of standardised residuals: mostly the unit normal, a share
// of them wide times as wide.
type mixture struct{ share, wide float64 }

func (s *Residuals) mixture(c fit.Components) mixture {
	return mixture{c.GrossShare, c.GrossFactor * math.Sqrt(s.widening/float64(max(1, s.all.n)))}
}

func (m mixture) cdf(x float64) float64 {
	return (1-m.share)*distuv.UnitNormal.CDF(x) + m.share*distuv.UnitNormal.CDF(x/m.wide)
}

func (m mixture) density(x float64) float64 {
	return (1-m.share)*distuv.UnitNormal.Prob(x) + m.share/m.wide*distuv.UnitNormal.Prob(x/m.wide)
}

// quantile finds by halving where cdf is p.
func (m mixture) quantile(p float64) float64 {
	low, high := -10*m.wide, 10*m.wide
	for range 80 {
		if middle := (low + high) / 2; m.cdf(middle) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// How sessions are put together to look for changes in time.
const (
	timeGroups    = 12
	timeGroupSize = 3 // sessions, at least
)

// times puts sessions that followed each other together: by day played if at
// least half of them tell, those that don't left out, else by order of
// recording.
func (s *Residuals) times(played map[string]time.Time) (out []TimeGroup, dated bool) {
	when := func(t sessionTally) time.Time { return played[t.name] }
	list := slices.DeleteFunc(slices.Clone(s.sessions), func(t sessionTally) bool { return when(t).IsZero() })
	if dated = len(list) > 0 && 2*len(list) >= len(s.sessions); !dated {
		list = slices.Clone(s.sessions)
	}
	slices.SortFunc(list, func(a, b sessionTally) int {
		if dated {
			return cmp.Or(when(a).Compare(when(b)), cmp.Compare(a.sequence, b.sequence))
		}
		return cmp.Compare(a.sequence, b.sequence)
	})
	groups := min(timeGroups, len(list)/timeGroupSize)
	if groups < 2 {
		return nil, dated
	}
	for g := range groups {
		part := list[g*len(list)/groups : (g+1)*len(list)/groups]
		var sum tally
		for _, t := range part {
			sum.merge(t.tally)
		}
		group := TimeGroup{Sessions: len(part), Group: sum.group()}
		if dated {
			group.From, group.To = when(part[0]), when(part[len(part)-1])
		}
		out = append(out, group)
	}
	return out, dated
}
