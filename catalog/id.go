package catalog

import (
	"crypto/rand"
	"strings"
	"sync"
	"time"

	"github.com/oklog/ulid/v2"
)

var ids = struct {
	sync.Mutex
	entropy *ulid.MonotonicEntropy
}{entropy: ulid.Monotonic(rand.Reader, 0)}

// NewID makes a fresh [ID]. Ids made by one process within one millisecond
// rise in the order of the calls, so they sort as they were made. Safe for use
// from several goroutines.
func NewID() ID {
	ids.Lock()
	defer ids.Unlock()
	for {
		id, err := ulid.New(ulid.Timestamp(time.Now()), ids.entropy)
		if err == nil {
			return ID(id.String())
		}
		// The random part of this millisecond is used up: wait for the next.
		time.Sleep(time.Millisecond)
	}
}

// Valid reports whether id is a ULID in its canonical (upper case) writing.
func (id ID) Valid() bool {
	_, err := ulid.ParseStrict(string(id))
	return err == nil && strings.ToUpper(string(id)) == string(id)
}

// looksLikeID reports whether a label could be taken for an id, in any case.
func looksLikeID(label string) bool {
	_, err := ulid.ParseStrict(label)
	return err == nil
}
