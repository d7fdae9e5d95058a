package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/match/fit"
)

// level is how high a session lies as a whole.
type level struct {
	contributor string
	method      catalog.Method
	cents       float64
}

// level is the median distance of the session from its expectation.
func (s *sheet) level(p fit.Prediction) (float64, bool) {
	e := expect(p)
	var x []float64
	for i, slot := range s.slots {
		if c, ok := e.cents(slot); ok {
			x = append(x, s.cents[i]-c)
		}
	}
	if len(x) < minNotes {
		return 0, false
	}
	return median(x), true
}

// Thresholds for a contributor's tuner. Sessions differ in level by slide and
// temperature, so it takes several, and standard errors, to tell.
const (
	tunerSessions = 5
	tunerCents    = 8.0
	tunerErrors   = 4.0
)

// tuners finds contributors whose sessions lie higher or lower than those of
// everybody else measuring by the same method. It costs the fit nothing, which
// frees every session's level, but the contributor will want to know.
func (c *checker) tuners() []catalog.Finding {
	type key struct {
		contributor string
		method      catalog.Method
	}
	own := map[key][]float64{}
	var keys []key
	for _, l := range c.levels {
		k := key{l.contributor, l.method}
		if own[k] == nil {
			keys = append(keys, k)
		}
		own[k] = append(own[k], l.cents)
	}
	var out []catalog.Finding
	for _, k := range keys {
		var others []float64
		for _, l := range c.levels {
			if l.method == k.method && l.contributor != k.contributor {
				others = append(others, l.cents)
			}
		}
		if k.contributor == "" || len(own[k]) < tunerSessions || len(others) < tunerSessions {
			continue
		}
		if f, ok := tunerFinding(k.contributor, own[k], others); ok {
			out = append(out, f)
		}
	}
	return out
}

func tunerFinding(contributor string, own, others []float64) (catalog.Finding, bool) {
	difference := median(own) - median(others)
	se := math.Hypot(medianError(own), medianError(others))
	if math.Abs(difference) < tunerCents || math.Abs(difference) < tunerErrors*se {
		return catalog.Finding{}, false
	}
	direction := "higher"
	if difference < 0 {
		direction = "lower"
	}
	return catalog.Finding{
		Kind: FindTunerOff, Subject: contributor,
		Detail: fmt.Sprintf("%d sessions by %s lie %.0f cents %s than those of others: check the tuner's reference pitch, or the A4 entered",
			len(own), contributor, math.Abs(difference), direction),
		Certainty: 0.9,
		Repair:    "centwise session list --contributor " + catalog.ShellWord(contributor),
	}, true
}

// medianError is the standard error of the median of normal values, sd taken
// from the median absolute deviation: sqrt(pi/2) sd / sqrt n.
func medianError(x []float64) float64 {
	middle := median(x)
	away := slices.Clone(x)
	for i := range away {
		away[i] -= middle
	}
	sd := 1.4826 * medianAbs(away)
	return math.Sqrt(math.Pi/2) * max(sd, 1) / math.Sqrt(float64(len(x)))
}
