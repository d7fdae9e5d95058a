// Package recording measures intonation from sound: it finds the sustained notes
// in WAV and FLAC files, says how high each is and how far that can be trusted, and
// finds out which of the notes that were to be played they are.
//
// # From sound to pitch
//
// A file is read once, block by block, and brought to 11 to 22 thousand samples a
// second. Every hundredth of a second a window of 50 ms is looked at: its period
// by the autocorrelation over that of the window, then its frequency by how far the
// phases of the harmonics move on since the window before ([tracker]). Harmonics
// count by how closely they say what the fundamental is, so none of them has to be
// there: small microphones lose the lowest.
//
// # From pitch to notes
//
// Frames with a pitch make a run; runs are cut where the pitch steps and stays, and
// where the tongue strikes: the level dips and rises more quickly than vibrato makes
// it do. Of each piece beginning, end and echo are left out, and of the rest
// ends that drift. A straight line with a vibrato is fitted to what is left, robustly
// and with the middle counting most (Tukey's biweight under a sin^2 taper). The
// note's pitch is that line's in the middle; its standard error comes from how means
// of blocks scatter. See [Tone] for what is reported and [Grade] for what follows.
//
// # From notes to slots
//
// [Align] lays the notes beside the expected ones at the least cost. A note may be
// far out of tune, so what is between two is decided by the notes around it, and
// where they don't decide it is said.
//
// # How good that is
//
// Clean made-up tones of 150 to 1400 Hz are measured to 0.05 cents, at 8000 to 192000
// samples a second; with vibrato of 15 cents under noise 20 dB below, bias and
// standard deviation stay below 0.02 cents (targets: 0.3 and 0.5). Real notes differ
// from another program's mean over the same part by 0.2 cents (median of eleven). The
// difference between one part of a real note and another is larger than either:
// the standard error that is reported speaks of that. See the tests.
//
// Not told apart: in a hall whose echo is nearly as loud as the horn, two strokes
// of one pitch with a short gap may count as one note. That changes no mean.
package recording
