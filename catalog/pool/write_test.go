package pool_test

import (
	"bytes"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pool"
)

// What is written can be read: the longest line that a bundle may have, and none
// that is longer.
func TestLongestLine(t *testing.T) {
	const longest = 16 << 20 // with its end
	frame := len(`{"digest":"","note":{"text":""}}`) + 64 + 1
	for _, tc := range []struct {
		size    int
		refused bool
	}{{longest, false}, {longest + 1, true}} {
		body := `{"text":"` + strings.Repeat("a", tc.size-frame) + `"}`
		var b bytes.Buffer
		err := pool.WriteOne(&b, catalog.Pooled{Other: &catalog.OtherRecord{Kind: "note", Body: body}}, []byte(body))
		if refused := catalog.KindOf(err) == catalog.Invalid; refused != tc.refused {
			t.Errorf("a line of %d bytes: %v", tc.size, err)
		}
		if err != nil {
			continue
		}
		for _, err := range pool.Read(ctx, pool.File{Name: "long", Content: &b}) {
			if err != nil && strings.Contains(err.Error(), "the line is longer") { // kinds that are not known have limits of their own
				t.Errorf("what was written can't be read: %v", err)
			}
		}
	}
}
