// Package wire is what a pool server and those who push and pull say to each
// other over HTTP.
//
//	GET  /v1/status?position=P   who the token is, and whether P is still known
//	GET  /v1/records?after=P     a bundle of what is behind the position P
//	POST /v1/records             a bundle of what the server is to merge
//	GET  /health                 whether the server works; needs no token
//
// A token is sent as a bearer token (RFC 6750). Bundles are those of
// [centwise/catalog/pool]; each request carries one, which is merged whole or not
// at all. Everything may be repeated: merging again changes nothing. Errors are
// problem details (RFC 9457).
package wire

import "centwise/catalog"

// Paths of the server.
const (
	StatusPath  = "/v1/status"
	RecordsPath = "/v1/records"
	HealthPath  = "/health"
)

// Headers of an answer with a bundle: the position behind it, and "true" if there
// may be more.
const (
	PositionHeader = "Centwise-Position"
	MoreHeader     = "Centwise-More"
)

// Media types.
const (
	BundleType  = "application/gzip"
	JSONType    = "application/json"
	ProblemType = "application/problem+json"
)

// MaxBundleBytes and MaxUnpackedBytes bound a bundle that is sent in one request.
const (
	MaxBundleBytes   = 24 << 20
	MaxUnpackedBytes = 96 << 20
)

// Status answers who somebody is to the server.
type Status struct {
	Catalog     string        `json:"catalog"` // id, see [catalog.Follower]
	Contributor string        `json:"contributor"`
	Scope       catalog.Scope `json:"scope"`
	Position    string        `json:"position"` // behind all that is there
	// Known says whether all positions that were asked for are the server's. If
	// not, it went back to a backup.
	Known bool `json:"position_known"`
}

// Receipt says what became of a bundle.
type Receipt struct {
	New      Counts             `json:"new"`
	Changed  Counts             `json:"changed"`
	HeldBack []catalog.HeldBack `json:"held_back"`
	Position string             `json:"position"` // behind all that is there now
}

// Counts are numbers of records.
type Counts struct {
	Horns       int `json:"horns"`
	Mouthpieces int `json:"mouthpieces"`
	Players     int `json:"players"`
	Sessions    int `json:"sessions"`
	Readings    int `json:"readings"`
	Links       int `json:"links"`
}

// Add counts more.
func (c *Counts) Add(more Counts) {
	c.Horns += more.Horns
	c.Mouthpieces += more.Mouthpieces
	c.Players += more.Players
	c.Sessions += more.Sessions
	c.Readings += more.Readings
	c.Links += more.Links
}

// CountsOf tells what a merge brought.
func CountsOf(m catalog.Merged) (news, changed Counts) {
	return Counts{m.Horns.New, m.Mouthpieces.New, m.Players.New, m.Sessions.New, m.Readings, m.Links.New},
		Counts{m.Horns.Changed, m.Mouthpieces.Changed, m.Players.Changed, m.Sessions.Changed + m.Retracted, 0, m.Links.Changed}
}

// Problem is an error (RFC 9457). Type is a path on the server that explains it.
type Problem struct {
	Type    string `json:"type"`
	Title   string `json:"title"`
	Status  int    `json:"status"`
	Detail  string `json:"detail,omitempty"`
	Try     string `json:"try,omitempty"`     // what to do next
	Request string `json:"request,omitempty"` // by which the server's log knows the request
}
