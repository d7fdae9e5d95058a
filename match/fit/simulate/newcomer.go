package simulate

import "fmt"

// AddPlayer adds a player whom the catalog does not know yet and gives his place;
// he writes his own sessions down.
func (w *World) AddPlayer() int {
	at := len(w.Players)
	p := Player{Label: fmt.Sprintf("P%05d", at+1), Contributor: 0, Truth: make([]float64, len(Slots))}
	w.nature.process[OfPlayer].draw(stream(w.Seed, "newcomer", uint64(at)), p.Truth)
	w.Players = append(w.Players, p)
	return at
}

// Played is the deviation on every slot of a setup as a player plays it on a
// typical day, in cents.
func (w *World) Played(player, horn, mouthpiece int) []float64 {
	out := w.Truth(horn, mouthpiece)
	for j, x := range w.Players[player].Truth {
		out[j] += x
	}
	return out
}

// Sitting reads usual notes of a setup, each so many times, with good readings
// only and with a constant and a slide of its own; what is read is decided by the
// seed of the world and a number.
func (w *World) Sitting(number uint64, player, horn, mouthpiece, times int, noiseSD float64) []Reading {
	rng := stream(w.Seed, "sitting", number)
	offset, slide := SessionOffsetSD*rng.NormFloat64(), SlideSD*rng.NormFloat64()
	profile := w.Played(player, horn, mouthpiece)
	var out []Reading
	for _, j := range Usual {
		for repeat := range times {
			out = append(out, Reading{Slot: j, Repeat: repeat + 1,
				Cents: profile[j] + offset + slide*shorter[j] + noiseSD*rng.NormFloat64()})
		}
	}
	return out
}

// AddSession records a session of a player and counts it.
func (w *World) AddSession(player, horn, mouthpiece int, readings []Reading) {
	w.Sessions = append(w.Sessions, Session{Name: fmt.Sprintf("S%06d", len(w.Sessions)+1), Horn: horn, Mouthpiece: mouthpiece,
		Player: player, Contributor: w.Players[player].Contributor, Readings: readings})
	w.Horns[horn].Measured++
	w.Mouthpieces[mouthpiece].Measured++
}
