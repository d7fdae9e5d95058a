package cli

import (
	"strings"
	"unsafe"

	"centwise/catalog/sqlstore"
)

// hidePasswords gives the arguments of the process, and wipes addresses with
// passwords out of where the system shows them to everybody on the machine, as
// ps does.
func hidePasswords(args []string) []string {
	out := make([]string, len(args))
	for i, arg := range args {
		out[i] = strings.Clone(arg)
		at := strings.Index(arg, "postgres")
		if at < 0 || sqlstore.Shown(arg[at:]) == arg[at:] {
			continue
		}
		// The texts of os.Args lie where the system reads the command line from,
		// in memory of this process that may be written.
		shown := unsafe.Slice(unsafe.StringData(arg), len(arg))[at:]
		n := copy(shown, sqlstore.Shown(out[i][at:]))
		clear(shown[n:])
	}
	return out
}
