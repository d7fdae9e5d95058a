package form

import (
	"fmt"
	"strings"

	"centwise/cmd/centwise/show"
)

// helpLines is how many lines below the questions are kept for help and for what
// is wrong, so that the page does not jump.
const helpLines = 3

// around is how many lines a page has beside its questions.
func (p *pages) around() int {
	return 1 + 1 + 1 + helpLines + 1 + 1 + 1 // title, gap, gap, help, gap, keys, the cursor's own line
}

// View draws the page.
func (p *pages) View() string {
	if p.done || p.left {
		return ""
	}
	var b strings.Builder
	b.WriteString(p.fit(p.title(), p.look.title.Render) + "\n\n")
	if p.atReview() {
		b.WriteString(p.summary() + "\n\n")
	}
	b.WriteString(trimEmpty(p.huh.View()) + "\n\n")
	b.WriteString(p.below() + "\n\n")
	b.WriteString(p.fit(p.keys(), p.look.plain.Faint(true).Render))
	return b.String()
}

func (p *pages) title() string {
	title := p.form.Title
	switch {
	case p.atReview():
		return title + ": is this right?"
	case p.form.Pages[p.page].Title != "":
		title += ": " + p.form.Pages[p.page].Title
	}
	if len(p.form.Pages) > 1 {
		title += fmt.Sprintf(" (%d of %d)", p.page+1, len(p.form.Pages))
	}
	return title
}

// fit cuts a line at the width of the terminal and draws it.
func (p *pages) fit(text string, draw func(...string) string) string {
	return p.look.plain.MaxWidth(p.width).Render(draw(show.Clean(text)))
}

// summary is what the review shows: as much as there is room for.
func (p *pages) summary() string {
	var out []string
	for _, text := range p.lines {
		out = append(out, strings.Split(p.wrap(text, "", "  "), "\n")...)
	}
	var doubts []string
	for _, text := range p.doubts {
		doubts = append(doubts, strings.Split(p.wrap("Careful: "+text, "", "  "), "\n")...)
	}
	room := max(1, p.height-p.around()-len(doubts)-4)
	if len(out) > room {
		out = append(out[:room-1], "...")
	}
	for _, line := range doubts {
		out = append(out, p.look.wrong.Render(line))
	}
	return strings.Join(out, "\n")
}

// below is the help of the question and what is to be said of its answer, in
// always as many lines, unless there is more to say.
func (p *pages) below() string {
	f := p.now()
	var out []string
	add := func(text string, draw func(...string) string) {
		for line := range strings.SplitSeq(text, "\n") {
			out = append(out, draw(line))
		}
	}
	switch {
	case p.sure:
		add(p.wrap("Esc once more leaves the form; nothing is changed then. Any other key goes on.", "", ""), p.look.wrong.Render)
	case p.wrong != "":
		add(p.wrap(p.wrong, "Not accepted: ", "  "), p.look.wrong.Render)
	}
	if f.q.Help != "" {
		add(p.wrap(f.q.Help, "", ""), p.look.help.Render)
	}
	for _, text := range p.said() {
		add(p.wrap(text, "Note: ", "  "), p.look.title.Render)
	}
	for len(out) < helpLines {
		out = append(out, "")
	}
	return strings.Join(out, "\n")
}

// said is what was said of the answers of this page, and of the last answer of
// the page before when this one has just come.
func (p *pages) said() []string {
	var out []string
	if p.page > 0 && p.at == 0 && !p.atReview() {
		last := p.fields[p.page-1]
		if text := p.remarks[last[len(last)-1].q]; text != "" {
			out = append(out, text)
		}
	}
	for _, f := range p.fields[p.page] {
		if text := p.remarks[f.q]; text != "" {
			out = append(out, text)
		}
	}
	return out
}

func (p *pages) keys() string {
	f := p.now()
	keys := []string{"Enter next", "Up back", "Esc leave"}
	switch {
	case f.list:
		keys = []string{"Up, Down choose", "Enter take it", "Shift+Tab back", "Esc leave"}
	case f.pick != nil:
		keys = append([]string{"Left, Right choose"}, keys...)
	case len(f.q.Known) > 0:
		keys = append(keys, "Ctrl+E complete")
	}
	return strings.Join(keys, " - ")
}

// readable is the longest line of running text, in columns.
const readable = 100

func (p *pages) wrap(text, first, rest string) string {
	return show.Wrap(show.Clean(text), max(20, min(readable, p.width)), first, rest)
}

// trimEmpty takes empty lines off the end.
func trimEmpty(text string) string {
	lines := strings.Split(text, "\n")
	for len(lines) > 1 && strings.TrimSpace(show.Clean(lines[len(lines)-1])) == "" {
		lines = lines[:len(lines)-1]
	}
	return strings.Join(lines, "\n")
}
