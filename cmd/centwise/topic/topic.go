// Package topic holds the pages that 'centwise help TOPIC' prints: what no single
// command is about. They are Markdown that reads well as it is.
package topic

import (
	"embed"
	"strings"
)

// Topic is a page of help.
type Topic struct {
	Name  string // as typed after help
	About string // what stands beside it in a list
}

// All are the topics, in the order in which a newcomer would read them.
var All = []Topic{
	{"measuring", "How to measure well"},
	{"numbers", "What the numbers mean, and what they don't"},
	{"score", "What an in-tune setup is: slide, throws, weights, support"},
	{"model", "How sessions become shares of horn, mouthpiece, player and day"},
	{"limits", "What the engine can't know"},
	{"air", "The air column: resonances and adjustments"},
	{"pooling", "How catalogs exchange measurements, and what may spoil them"},
	{"sharing", "One catalog in a database that several people use"},
	{"privacy", "What a catalog holds of people, and what leaves it"},
}

//go:embed *.md
var pages embed.FS

// Page is the text of a topic: Markdown, no line longer than 80 characters. ok is
// false when there is no such topic.
func Page(name string) (text string, ok bool) {
	page, err := pages.ReadFile(name + ".md")
	return string(page), err == nil
}

// Heading takes the mark of a heading off a line of a page; ok is false when it
// is none.
func Heading(line string) (text string, ok bool) {
	rest := strings.TrimLeft(line, "#")
	return strings.TrimSpace(rest), rest != line
}
