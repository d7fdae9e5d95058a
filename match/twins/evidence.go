package twins

import (
	"fmt"
	"math"
	"strings"

	"centwise/match/fit"
)

// What speaks for and against two records being one thing is added up as decimal
// logarithms of odds (Fellegi & Sunter 1969, J. Am. Stat. Assoc. 64, for the idea):
// 1 makes it ten times as likely. The weights are judgements, tried on invented
// lists, see DEVELOPERS.md.
const (
	startingOdds = -2.3 // of two records that were looked at at all

	sameDesign   = 1.0
	rareDesign   = 0.8 // more, where no more than a pair has it
	commonDesign = 12  // copies, from which on it counts no more
	nearDesign   = 0.7 // a slip or two in a long name
	farDesign    = 0.2
	otherDesign  = -3.0
	serialLetter = 0.6 // for each character of a serial number that both state, and
	serialStart  = 1.0
	serialMost   = 3.5
	wholeName    = 0.7 // design and serial number both

	sameOwnLabel    = 2.6 // a label of its own, as Alder
	nearOwnLabel    = 2.0
	shortOwnLabel   = 1.2 // a slip in a short word
	withinOwnLabel  = 1.2 // one is the other with more words
	sameLabel       = 1.5 // a label that says what it is, as Heron trumpet
	nearLabel       = 1.2
	shortLabel      = 0.6
	withinLabel     = 0.5
	sameNumberLabel = 1.0 // as No. 17
	otherOwnLabel   = -0.7
	otherLabel      = -0.2

	sameOwner       = 0.7
	otherOwner      = -0.5
	sameContributor = -0.7 // who enters two things knows them apart
	closeDimension  = 0.15
	closeAtMost     = 0.45
	apartDimension  = -1.5

	measuredAtMost  = 1.5
	measuredAtLeast = -2.0
)

// Likenesses from which on names are near, or are no longer.
const (
	nearLikeness = 0.85
	farLikeness  = 0.75
	// longLikeness is that of a slip in a word of eight letters.
	longLikeness = 0.87
)

// evidence is what speaks for and against one pair.
type evidence struct {
	odds    float64
	phrases []phrase
}

// phrase is a sentence with what is said of the first and of the second of a pair.
type phrase struct {
	format string // with %[1]s and %[2]s
	of     [2]string
}

// add adds a sentence; an empty one is not said.
func (e *evidence) add(odds float64, format string, args ...any) {
	e.addOfBoth(odds, strings.ReplaceAll(fmt.Sprintf(format, args...), "%", "%%"), "", "")
}

// addOfBoth adds a sentence that tells of both.
func (e *evidence) addOfBoth(odds float64, format, first, second string) {
	e.odds += odds
	if format != "" {
		e.phrases = append(e.phrases, phrase{format, [2]string{first, second}})
	}
}

// words are the sentences, the other way round if asked.
func (e *evidence) words(turned bool) (out []string) {
	for _, p := range e.phrases {
		first, second := p.of[0], p.of[1]
		if turned {
			first, second = second, first
		}
		text := strings.ReplaceAll(p.format, "%%", "%")
		if first+second != "" {
			text = fmt.Sprintf(p.format, first, second)
		}
		out = append(out, text)
	}
	return out
}

// certainty is the chance that goes with odds, in hundredths.
func certainty(odds float64) float64 { return min(0.99, math.Round(100/(1+math.Pow(10, -odds)))/100) }

// weigh compares two records by what is written of them. ok is false if they can't
// be one: traits, or serial numbers, are different.
func (s *search) weigh(a, b *record) (e evidence, ok bool) {
	if a.traits != b.traits || a.serial != "" && b.serial != "" && a.serial != b.serial {
		return e, false
	}
	e.odds = startingOdds
	same := e.designs(a, b)
	if same {
		n := max(s.designs[designKey(a)], s.designs[designKey(b)], 2)
		e.odds += max(0, rareDesign*math.Log(commonDesign/float64(n))/math.Log(commonDesign/2))
	}
	if a.serial != "" && b.serial != "" {
		odds := min(serialMost, serialStart+serialLetter*float64(len(a.serial)))
		if same {
			odds += wholeName
		}
		e.add(odds-crowd(s.serials[a.traits+" "+a.serial]), "both have the serial number %s", a.serialText)
	} else if a.serial != b.serial {
		e.add(0, "one has no serial number")
	}
	e.labels(a, b, crowd(s.labels[labelKey(a)]))
	if a.owner != "" && b.owner != "" {
		if a.owner == b.owner {
			e.add(sameOwner, "the same owner")
		} else {
			e.add(otherOwner, "")
		}
	}
	if a.contributor != "" && a.contributor == b.contributor {
		e.add(sameContributor, "")
	}
	e.dimensions(a.dimensions, b.dimensions, closeDimension, closeAtMost, apartDimension)
	return e, true
}

