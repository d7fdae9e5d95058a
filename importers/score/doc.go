// Package score counts from a player's own parts how long each written note
// sounds, so that a setup can be judged by the music it is for.
//
// # Files
//
// MusicXML, score-partwise or score-timewise, as text or compressed (.mxl), as
// the MusicXML 4.0 report of the W3C Music Notation Community Group describes it,
// and Standard MIDI files (MIDI Manufacturers Association, RP-001) of the formats
// 0, 1 and 2. What a file is shows in its content, not in its name. [Read] lists
// the parts; [Score.Part] counts one of them.
//
// # What is counted
//
// The time in seconds that each written note ([pitch.Note]) sounds when the piece
// is played through once: with repeats, endings, D.C., D.S., coda and Fine, in the
// tempos of the file. Where a part has several notes at a time (chords, voices),
// one counts, as a brass instrument plays one: the highest, or for a second player
// the lowest ([Options].Lowest). Grace notes, cue notes, unpitched notes, slashes
// and notes between the semitones do not count; [Part].Skipped says how many there
// were and how long they last.
//
// # Written and sounding
//
// MusicXML holds written pitch, with the transposition beside it. Notes are taken
// as the part writes them, unless [Options].Transposition asks for the notes that
// another instrument would read to sound the same. A score in concert pitch
// (concert-score) and MIDI hold sounding pitch: there the instrument must be
// known; without, it stands in B flat, which is remarked.
//
// # The order of play in MusicXML
//
// Repeats, endings and the attributes of sound elements are followed wherever
// they stand in the score, whichever part has them; so are tempos. A repeat is
// played twice unless "times" says otherwise. Each D.C. or D.S. is followed once.
// After it repeats are not taken (unless after-jump says so), the last ending is
// played, and to-coda and Fine hold. Jumps are made at the end of their measure;
// a Fine within a measure ends the piece at its place. The tempo at a place is the
// one written last before it, in the order of the score. Words ("D.C. al Fine")
// without a sound attribute are not followed, which is remarked.
//
// # MIDI
//
// A part is one channel of one track. Channel 10 is percussion. The sustain pedal
// is ignored. A note struck again before its end begins anew; one that never ends
// is ended with its track, which is remarked.
//
// # Bounds
//
// Files, archives, nesting, numbers of parts and measures, and the length of the
// piece when played through are limited, so that memory and time stay bounded
// whatever a file holds.
package score
