package recording

import (
	"fmt"
	"math"

	"centwise/catalog/pitch"
)

// Tone is a note that was heard, or what looked like one.
type Tone struct {
	Start, End             float64 // s from the beginning of the file
	SteadyStart, SteadyEnd float64 // the part that counts
	Hz                     float64 // robust mean over the steady part; 0 if it has none
	ErrorCents             float64 // standard error of that
	SpreadCents            float64 // robust standard deviation of frames, vibrato and drift taken off
	DriftCents             float64 // how far the pitch moves from beginning to end of the steady part
	VibratoCents           float64 // extent to either side; 0 if there is none
	VibratoHz              float64
	LevelDB                float64 // median, below full scale
	Clipped                bool
	Grade                  Grade
	Reason                 string    // why it is rejected and what to do; only of Rejected
	Contour                []Contour // pitch over time, for drawings
}

// Contour is a point of a tone's pitch over time.
type Contour struct{ Second, Hz float64 }

// Grade says how far a tone can be trusted.
type Grade string

// Grades.
const (
	Good     Grade = "good"
	Fair     Grade = "fair"
	Poor     Grade = "poor"
	Rejected Grade = "rejected"
)

// Cents is the deviation of the tone from a sounding note, with A4 at a4 Hz.
func (t Tone) Cents(n pitch.Note, a4 float64) float64 { return pitch.Cents(t.Hz, n.Hz(a4)) }

// limits of grades, in cents.
type limits struct{ err, spread, drift float64 }

var (
	goodLimits = limits{err: 1, spread: 5, drift: 10}
	fairLimits = limits{err: 2.5, spread: 12, drift: 20}
	poorLimits = limits{err: 5, spread: 20, drift: 30}
)

func (l limits) hold(t Tone) bool {
	return t.ErrorCents <= l.err && t.SpreadCents <= l.spread && math.Abs(t.DriftCents) <= l.drift
}

// Frames of a hundredth of a second, dB and cents.
const (
	attackFrames  = 8
	releaseFrames = 5
	bodyDB        = 8.0  // what is softer than the body by more is beginning, end or echo
	leastBody     = 25   // frames that count
	mostSlide     = 80.0 // from beginning to end
	strayCents    = 60.0 // frames further from the median are no part of the tone
	// Share of the body's frames that must be left.
	leastKeptFrames = 0.7
	manyStrays      = 0.1 // share of them that is no noise
	contourPoints   = 100
)

// clock says when the frames of a run were heard.
type clock struct{ start, hop float64 } // s

func (c clock) second(frame int) float64 { return c.start + float64(frame)*c.hop }

// judge makes a tone of a piece of a run. The second result is false for what is
// too short to be spoken of.
func judge(run []frame, p piece, c clock) (Tone, bool) {
	t := Tone{Start: c.second(p.from), End: c.second(p.to)}
	if p.len() < leastPiece {
		return t, false
	}
	body := trim(run, p)
	t.SteadyStart, t.SteadyEnd = c.second(body.from), c.second(body.to)
	t.LevelDB, t.Clipped = loudness(run, p)
	t.Contour = contour(run, p, c)
	if body.len() < leastBody {
		return t.reject("lasts %.2g s: hold every note for a second or more", t.End-t.Start), true
	}
	track := voicedIn(run, body)
	kept := withoutStrays(track)
	if why := unusable(run, body.len(), track, kept); why != "" {
		return t.reject("%s", why), true
	}
	f, kept := steadiest(kept)
	if mostly(run, kept, func(f frame) bool { return f.below }) {
		f.mean -= 1200
		t.Contour = octaveLower(t.Contour)
	}
	t.SteadyStart, t.SteadyEnd = c.second(kept[0].frame), c.second(kept[len(kept)-1].frame+1)
	t.Hz = pitch.Shift(440, f.mean)
	t.ErrorCents, t.SpreadCents, t.DriftCents = f.err, f.spread, f.drift
	t.VibratoCents, t.VibratoHz = f.vibrato, f.vibratoHz
	return t.grade(), true
}

// unusable says why a body of so many frames, of which the track has a pitch and
// kept nearly the same one, is no note, and what to do; empty if it is one.
func unusable(run []frame, body int, track, kept []tracked) string {
	if len(track) < leastBody {
		return coveredByNoise
	}
	if drift := math.Abs(driftOf(track)); drift > mostSlide {
		return slides(drift)
	}
	if mostly(run, kept, func(f frame) bool { return f.hollow }) {
		return "two sound at once: play alone, without a drone or an echo"
	}
	enough := len(kept) >= leastBody && float64(len(kept)) >= leastKeptFrames*float64(body)
	switch {
	case !enough && float64(len(track)-len(kept)) > manyStrays*float64(len(track)):
		return "the pitch jumps, as when a note splits: play it again"
	case !enough:
		return coveredByNoise
	}
	return ""
}

