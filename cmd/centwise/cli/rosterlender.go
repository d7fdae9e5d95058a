package cli

import (
	"context"
	"fmt"
	"os"
	"strings"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/importers/sheet"
	"centwise/match"
)

// handing is what a commit does.
type handing struct {
	changes        catalog.Changes
	lent, returned []handed
	kept           int
}

// handed is one thing that changes hands.
type handed struct {
	student, horn, mouthpiece string
	copy                      int
}

// lender gathers what changes hands.
type lender struct {
	ctx    context.Context
	store  catalog.Store
	out    []catalog.LoanSummary // what is out, without what comes back
	copies map[catalog.ID]int
	loan   catalog.Loan // what all loans of the commit have in common
	h      *handing
}

// want is what a student is to have.
type want struct {
	player     catalog.Player
	horn       *catalog.Horn       // nil = says nothing of horns
	mouthpiece *catalog.Mouthpiece // nil = none is lent
	own        bool                // they play their own
}

// plan hands out what a file says.
func (w *lender) plan(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return &catalog.Error{Kind: catalog.NotFound, What: "reading the plan", Hint: "name a sheet with the columns student, horn, mouthpiece and own_mouthpiece", Err: err}
	}
	defer file.Close()
	rows, err := sheet.ReadLoans(sheet.File{Name: path, Content: file})
	if err != nil {
		return err
	}
	wants := make([]want, len(rows))
	var problems []string
	for i, row := range rows {
		if wants[i], err = w.find(row); err != nil {
			problems = append(problems, fmt.Sprintf("%s:%d: %v", path, row.Line, err))
		}
	}
	if len(problems) > 0 {
		return catalog.Errorf(catalog.NotFound, "correct the plan", "%s of the plan can't be used; nothing was written:\n%s", match.Count(len(problems), "row"), strings.Join(problems, "\n"))
	}
	// What changes hands comes back before anything is lent.
	for i := range wants {
		w.takeBack(&wants[i])
	}
	for i := range wants {
		w.give(&wants[i])
	}
	return nil
}

// one lends one student a horn, a mouthpiece or both beside what they have.
func (w *lender) one(student, horn, mouthpiece string) error {
	x, err := w.find(sheet.LoanRow{Student: student, Horn: horn, Mouthpiece: mouthpiece})
	if err != nil {
		return err
	}
	w.give(&x)
	return nil
}

// find looks up what a row names.
func (w *lender) find(row sheet.LoanRow) (x want, err error) {
	if x.player, err = w.store.Player(w.ctx, row.Student); err != nil {
		return x, err
	}
	x.own = row.Own
	if row.Horn != "" {
		h, err := w.store.Horn(w.ctx, row.Horn)
		if err != nil {
			return x, err
		}
		x.horn = &h
	}
	if row.Mouthpiece != "" && !row.Own {
		m, err := w.store.Mouthpiece(w.ctx, row.Mouthpiece)
		if err != nil {
			return x, err
		}
		x.mouthpiece = &m
	}
	return x, nil
}

// takeBack ends loans of a student that the plan puts something else in place of.
func (w *lender) takeBack(x *want) {
	var rest []catalog.LoanSummary
	for _, l := range w.out {
		horn := l.Horn != "" && x.horn != nil && l.Horn != x.horn.ID
		piece := l.Mouthpiece != "" && (x.own || x.mouthpiece != nil && l.Mouthpiece != x.mouthpiece.ID)
		if l.Player != x.player.ID || !horn && !piece {
			rest = append(rest, l)
			continue
		}
		w.h.changes.Returns = append(w.h.changes.Returns, catalog.ReturnOf{Loan: l.ID, Return: catalog.Return{At: w.loan.Since, Contributor: w.loan.Contributor}})
		w.h.returned = append(w.h.returned, handed{l.PlayerLabel, l.HornLabel, l.MouthpieceLabel, l.Copy})
	}
	w.out = rest
}

