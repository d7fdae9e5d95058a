package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/form"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/protocol"
)

type visitRecordOptions struct {
	factory *Factory
	names   []string
	try     string
	reads   []string
	undo    bool
	json    bool
}

func newVisitRecordCmd(f *Factory, runF func(*visitRecordOptions) error) *cobra.Command {
	o := &visitRecordOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "record [VISIT]",
		Short: "Take the readings of a try, and say what to try next",
		Long: long(`Take the readings of a visit, the latest open one unless it is named, and say after each try what to try next or that it
is time to stop. On a terminal it asks note by note: the cents as the tuner shows them, several readings with spaces
between, skip to leave a note out, undo to take the last line back, quit to go on another time.`,
			`Every line is on disk before the next is asked for: after Ctrl-C, a closed terminal or a flat battery the same command
goes on at the same note. The try asked for next is the one that adds most to the best so far, given all that was read.
It may be time to stop when no candidate left is likely to be better by much (see --stop-cents and --stop-chance of
'centwise visit plan'), or when the tries are made.`,
			`With flags instead: --try is the letter of a candidate, --read a note and its readings, as in --read "G5 -3 -4", as
often as needed; --undo takes the last line of the visit back.`,
			`--json prints {"name", "horn", "player", "blind", "standings": [{"code", "mouthpiece", "now", "tried", "readings",
"rank_before", "rank_after", "before": {"cents", "low", "high"}, "after", "chance_better", "chance_best", "raw_cents"}],
"tried", "pick", "pick_code", "next", "next_code", "next_gain_cents", "done", "done_for", "verdict", "raw",
"why_not_raw"}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy, exitCancelled)),
		Example: `  centwise visit record
  centwise visit record "2026-11-25 Alder" --try B --read "G5 -3 -4" --read "C5 4 3,5"
  centwise visit record --undo --json`,
		Args: args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.names = got
			return orRun(runF, visitRecordRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.try, "try", "", "`LETTER` of the candidate that was read")
	fs.StringArrayVar(&o.reads, "read", nil, "`NOTE CENTS...` that were read; may be repeated")
	fs.BoolVar(&o.undo, "undo", false, "take the last line of the visit back")
	fs.BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func visitRecordRun(ctx context.Context, o *visitRecordOptions) error {
	switch {
	case o.undo && len(o.reads) > 0:
		return usagef("give one of them", "--undo and --read cannot be used together")
	case o.try != "" && len(o.reads) == 0 && !o.undo:
		return usagef(`--try B --read "G5 -3 -4"; without either it asks note by note`, "--try says whose readings they are, and --read is missing")
	case o.try == "" && len(o.reads) > 0:
		return usagef(`--try B --read "G5 -3 -4"`, "--try is missing: of which candidate are the readings?")
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	v, err := openVisit(ctx, store, o.names)
	if err != nil {
		return err
	}
	r := &visitRecording{options: o, store: store, visit: v}
	if len(o.reads) > 0 || o.undo {
		return r.byFlags(ctx)
	}
	return r.byForm(ctx)
}

// visitRecording is the recording of one visit under way.
type visitRecording struct {
	options *visitRecordOptions
	store   catalog.Store
	visit   *keptVisit
	model   match.Foresight
}

// add puts a line on disk, then into the visit.
func (r *visitRecording) add(ctx context.Context, l catalog.VisitLine) error {
	if err := r.store.AddVisitLine(ctx, r.visit.ID, len(r.visit.Lines)+1, l); err != nil {
		return err
	}
	r.visit.Lines = append(r.visit.Lines, l)
	return nil
}

// progress works out how the visit stands, from the fit as it was when the visit
// began to be recorded.
func (r *visitRecording) progress(ctx context.Context) (*match.VisitProgress, error) {
	if r.model == nil {
		model, err := r.options.factory.Fit(ctx, r.store, false, r.options.factory.Progress())
		if err != nil {
			return nil, err
		}
		r.model = model
	}
	return r.visit.progress(r.model, false)
}

// byFlags takes what the flags say and prints how the visit stands.
func (r *visitRecording) byFlags(ctx context.Context) error {
	o := r.options
	if o.undo {
		undo, any := r.undo()
		if !any {
			return catalog.Errorf(catalog.Invalid, "read a note first", "there is no line to take back")
		}
		if err := r.add(ctx, undo); err != nil {
			return err
		}
	}
	lines, err := o.lines(r.visit)
	if err != nil {
		return err
	}
	for _, l := range lines {
		if err := r.add(ctx, l); err != nil {
			return err
		}
	}
	p, err := r.progress(ctx)
	if err != nil {
		return err
	}
	return o.print(p)
}

// undo is the line that takes back the last line of the visit, if there is one.
func (r *visitRecording) undo() (l catalog.VisitLine, any bool) {
	taken := r.visit.Taken()
	if len(taken) == 0 {
		return l, false
	}
	return catalog.VisitLine{Code: taken[len(taken)-1].Code, DraftLine: catalog.DraftLine{Kind: catalog.LineUndo}}, true
}

// lines turns --try and --read into lines; all are looked at before any is kept.
func (o *visitRecordOptions) lines(v *keptVisit) ([]catalog.VisitLine, error) {
	if len(o.reads) == 0 {
		return nil, nil
	}
	code := strings.ToUpper(strings.TrimSpace(o.try))
	if _, ok := v.Candidate(code); !ok {
		return nil, usagef(`--try `+v.Candidates[0].Code, "--try %q is not a candidate of visit %s: they are %s", o.try, v.Name, strings.Join(codes(v), ", "))
	}
	var out []catalog.VisitLine
	for _, text := range o.reads {
		note, rest, _ := strings.Cut(strings.TrimSpace(text), " ")
		slot, err := visitNote(v, note)
		if err != nil {
			return nil, err
		}
		l, err := visitEntry(rest, slot)
		if err != nil {
			return nil, fmt.Errorf("--read %q: %w", text, err)
		}
		out = append(out, catalog.VisitLine{Code: code, DraftLine: l})
	}
	return out, nil
}

func codes(v *keptVisit) (out []string) {
	for _, c := range v.Candidates {
		out = append(out, c.Code)
	}
	return out
}

// visitNote finds one of a visit's notes by its name.
func visitNote(v *keptVisit, text string) (pitch.Slot, error) {
	n, err := pitch.ParseNote(text)
	var names []string
	for _, s := range v.Notes {
		if err == nil && s.Note() == n {
			return s, nil
		}
		names = append(names, s.Note().String())
	}
	return pitch.Slot{}, usagef(`--read "`+names[0]+` -3 -4"`, "--read: %q is not a note of visit %s: they are %s", text, v.Name, strings.Join(names, ", "))
}

// visitEntry reads what was typed for a note.
func visitEntry(text string, slot pitch.Slot) (catalog.DraftLine, error) {
	e, err := protocol.ParseEntry(text)
	if err != nil {
		return catalog.DraftLine{}, err
	}
	switch e.Command {
	case protocol.Read:
		return catalog.DraftLine{Kind: catalog.LineRead, Slot: slot, Cents: e.Cents}, nil
	case protocol.Skip:
		return catalog.DraftLine{Kind: catalog.LineSkip, Slot: slot}, nil
	}
	return catalog.DraftLine{}, catalog.Errorf(catalog.Invalid, protocol.EntryHint, "%q holds no reading", text)
}

func (o *visitRecordOptions) print(p *match.VisitProgress) error {
	s := o.factory.Streams
	if o.json {
		return show.JSON(s.Out, p)
	}
	return show.VisitProgress(s.Out, s.Style, p)
}

// byForm asks note by note, try by try.
func (r *visitRecording) byForm(ctx context.Context) error {
	o := r.options
	asker := o.factory.Asker()
	if asker == nil {
		return usagef(`centwise visit record --try A --read "G5 -3 -4"`, "there is nobody to ask: say by --try and --read what was read")
	}
	for {
		p, err := r.progress(ctx)
		if err != nil {
			return err
		}
		code, err := r.choose(ctx, asker, p)
		if err != nil || code == "" {
			return r.leave(err)
		}
		if err := r.readTry(ctx, asker, code); err != nil {
			return r.leave(err)
		}
		if p, err = r.progress(ctx); err != nil {
			return err
		}
		if err := o.print(p); err != nil {
			return err
		}
	}
}

// leave ends the form: what was taken is kept.
func (r *visitRecording) leave(err error) error {
	s := r.options.factory.Streams
	if err == nil || errors.Is(err, form.ErrLeft) || errors.Is(err, form.ErrEnded) {
		s.Note("Everything read so far is kept. Go on, or see what to keep:")
		s.Command("centwise visit record " + catalog.ShellWord(r.visit.Name) + r.options.factory.Here())
		s.Command("centwise visit result " + catalog.ShellWord(r.visit.Name) + r.options.factory.Here())
		return nil
	}
	return err
}

// stopHere is the answer that ends a visit.
const stopHere = "stop"

// choose asks which candidate is tried now; the one that was left in the middle
// comes first, then the one that the readings ask for.
func (r *visitRecording) choose(ctx context.Context, asker form.Asker, p *match.VisitProgress) (string, error) {
	answer := p.NextCode
	if half := r.unfinished(); half != "" {
		answer = half
	} else if p.Done || answer == "" {
		answer = stopHere
	}
	title := "Visit " + r.visit.Name
	choices := []form.Choice{{Value: stopHere, Label: "stop here"}}
	for i, c := range r.visit.Candidates {
		label := "try " + c.Code
		if !r.visit.Blind {
			label += ", " + r.visit.candidates[i].Label
		}
		if c.Code == p.NextCode {
			label += " (next)"
		}
		choices = append(choices, form.Choice{Value: c.Code, Label: label})
	}
	err := asker.Ask(ctx, form.Form{Title: title, Pages: []form.Page{{Title: r.why(p), Questions: []form.Question{
		{Name: "Now", Answer: &answer, Choices: choices, Help: "Rest first, and disinfect what others had on their lips. Tune the reference note with the slide."},
	}}}})
	if err != nil || answer == stopHere {
		return "", err
	}
	return answer, nil
}

// why says what speaks for going on or stopping.
func (r *visitRecording) why(p *match.VisitProgress) string {
	switch {
	case p.Tried == 0 && r.visit.Planned == 1:
		return "1 try is planned"
	case p.Tried == 0:
		return fmt.Sprintf("%d tries are planned", r.visit.Planned)
	case p.Done:
		return "Time to stop: " + p.DoneFor
	}
	return "Go on: " + p.DoneFor
}

// unfinished is the candidate that was read last, if notes of it are missing.
func (r *visitRecording) unfinished() string {
	taken := r.visit.Taken()
	if len(taken) == 0 {
		return ""
	}
	code := taken[len(taken)-1].Code
	if _, more := r.nextNote(code); more {
		return code
	}
	return ""
}

// nextNote is the first note of a candidate that was neither read nor skipped.
func (r *visitRecording) nextNote(code string) (pitch.Slot, bool) {
	for _, slot := range r.visit.Notes {
		if !slices.ContainsFunc(r.visit.Taken(), func(l catalog.VisitLine) bool { return l.Code == code && l.Slot == slot }) {
			return slot, true
		}
	}
	return pitch.Slot{}, false
}

// readTry asks for every note of a candidate that is still to be read. Undo may
// go back to the candidate before, whose note is then asked for.
func (r *visitRecording) readTry(ctx context.Context, asker form.Asker, code string) error {
	for {
		slot, more := r.nextNote(code)
		if !more {
			return nil
		}
		var answer string
		at := slices.Index(r.visit.Notes, slot) + 1
		err := asker.Ask(ctx, form.Form{Title: "Candidate " + code, Pages: []form.Page{{Title: fmt.Sprintf("Note %d of %d", at, len(r.visit.Notes)), Questions: []form.Question{{
			Name: slot.Note().String() + ", " + show.Fingering(slot.Valves), Unit: "cents", Answer: &answer,
			Help:  fmt.Sprintf("The tuner calls it %s. Play it %d times; type all readings with spaces between. skip, undo and quit are words too.", (slot.Note() + pitch.Note(r.visit.horn.Transposition())).String(), r.visit.Times),
			Check: checkVisitAnswer,
		}}}}})
		if err != nil {
			return err
		}
		e, err := protocol.ParseEntry(answer)
		if err != nil {
			return err
		}
		l := catalog.VisitLine{Code: code, DraftLine: catalog.DraftLine{Kind: catalog.LineRead, Slot: slot, Cents: e.Cents}}
		switch e.Command {
		case protocol.Quit, protocol.Done:
			return form.ErrLeft
		case protocol.Skip:
			l.Kind = catalog.LineSkip
		case protocol.Undo:
			undo, any := r.undo()
			if !any {
				continue
			}
			l, code = undo, undo.Code
		}
		if err := r.add(ctx, l); err != nil {
			return err
		}
	}
}

// checkVisitAnswer says what is wrong with what was typed for a note.
func checkVisitAnswer(answer string) error {
	e, err := protocol.ParseEntry(answer)
	if err != nil {
		return err
	}
	switch e.Command {
	case protocol.Read, protocol.Skip, protocol.Undo, protocol.Quit, protocol.Done:
		return nil
	}
	return errors.New(protocol.EntryHint)
}