const coveredByNoise = "noise covers it: go to a quieter room or move the microphone closer"

func slides(cents float64) string {
	return fmt.Sprintf("the pitch slides by %.0f cents: hold it still from beginning to end", cents)
}

func (t Tone) reject(format string, args ...any) Tone {
	t.Grade, t.Reason = Rejected, fmt.Sprintf(format, args...)
	return t
}

func (t Tone) grade() Tone {
	switch {
	case math.Abs(t.DriftCents) > poorLimits.drift:
		return t.reject("%s", slides(math.Abs(t.DriftCents)))
	case !poorLimits.hold(t):
		return t.reject("it is unsteady by %.0f cents: hold it still, with a little more air", math.Max(t.SpreadCents, t.ErrorCents))
	case goodLimits.hold(t) && !t.Clipped:
		t.Grade = Good
	case fairLimits.hold(t):
		t.Grade = Fair
	default:
		t.Grade = Poor
	}
	return t
}

// trim takes beginning, end and echo off a piece.
func trim(run []frame, p piece) piece {
	levels := make([]float64, 0, p.len())
	for _, f := range run[p.from:p.to] {
		levels = append(levels, f.level)
	}
	least := quantile(levels, 0.75) - bodyDB
	for p.from < p.to && run[p.from].level < least {
		p.from++
	}
	for p.to > p.from && run[p.to-1].level < least {
		p.to--
	}
	n := p.len()
	p.from += min(attackFrames, n/5)
	p.to -= min(releaseFrames, n/8)
	return p
}

func loudness(run []frame, p piece) (level float64, clipped bool) {
	levels := make([]float64, 0, p.len())
	for _, f := range run[p.from:p.to] {
		levels = append(levels, f.level)
		clipped = clipped || f.clipped
	}
	return median(levels), clipped
}

// contour thins the pitch of a piece to a few points, the median of the frames
// about each.
func contour(run []frame, p piece, c clock) []Contour {
	var out []Contour
	step := max(1, p.len()/contourPoints)
	for i := p.from; i < p.to; i += step {
		var near []float64
		for _, f := range run[i:min(i+step, p.to)] {
			if f.voiced {
				near = append(near, f.cents)
			}
		}
		if len(near) > 0 {
			out = append(out, Contour{c.second(i) + float64(step)/2*c.hop, pitch.Shift(440, median(near))})
		}
	}
	return out
}

// tracked is the pitch of a frame.
type tracked struct {
	frame int
	cents float64
}

func voicedIn(run []frame, p piece) []tracked {
	var out []tracked
	for i := p.from; i < p.to; i++ {
		if run[i].voiced {
			out = append(out, tracked{i, run[i].cents})
		}
	}
	return out
}

// mostly tells whether more than half of the frames are so.
func mostly(run []frame, track []tracked, so func(frame) bool) bool {
	n := 0
	for _, x := range track {
		if so(run[x.frame]) {
			n++
		}
	}
	return 2*n > len(track)
}

func octaveLower(contour []Contour) []Contour {
	for i := range contour {
		contour[i].Hz /= 2
	}
	return contour
}

func withoutStrays(track []tracked) []tracked {
	list := make([]float64, len(track))
	for i, x := range track {
		list[i] = x.cents
	}
	centre := median(list)
	var out []tracked
	for _, x := range track {
		if math.Abs(x.cents-centre) <= strayCents {
			out = append(out, x)
		}
	}
	return out
}

// Where the pitch drifts, ends of the track are left out, a tenth at a time, as
// long as half of it stays: a scoop into a note is no part of it.
const (
	steadyDrift = 20.0 // cents
	cutShare    = 0.1
	leastKept   = 0.5
)

// steadiest fits the track, or the part of it that drifts least.
func steadiest(track []tracked) (fitted, []tracked) {
	drift := driftOf(track)
	least := max(leastBody, int(leastKept*float64(len(track))))
	for math.Abs(drift) > steadyDrift && len(track) > least {
		cut := max(1, min(int(cutShare*float64(len(track))), len(track)-least))
		late, early := driftOf(track[cut:]), driftOf(track[:len(track)-cut])
		if math.Abs(late) <= math.Abs(early) {
			drift, track = late, track[cut:]
		} else {
			drift, track = early, track[:len(track)-cut]
		}
	}
	return fitTrack(track), track
}