// give lends what a student has not got yet.
func (w *lender) give(x *want) {
	if x.horn != nil {
		l := w.loan
		l.Horn = x.horn.ID
		w.lend(x, l, handed{x.player.Label, x.horn.Label, "", 1})
	}
	if x.mouthpiece != nil {
		l := w.loan
		l.Mouthpiece = x.mouthpiece.ID
		w.lend(x, l, handed{x.player.Label, "", x.mouthpiece.Label, 1})
	}
}

func (w *lender) lend(x *want, l catalog.Loan, h handed) {
	taken := map[int]bool{}
	for _, o := range w.out {
		if o.Horn != l.Horn || o.Mouthpiece != l.Mouthpiece {
			continue
		}
		if o.Player == x.player.ID {
			w.h.kept++
			return
		}
		taken[o.Copy] = true
	}
	l.ID, l.Copy, l.Player = catalog.NewID(), 1, x.player.ID
	for l.Mouthpiece != "" && taken[l.Copy] && l.Copy < w.copies[l.Mouthpiece] {
		l.Copy++
	}
	h.copy = l.Copy
	w.h.changes.Loans = append(w.h.changes.Loans, l)
	w.h.lent = append(w.h.lent, h)
	w.out = append(w.out, catalog.LoanSummary{Loan: l, HornLabel: h.horn, MouthpieceLabel: h.mouthpiece, PlayerLabel: h.student})
}

// print says what changed hands.
func (o *rosterCommitOptions) print(h *handing) error {
	s := o.factory.Streams
	if o.output.json {
		return show.JSON(s.Out, show.Fields{{Name: "lent", Value: handedFields(h.lent, h.changes.Loans)}, {Name: "returned", Value: handedFields(h.returned, nil)},
			{Name: "kept", Value: h.kept}, {Name: "written", Value: !o.dryRun}})
	}
	t := &show.Table{Columns: []show.Column{{Title: "student", Name: "student"}, {Title: "what", Name: "label"}, {Title: "now", Name: "now"}, {Name: "copy"}}}
	for _, part := range []struct {
		list []handed
		now  string
	}{{h.returned, "returned"}, {h.lent, "lent"}} {
		for _, x := range part.list {
			t.Add(show.Text(x.student), show.Text(x.horn+x.mouthpiece), show.Words(part.now), show.Count(x.copy))
		}
	}
	if len(t.Rows) > 0 || o.output.csv {
		if err := o.output.table(s, t, nil); err != nil {
			return err
		}
	}
	done := "written down"
	if o.dryRun {
		done = "not written down: this was a dry run"
	}
	s.Note("lent: %d, returned: %d, kept: %d; %s", len(h.lent), len(h.returned), h.kept, done)
	if !o.dryRun && len(h.lent) > 0 {
		s.Note(cautionShared)
	}
	return nil
}

// handedFields are things that change hands as JSON.
func handedFields(list []handed, loans []catalog.Loan) []show.Fields {
	out := []show.Fields{}
	for i, x := range list {
		what := show.Field{Name: "horn", Value: x.horn}
		if x.horn == "" {
			what = show.Field{Name: "mouthpiece", Value: x.mouthpiece}
		}
		f := show.Fields{{Name: "student", Value: x.student}, what, {Name: "copy", Value: x.copy}}
		if loans != nil {
			f = append(f, show.Field{Name: "since", Value: loans[i].Since}, show.Field{Name: "until", Value: timeOrNull(loans[i].Until)})
		}
		out = append(out, f)
	}
	return out
}

// refusal says, before anything is written, who has what is to be lent; nil for
// nobody.
func (h *handing) refusal(ctx context.Context, store catalog.Store) error {
	for _, l := range h.changes.Loans {
		out, err := store.Loans(ctx, catalog.LoanFilter{Horn: l.Horn, Mouthpiece: l.Mouthpiece, Out: true})
		if err != nil {
			return err
		}
		for _, has := range out {
			if has.Copy == l.Copy {
				return fmt.Errorf("%s has %s", has.PlayerLabel, thingOf(has))
			}
		}
	}
	return nil
}