// crowd is what is lost where many have the same.
func crowd(n int) float64 { return math.Log10(max(1, float64(n)/2)) }

// designs compares makers and models, and reports whether they are the same.
func (e *evidence) designs(a, b *record) bool {
	likeness, known := a.design.namedLike(b.design)
	say := func(odds float64, what string) {
		if a.key == b.key {
			e.add(odds, "%s", what)
		} else {
			e.addOfBoth(odds, what+", spelled %[1]q and %[2]q", a.name.String(), b.name.String())
		}
	}
	switch {
	case !known:
		return false
	case likeness >= 1:
		say(sameDesign, "the same maker and model")
		return true
	case likeness >= nearLikeness:
		say(nearDesign, "maker and model are alike")
		return true
	case likeness >= farLikeness:
		say(farDesign, "maker and model are rather alike")
		return true
	}
	say(otherDesign, "though makers and models differ")
	return false
}

// labels compares the labels; lost is what a label is worth less because many have
// it.
func (e *evidence) labels(a, b *record, lost float64) {
	likeness := max(alike(a.named, b.named), alike(a.bare, b.bare))
	own, one := a.own != "" && b.own != "", (a.own != "") != (b.own != "")
	switch {
	case likeness >= 1 && !a.whole.same(b.whole):
		e.add(pick(own, nearOwnLabel, nearLabel)-lost, "one label within the other")
	case likeness >= 1 && a.named.letters == "":
		e.add(sameNumberLabel-lost, "the same number on the label")
	case likeness >= 1:
		e.add(pick(own, sameOwnLabel, sameLabel)-lost, "the same label")
	case likeness >= longLikeness:
		e.add(pick(own, nearOwnLabel, nearLabel), "labels that are alike")
	case likeness >= farLikeness && a.named.letters[0] == b.named.letters[0]: // seldom does the first letter slip
		e.add(pick(own, shortOwnLabel, shortLabel), "labels that are alike")
	case within(a, b) && !one:
		e.add(pick(own, withinOwnLabel, withinLabel), "one label within the other")
	case own:
		e.add(otherOwnLabel, "")
	default:
		e.add(otherLabel, "")
	}
}

func pick(own bool, ifOwn, otherwise float64) float64 {
	if own {
		return ifOwn
	}
	return otherwise
}

// within reports whether all words of one label stand in the other.
func within(a, b *record) bool {
	if a.bare.marks != b.bare.marks {
		return false
	}
	few, many := a.named.words, b.named.words
	if len(few) > len(many) {
		few, many = many, few
	}
	if len(few) == 0 || len(few) == len(many) {
		return false
	}
	for _, w := range few {
		found := false
		for _, v := range many {
			if d, ok := slipsOfWords(w, v); ok && d == 0 {
				found = true
			}
		}
		if !found {
			return false
		}
	}
	return true
}

// dimensions compares what is stated of both; each counts for weights like those of
// evidence.
func (e *evidence) dimensions(a, b []dimension, each, atMost, apart float64) {
	close, times := 0.0, 0
	var first, second []string
	for i, d := range a {
		other := b[i]
		switch is := d.against(other); {
		case is > 0:
			close += each
		case is < 0:
			times -= is
			first, second = append(first, fmt.Sprintf("%s %.4g", d.name, d.value)), append(second, fmt.Sprintf("%s %.4g", d.name, other.value))
		}
	}
	e.odds += min(close, atMost)
	switch {
	case times > 0:
		e.addOfBoth(apart*float64(times), "though dimensions differ: %[1]s, and %[2]s", strings.Join(first, ", "), strings.Join(second, ", "))
	case close > 0:
		e.add(0, "dimensions agree")
	}
}

// measured adds what was measured of both.
func (e *evidence) measured(noun string, d fit.Difference) {
	e.add(max(measuredAtLeast, min(measuredAtMost, d.LogOdds/math.Ln10)), "%s", Measured(noun, d))
}

// Measured says whether the measured vectors of two horns, or mouthpieces, agree.
func Measured(noun string, d fit.Difference) string {
	switch {
	case d.Sessions == [2]int{}:
		return "neither was measured, so nobody can tell whether their vectors agree"
	case d.Sessions[0] == 0 || d.Sessions[1] == 0:
		return "not measured enough to tell whether their vectors agree: one was never measured"
	case d.LogOdds >= tellingOdds:
		return fmt.Sprintf("their measured vectors agree (they differ by %.1f +- %.1f cents, any two %ss by %.1f)", d.Cents, d.SD, noun, d.Usual)
	case d.LogOdds <= -tellingOdds:
		return fmt.Sprintf("though their measured vectors differ by %.1f +- %.1f cents", d.Cents, d.SD)
	}
	return fmt.Sprintf("not measured enough to tell whether their vectors agree (they differ by %.1f +- %.1f cents)", d.Cents, d.SD)
}

// tellingOdds is the natural logarithm of the odds from which on measurements tell
// something: six to one.
const tellingOdds = 1.8
