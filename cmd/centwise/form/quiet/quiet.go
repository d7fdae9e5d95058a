// Package quiet keeps the libraries that draw forms from talking to the terminal
// before anything was asked. On being loaded they ask it for the colour of its
// background and wait for the answer, up to seconds where none comes, whatever
// the command is. Ours draws the same on any background, so the answer is given
// for them.
//
// It works because Go starts packages in the order of their paths as soon as all
// that they import has started (The Go Programming Language Specification,
// "Program initialization"), and this one's path comes before theirs. A test of
// the program on a terminal sees to it.
package quiet

import "github.com/charmbracelet/lipgloss"

func init() { lipgloss.SetHasDarkBackground(true) }
