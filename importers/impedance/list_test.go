package impedance

import (
	"strings"
	"testing"

	"centwise/catalog"
)

// A list is read whole or not at all, and a message names the line.
func TestReadListRefuses(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"too long":  {"file,valves\n" + strings.Repeat(strings.Repeat("a", 200)+".csv,0\n", 9000), "larger than"},
		"quotes":    {"file,valves\nopen.csv,0\n\"v2.csv,2\n", "list:3: "},
		"no valves": {"file,valves\nopen.csv,0\nv2.csv\n", "list:3: file or valves is missing"},
		"no header": {"open.csv,0\n", "list:1: the columns"},
		"nothing":   {"file,valves\n", "names no file"},
	} {
		entries, err := ReadList("list", strings.NewReader(c.text))
		if catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %d entries, %v", name, len(entries), err)
		}
	}
}
