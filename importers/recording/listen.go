package recording

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"centwise/catalog"
)

// Recording is what was heard in a file.
type Recording struct {
	Name    string
	Format  Format
	Seconds float64
	Tones   []Tone   // in order of time, rejected ones among them
	Notices []string // what the user should know about the file
}

// Kept lists the tones that are not rejected.
func (r *Recording) Kept() []Tone {
	var out []Tone
	for _, t := range r.Tones {
		if t.Grade != Rejected {
			out = append(out, t)
		}
	}
	return out
}

// Listen finds the sustained notes of a WAV or FLAC file, which is read once from
// beginning to end; memory does not grow with its length but for the notes
// themselves. Errors are an [*catalog.Error] of kind Invalid that says what is
// wrong with the file, that of ctx, or what went wrong with reading. A file that
// breaks off, and one without a note, is none: see Notices and Tones.
func Listen(ctx context.Context, r io.Reader, name string, progress catalog.Counter) (*Recording, error) {
	d, err := open(r, name)
	if err != nil {
		return nil, err
	}
	if progress == nil {
		progress = catalog.NoCounter{}
	}
	defer progress.Done()
	l := newListener(d.format())
	progress.Start("listening to "+name, int64(float64(l.format.Frames)/float64(l.format.Rate)))
	cut, err := l.all(ctx, d, progress)
	if err != nil {
		return nil, err
	}
	out := &Recording{Name: name, Format: l.format, Seconds: float64(l.samples) / float64(l.format.Rate), Tones: l.tones}
	out.rejectFaint()
	out.notice(cut, l)
	return out, nil
}

// listener turns blocks of samples into frames, frames into runs, and runs into
// tones.
type listener struct {
	format      Format
	factor      int
	tracker     *tracker
	left, right []float64 // a block as recorded
	mixer       mixer
	clip        clipping

	run      []frame
	runStart int // number of its first frame
	gap      int // frames without pitch at its end
	frames   int
	samples  int64
	last     float64 // cents of the last long piece; NaN before there is one
	tones    []Tone
}

func newListener(f Format) *listener {
	factor := workingFactor(f.Rate)
	l := &listener{format: f, factor: factor, tracker: newTracker(float64(f.Rate) / float64(factor)), last: math.NaN()}
	block := factor * l.tracker.hop
	l.left, l.right = make([]float64, block), make([]float64, block)
	l.mixer = newMixer(f.Channels, factor, l.tracker.rate)
	l.clip = newClipping(f)
	return l
}

// all reads the file to its end. Cut: it breaks off.
func (l *listener) all(ctx context.Context, d decoder, progress catalog.Counter) (cut bool, err error) {
	second := int64(0)
	for {
		if err := ctx.Err(); err != nil {
			return false, err
		}
		n, err := d.read(l.left, l.right)
		l.take(n)
		if now := l.samples / int64(l.format.Rate); now > second {
			progress.Add(now - second)
			second = now
		}
		switch {
		case errors.Is(err, errCut), err == nil && n == 0:
			l.endRun()
			return true, nil
		case errors.Is(err, io.EOF):
			l.endRun()
			return false, nil
		case err != nil:
			return false, err
		}
	}
}

// take analyses n samples of the block.
func (l *listener) take(n int) {
	l.samples += int64(n)
	clipped := l.clip.in(l.left[:n])
	if l.format.Channels == 2 {
		clipped = l.clip.in(l.right[:n]) || clipped
	}
	l.mixer.add(l.left[:n], l.right[:n])
	for {
		window := l.mixer.window(l.tracker.length)
		if window == nil {
			return
		}
		f := l.tracker.next(window)
		f.clipped = clipped
		l.mixer.drop(l.tracker.hop)
		l.heard(f)
	}
}

// heard adds a frame to the run, or ends it.
func (l *listener) heard(f frame) {
	l.frames++
	if len(l.run) == 0 {
		if !f.voiced {
			return
		}
		l.runStart = l.frames - 1
	}
	l.run = append(l.run, f)
	l.gap++
	if f.voiced {
		l.gap = 0
	}
	if l.gap > longestGap || len(l.run) >= longestRun {
		l.endRun()
	}
}

// endRun turns the run into tones.
func (l *listener) endRun() {
	run := l.run[:len(l.run)-l.gap]
	if len(run) == 0 {
		l.run, l.gap = l.run[:0], 0
		return
	}
	list := pieces(run)
	for i, p := range list {
		t, spoken := judge(run, p, clock{l.second(l.runStart), l.tracker.hopTime()})
		if spoken && t.Grade != Rejected && i > 0 && l.cracked(run, list[i-1], t) {
			t = t.reject("it begins on another pitch, as when the attack cracks: play it again")
		}
		if spoken {
			l.tones = append(l.tones, t)
		}
		if p.len() >= leastBody {
			l.last = middleOf(run, p)
		}
	}
	l.run, l.gap = l.run[:0], 0
}

// second is the middle of what frame i says, in s: it compares two windows, a hop
// apart.
func (l *listener) second(i int) float64 {
	return float64(i)*l.tracker.hopTime() + (float64(l.tracker.length)/2-float64(l.tracker.hop)/2)/l.tracker.rate
}

func middleOf(run []frame, p piece) float64 {
	var list []float64
	for _, x := range voicedIn(run, p) {
		list = append(list, x.cents)
	}
	return median(list)
}

// A cracked attack, in frames, cents and dB.
const (
	shortestCrack = 4
	nearestCrack  = 150.0 // partials lie further apart than a whole tone
	softestCrack  = 15.0
)

// cracked tells whether the short piece before a tone is its failed beginning,
// and not the echo of the note before it.
func (l *listener) cracked(run []frame, before piece, t Tone) bool {
	if before.len() < shortestCrack || before.len() >= leastBody {
		return false
	}
	level, _ := loudness(run, before)
	cents := middleOf(run, before)
	away := math.Abs(cents - 1200*math.Log2(t.Hz/440))
	echo := math.Abs(cents-l.last) < leastStep
	return away >= nearestCrack && !echo && level > t.LevelDB-softestCrack
}

// How much softer than the others a note may be, and what is too short to be one
// before it is taken for an echo, in dB.
const (
	faintDB = 30.0
	echoDB  = 18.0
)

// rejectFaint leaves out what is far softer than the notes of the file: echoes,
// neighbours and talk.
func (r *Recording) rejectFaint() {
	var levels []float64
	for _, t := range r.Kept() {
		levels = append(levels, t.LevelDB)
	}
	if len(levels) == 0 {
		return
	}
	usual := median(levels)
	r.Tones = slices.DeleteFunc(r.Tones, func(t Tone) bool { return t.Hz == 0 && t.LevelDB < usual-echoDB })
	for i, t := range r.Tones {
		if t.Grade != Rejected && t.LevelDB < usual-faintDB {
			r.Tones[i] = t.reject("it is %.0f dB softer than the other notes, as an echo or a neighbour: play it as loud as the others", usual-t.LevelDB)
		}
	}
}

// notice says what the user should know about the file as a whole.
func (r *Recording) notice(cut bool, l *listener) {
	if cut {
		r.Notices = append(r.Notices, fmt.Sprintf("%s breaks off after %.1f s; what comes before that is used", r.Name, r.Seconds))
	}
	if l.clip.found {
		r.Notices = append(r.Notices, r.Name+" is too loud for the recorder in places: move further away, or turn its input down")
	}
	if len(r.Tones) == 0 {
		r.Notices = append(r.Notices, r.Name+" holds no sustained note: hold every note for a second or more, a step away from the microphone")
	}
}
