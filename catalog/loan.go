package catalog

import (
	"fmt"
	"time"
)

// Loan is one horn, or one mouthpiece, in the hands of a player. It is no part
// of the digest: no fit depends on who has what.
type Loan struct {
	ID         ID
	Horn       ID // either this
	Mouthpiece ID // or this
	// Copy tells apart what is lent of a mouthpiece whose record stands for
	// several: 1 for the first. A horn has one.
	Copy        int
	Player      ID
	Since       time.Time // when it was handed out
	Until       time.Time // when it is due back; zero = open
	Recorded    time.Time // when the loan entered the catalog
	Contributor string    // handle of who lent it; may be empty
	Remark      string
	Return      *Return // nil = still out
}

// Return ends a loan.
type Return struct {
	At          time.Time
	Contributor string // handle of who took it back; may be empty
	Remark      string // the state it came back in, say
}

// ReturnOf ends one loan.
type ReturnOf struct {
	Loan ID
	Return
}

// LoanFilter narrows a listing; zero fields do not filter.
type LoanFilter struct {
	Horn, Mouthpiece, Player ID
	Out                      bool // only what is still out
}

// LoanSummary is a loan with the labels that its gear and its player have now.
type LoanSummary struct {
	Loan
	HornLabel, MouthpieceLabel, PlayerLabel string
}

// DayBefore reports whether a lies on a day before b, where the catalog is used:
// days are what people write down of loans.
func DayBefore(a, b time.Time) bool {
	return a.Local().Format(time.DateOnly) < b.Local().Format(time.DateOnly)
}

// MaxCopies bounds the copies of a mouthpiece.
const MaxCopies = 1000

// Normalize brings the loan into the form that is stored: 1 for no copy, times
// in UTC to the millisecond.
func (l *Loan) Normalize() {
	if l.Copy == 0 {
		l.Copy = 1
	}
	normalLabels(&l.Contributor)
	l.Remark = normalText(l.Remark)
	l.Since, l.Until, l.Recorded = utc(l.Since), utc(l.Until), utc(l.Recorded)
	if l.Return != nil {
		r := *l.Return
		r.normalize()
		l.Return = &r
	}
}

func (r *Return) normalize() {
	normalLabels(&r.Contributor)
	r.Remark = normalText(r.Remark)
	r.At = utc(r.At)
}

// Validate checks the loan by itself. The error is an [*Error] of kind Invalid
// holding [Problems].
func (l Loan) Validate() error { return l.check().err() }

func (l Loan) check() *check {
	c := checking("loan", string(l.ID))
	if !l.ID.Valid() {
		c.addf("id", "leave it empty for a new loan", "%q is not a ULID", l.ID)
	}
	switch {
	case l.Horn == "" && l.Mouthpiece == "":
		c.add("horn", "is missing, and so is mouthpiece", "say what is lent")
	case l.Horn != "" && l.Mouthpiece != "":
		c.add("horn", "and mouthpiece are both given", "make a loan of each")
	case l.Horn != "":
		c.reference("horn", l.Horn)
		if l.Copy != 1 {
			c.addf("copy", "leave it out", "of a horn is %d", l.Copy)
		}
	default:
		c.reference("mouthpiece", l.Mouthpiece)
		if l.Copy < 1 || l.Copy > MaxCopies {
			c.addf("copy", fmt.Sprintf("number the copies 1 to %d", MaxCopies), "is %d", l.Copy)
		}
	}
	c.reference("player", l.Player)
	c.handle("contributor", l.Contributor)
	c.text("remark", l.Remark, MaxRemarkLength)
	c.when("since", l.Since)
	if l.Since.IsZero() {
		c.add("since", "is missing", "say when it was handed out")
	}
	c.when("until", l.Until)
	if !l.Until.IsZero() && DayBefore(l.Until, l.Since) {
		c.add("until", "lies before the day it was handed out", "check the dates")
	}
	if l.Return != nil {
		l.Return.check(c, l.Since)
	}
	return c
}

func (r Return) check(c *check, since time.Time) {
	c.when("returned", r.At)
	c.handle("contributor", r.Contributor)
	c.text("remark", r.Remark, MaxRemarkLength)
	if r.At.IsZero() {
		c.add("returned", "has no date", "say when it came back")
	} else if DayBefore(r.At, since) {
		c.add("returned", "lies before the day it was handed out", "check the dates")
	}
}
