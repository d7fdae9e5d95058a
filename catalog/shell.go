package catalog

import "strings"

// ShellWord quotes a label for a command line that the user will type or paste
// into a POSIX shell. One that begins with a hyphen gets a space before it, which
// labels are looked up without: it would be taken for a flag.
func ShellWord(label string) string {
	if strings.HasPrefix(label, "-") {
		label = " " + label
	}
	return quoted(label)
}

// ShellPath quotes the name of a file as ShellWord does a label.
func ShellPath(path string) string {
	if strings.HasPrefix(path, "-") {
		path = "./" + path
	}
	return quoted(path)
}

func quoted(word string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("._-/:,+", r)
	}
	if word != "" && strings.IndexFunc(word, func(r rune) bool { return !plain(r) }) < 0 {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
