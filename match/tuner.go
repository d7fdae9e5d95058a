package match

import (
	"fmt"
	"math"

	"centwise/catalog"
)

// level is how high a session lies as a whole.
type level struct {
	contributor string
	method      catalog.Method
	cents       float64
}

// level is the median distance of the session from its expectation.
func (s *sheet) level(e expectation) (float64, bool) {
	v, _ := s.values(e.outlook)
	var x []float64
	for a, cents := range v.cents {
		x = append(x, cents-e.mean[v.places[a]])
	}
	if len(x) < minNotes {
		return 0, false
	}
	return median(x), true
}

// Thresholds for a contributor's tuner. Sessions differ in level by slide and
// temperature, so it takes several, and standard errors, to tell; and it takes
// three contributors to tell which of them is the odd one.
const (
	tunerSessions     = 5
	tunerContributors = 3
	tunerCents        = 8.0
	tunerErrors       = 4.0
)

// tuners finds contributors whose sessions lie higher or lower than those of
// the others who measure by the same method. It costs the fit nothing, which
// frees every session's level, but the contributor will want to know.
func (c *checker) tuners() []catalog.Finding {
	var out []catalog.Finding
	for _, byContributor := range c.levelsByMethod() {
		out = append(out, oddTuners(byContributor)...)
	}
	return out
}

// levelsByMethod are the levels of sessions by method and contributor.
func (c *checker) levelsByMethod() map[catalog.Method]map[string][]float64 {
	levels := map[catalog.Method]map[string][]float64{}
	for _, l := range c.levels {
		if levels[l.method] == nil {
			levels[l.method] = map[string][]float64{}
		}
		levels[l.method][l.contributor] = append(levels[l.method][l.contributor], l.cents)
	}
	return levels
}

// tunerScale is how high the sessions of one method lie as a whole, and how much
// that scatters, in cents.
type tunerScale struct{ reference, referenceError, scatter float64 }

// scaleOf takes the reference from the contributors who have measured enough; ok
// is false where there are too few of them.
func scaleOf(levels map[string][]float64) (s tunerScale, ok bool) {
	var medians, within []float64
	for contributor, own := range levels {
		if contributor == "" || len(own) < tunerSessions {
			continue
		}
		middle := median(own)
		medians = append(medians, middle)
		for _, x := range own {
			within = append(within, x-middle)
		}
	}
	if len(medians) < tunerContributors {
		return tunerScale{}, false
	}
	// The scatter of levels is much the same for everybody, and a handful of
	// sessions can't tell its own.
	return tunerScale{median(medians), medianError(robustSD(medians), len(medians)), robustSD(within)}, true
}

// offset is by how much sessions of one contributor lie higher than those of
// others, and its standard error, in cents.
func (s tunerScale) offset(own []float64) (cents, se float64) {
	return median(own) - s.reference, math.Hypot(medianError(s.scatter, len(own)), s.referenceError)
}

// oddTuners compares each contributor's median level with the median of all.
func oddTuners(levels map[string][]float64) []catalog.Finding {
	scale, ok := scaleOf(levels)
	if !ok {
		return nil
	}
	var out []catalog.Finding
	for contributor, own := range levels {
		if contributor == "" || len(own) < tunerSessions {
			continue
		}
		if difference, se := scale.offset(own); math.Abs(difference) >= max(tunerCents, tunerErrors*se) {
			out = append(out, tunerFinding(contributor, len(own), difference))
		}
	}
	return out
}

func tunerFinding(contributor string, sessions int, difference float64) catalog.Finding {
	direction := "higher"
	if difference < 0 {
		direction = "lower"
	}
	return catalog.Finding{
		Kind: FindTunerOff, Subject: contributor,
		Detail: fmt.Sprintf("%d sessions by %s lie %.0f cents %s than those of others: check the tuner's reference pitch, or the A4 entered",
			sessions, contributor, math.Abs(difference), direction),
		Certainty: tunerCertainty,
		Repair:    "centwise session list --contributor " + catalog.ShellWord(contributor),
	}
}

// tunerCertainty leaves room for somebody who simply plays with the slide in.
const tunerCertainty = 0.8

// robustSD is the standard deviation of normal values told by their median
// absolute deviation, at least 1 cent.
func robustSD(x []float64) float64 {
	middle := median(x)
	away := make([]float64, len(x))
	for i, v := range x {
		away[i] = v - middle
	}
	return max(1, 1.4826*medianAbs(away))
}

// medianError is the standard error of the median of n normal values with
// standard deviation sd: sqrt(pi/2) sd / sqrt n.
func medianError(sd float64, n int) float64 {
	return math.Sqrt(math.Pi/2) * sd / math.Sqrt(float64(n))
}
