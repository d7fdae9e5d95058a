// Package pool moves measurements between catalogs. A bundle is a file of
// records: JSON Lines (https://jsonlines.org), compressed with gzip (RFC 1952).
//
//	{"bundle":"centwise","format":1}
//	{"digest":"<SHA-256 of the record's bytes>","horn":{"id":"01J...","revision":1,...}}
//	...
//	{"end":{"records":12,"readings":310,"digest":"<SHA-256 of all lines before>"}}
//
// Records are players, horns and mouthpieces with all their revisions, each kind
// in order of id and revision, then links in order of kind and alias, then
// sessions in order of id. A bundle is closed: the gear that its sessions name is
// in it; only links may name what is not. Fields that are zero are left out;
// fields and kinds of record that are not known are kept and passed on. The
// format gets another number only when what this version makes of a bundle
// would be wrong.
//
// Digests tell damage and careless edits. They are no signature: whoever can
// write a bundle can write its digests.
//
// Nobody keeps more of a bundle in memory than one record and the ids of its
// gear.
package pool

import "centwise/catalog"

// Format is the number of the format that is written, and the highest that is
// read.
const Format = 1

// Limits of a bundle. The longest line holds a session of a million readings.
const (
	maxLineBytes = 16 << 20 // its end included
	maxBytes     = 64 << 30 // of all lines together
	maxGear      = 1 << 20  // pieces of gear, whose ids are kept
)

const bundleName = "centwise"

// header is the first line.
type header struct {
	Bundle string `json:"bundle"`
	Format int    `json:"format"`
}

// footer is the last line.
type footer struct {
	End *Summary `json:"end"`
}

// Summary says what a bundle holds.
type Summary struct {
	Records  int    `json:"records"`
	Readings int    `json:"readings"`
	Digest   string `json:"digest"` // of all lines before the last
}

// readingsOf counts the readings of a record.
func readingsOf(p catalog.Pooled) int {
	if p.Session == nil {
		return 0
	}
	return len(p.Session.Record.Readings)
}
