package catalog

import "strings"

// ShellWord quotes a label for a command line that the user will type or paste
// into a POSIX shell.
func ShellWord(label string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("._-/:,+", r)
	}
	if label != "" && label[0] != '-' && strings.IndexFunc(label, func(r rune) bool { return !plain(r) }) < 0 {
		return label
	}
	quoted := "'" + strings.ReplaceAll(label, "'", `'\''`) + "'"
	if strings.HasPrefix(label, "-") {
		return "-- " + quoted
	}
	return quoted
}
