package score

// Melody is a part as one brass instrument plays it: one note at a time.
type Melody struct {
	Listing
	Notes   []Played  // in the order of play; none begins before the last has ended
	Seconds float64   // how long the piece lasts
	Skipped []Skipped // everything else
	Remarks []string  // assumptions and oddities, as sentences
}

// Melody gives a part note by note; which names it as [Score.Choose] says. Where
// several notes sound, the one that counts is heard ([Options].Lowest), as in
// [Score.Part]. Notes that the instrument can't play are left in.
func (s *Score) Melody(which string, o Options) (*Melody, error) {
	index, played, err := s.perform(which, o)
	if err != nil {
		return nil, err
	}
	line, covered := singleLine(played.intervals, o.Lowest)
	m := &Melody{Listing: s.Parts[index], Notes: line, Seconds: played.seconds, Skipped: played.left(covered), Remarks: played.remarks.list()}
	if len(m.Notes) == 0 {
		return nil, s.nothing(&Part{Listing: m.Listing, Skipped: m.Skipped})
	}
	return m, nil
}
