// Package tone makes intonation audible: notes with times, frequencies and
// dynamics become samples with a brass-like sound, and takes of the same music
// in different tunings become a WAV file in which they are equally loud.
//
// # The sound
//
// A tone is a sum of exact harmonics k f0, in phase, with no vibrato and no
// noise, so that nothing but its frequency says how high it is. Strengths follow
// one curve over frequency for all notes (see [strength]), so low notes have
// many strong harmonics and high notes few. The curve is our own, with the
// shape that is reported for brass:
//
//   - the radiated sound rises with frequency up to a cutoff near 1 kHz, whatever
//     the dynamic, and what lies above depends on how loud the tone is played
//     (J. W. Beauchamp, "Trombone transfer functions", Archives of Acoustics 37(4),
//     2012, 447-454, abstract). For the trumpet A. H. Benade puts the cutoff near
//     1.5 kHz ("Fundamentals of Musical Acoustics", 1976; from memory);
//   - trumpet spectra of one brightness have much the same shape over frequency
//     whatever the note (A. Horner and J. W. Beauchamp, "Synthesis of trumpet
//     tones using a wavetable and a dynamic filter", J. Audio Eng. Soc. 43(10),
//     1995, 799-812, abstract).
//
// No harmonic lies above 20 kHz or 0.45 of the sample rate. A tone begins and
// ends with half a raised cosine, darker while it is softer, and starts and ends
// at nought: joins don't click.
//
// # Loudness
//
// Every take is brought to the same loudness by ITU-R BS.1770-4 (K-weighted,
// gated), then, if the true peak of any would lie above the limit, all of them
// are turned down together.
package tone
