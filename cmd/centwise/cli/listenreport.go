package cli

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
)

// print says what is heard: a table or data, and sentences.
func (o *listenOptions) print(h *heard) error {
	h.Words = o.words(h)
	s := o.factory.Streams
	if err := o.output.table(s, o.table(h), func() any { return h }); err != nil {
		return err
	}
	if !o.output.json && !o.output.csv {
		s.Notes(h.Words)
	}
	return nil
}

// table lays out what is heard, a line a note.
func (o *listenOptions) table(h *heard) *show.Table {
	droneTitle := ""
	if o.pattern == patternDrone {
		droneTitle = "what"
	}
	t := &show.Table{Columns: []show.Column{
		{Title: "version", Name: "version"},
		{Title: droneTitle, Name: "what"},
		{Title: "from s", Name: "start_s", Right: true}, {Title: "to s", Name: "end_s", Right: true},
		{Title: "note", Name: "note"}, {Title: "sounds", Name: "concert"}, {Title: "valves", Name: "valves", Drop: 1},
		{Title: "off", Name: "off", Right: true}, {Name: "cents", Right: true}, {Name: "sd", Right: true},
		{Title: "Hz", Name: "frequency_hz", Right: true},
	}}
	for _, take := range h.Takes {
		for _, n := range take.Notes {
			what := "note"
			if n.Drone {
				what = "drone"
			}
			t.Add(show.Words(take.Version), show.Words(what), show.Number(n.Start, 1), show.Number(n.End, 1),
				show.Words(n.Note), show.Words(n.Concert), show.Words(n.Valves),
				show.Cents(n.Off, 1), show.Number(n.Cents, 1), show.Number(n.SD, 1), show.Number(n.Hz, 2))
		}
	}
	return t
}

// words says in sentences what the file holds.
func (o *listenOptions) words(h *heard) []string {
	out := []string{
		fmt.Sprintf("%s: %.1f s, one channel, %d samples a second of %d bits.", h.File, h.Seconds, h.Rate, h.Bits),
		o.orderWords(h),
	}
	out = append(out, offWords(h)...)
	out = append(out, gapWords(h)...)
	return append(out, levelWords(h, o.loudness), cautionLoud)
}

// gapWords say which notes are missing, or are not as predicted.
func gapWords(h *heard) []string {
	var out []string
	if h.Part != nil {
		out = append(out, fmt.Sprintf("The part is %s, from %.4g to %.4g s.", cmp.Or(h.Part.Name, h.Part.ID), h.Part.From, h.Part.To))
		out = append(out, h.remarks...)
	}
	reason := "since nothing is predicted for them"
	if h.Part != nil {
		reason = "since the horn does not reach them"
	}
	if len(h.LeftOut) > 0 {
		out = append(out, fmt.Sprintf("Left out, %s: %s.", reason, strings.Join(h.LeftOut, ", ")))
	}
	if len(h.Unknown) > 0 {
		text := fmt.Sprintf("In tune in both versions, since nothing is predicted for them: %s.", strings.Join(h.Unknown, ", "))
		if h.wider {
			text += " A wider --range may help."
		}
		out = append(out, text)
	}
	return out
}

func (o *listenOptions) orderWords(h *heard) string {
	predicted := "as predicted: what the tuning slide and the throws leave to the lip"
	switch {
	case o.asItComes:
		predicted = "as predicted before slide and throws, the mean of the usual notes at nought"
	case o.setup.judge.noThrows:
		predicted = "as predicted: what the tuning slide leaves to the lip and the throws"
	}
	inTune := "in tune (" + h.Temperament + ")"
	if h.Temperament == pitch.Equal.Name {
		inTune = "in tune (equal temperament)"
	}
	silence := fmt.Sprintf("%g s of silence before and after", h.LeadSeconds)
	if len(h.Takes) > 1 {
		silence = fmt.Sprintf("%g s of silence between, %s", h.GapSeconds, silence)
	}
	heard := "First " + inTune + ", then " + predicted
	switch o.only {
	case versionInTune:
		heard = "Only " + inTune
	case versionPredicted:
		heard = "Only " + predicted
	}
	if o.only == "" && len(h.Takes) > 2 {
		heard += ", note by note"
	}
	return heard + "; " + silence + "."
}

// offWords names the extremes of what is predicted, or how drones beat.
func offWords(h *heard) []string {
	var sharp, flat *heardNote
	var out []string
	for i := range h.Takes {
		take := &h.Takes[i]
		if take.Version != versionPredicted {
			continue
		}
		for j := range take.Notes {
			n := &take.Notes[j]
			if sharp == nil || n.Off > sharp.Off {
				sharp = n
			}
			if flat == nil || n.Off < flat.Off {
				flat = n
			}
		}
		if take.Beats != nil {
			out = append(out, beatWords(*take))
		}
	}
	if sharp == nil || out != nil {
		return out
	}
	return []string{fmt.Sprintf("Predicted highest: %s by %s cents; lowest: %s by %s cents.",
		sharp.Note, show.Signed(sharp.Off, 1), flat.Note, show.Signed(flat.Off, 1))}
}

func beatWords(take heardTake) string {
	n := take.Notes[len(take.Notes)-1]
	if math.Abs(n.Off) < 0.05 {
		return fmt.Sprintf("%s is predicted in tune with the drone: no beats.", n.Note)
	}
	return fmt.Sprintf("%s, predicted %s cents off, beats %.1f times a second with the drone, and its harmonics two, three and more times as often.",
		n.Note, show.Signed(n.Off, 1), *take.Beats)
}

func levelWords(h *heard, wanted float64) string {
	peak := math.Inf(-1)
	for _, t := range h.Takes {
		peak = max(peak, t.TruePeak)
	}
	each := "Its loudness is"
	if len(h.Takes) > 1 {
		each = "Each version has the loudness"
	}
	text := fmt.Sprintf("%s %.1f LUFS (ITU-R BS.1770-4); the highest true peak is %.1f dB of full scale, the limit %g.",
		each, h.Takes[0].LUFS, peak, h.PeakLimit)
	if lower := wanted - h.Takes[0].LUFS; lower > 0.05 {
		text = strings.TrimSuffix(text, ".") + fmt.Sprintf(", which keeps it %.1f below the %g asked for.", lower, wanted)
	}
	return text
}
