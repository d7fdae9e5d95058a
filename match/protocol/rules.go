package protocol

import "fmt"

// Rules say to people how to measure, a rule a sentence or two. They are what
// makes sessions comparable: the horn as warm as it gets, one slide for all
// notes, and notes as the instrument gives them rather than as the ear wants
// them (common practice, no source).
func Rules(a4Hz float64) []string {
	return []string{
		"Wash and disinfect a mouthpiece that others play.",
		"Warm up: play for ten minutes, until neither lips nor horn change any more.",
		fmt.Sprintf("Set the tuner to A4 = %g Hz. Tune one note, then leave the tuning slide where it is for the whole session.", a4Hz),
		"Play every note at one loudness in the middle of its sound: do not lip it in tune, and leave the valve slides in.",
		"Breathe, start the note anew, wait for the tone to settle, then read. Somebody else reads the tuner, and the player does not look: both want to please it.",
		"Rest when lips tire; skip a note that will not speak. Keep ears away from the bell: loud sound at close range harms hearing.",
	}
}
