package cli

import (
	"regexp"
	"slices"
	"strings"
)

// memberList is a list of members as a help text writes it.
type memberList struct {
	names []string
	whole bool // it does not say that there is more
}

// helpMembers is what a help text says of a command's JSON.
type helpMembers struct {
	lists  map[string]*memberList // by path, as in "pairings.worst"; "" for the whole
	loose  []string               // named beside the lists
	sameAs string                 // a command whose JSON it is, but for what is listed
}

var (
	memberWord = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	helpToken  = regexp.MustCompile(`"[^"]*"|\.\.\.|[][{}(),:]|[^][{}(),:"\s]+`)
	sameAsText = regexp.MustCompile(`^--json prints what 'centwise ([a-z ]+) --json' does`)
	jsonText   = regexp.MustCompile(`--json|JSON has|: \{"`)
)

// readMembers reads the paragraphs of a help text that speak of JSON. There,
// {"a", "b": [{"c"}]} is a list of members, quoted words are members, and what
// stands in parentheses or behind a colon is about the member before.
func readMembers(text string) helpMembers {
	h := helpMembers{lists: map[string]*memberList{}}
	for _, p := range strings.Split(text, paragraphEnd) {
		p = strings.Join(strings.Fields(p), " ")
		if at := jsonText.FindStringIndex(p); at != nil {
			h.read(p[at[0]:])
		}
	}
	return h
}

// frame is a list that is being read: of members in braces, or of anything in
// brackets.
type frame struct {
	at      []string // paths of the members it belongs to
	members bool
	group   []string // names since the last comma
	value   bool     // behind the colon of a member
}

// read takes in what follows a mention of JSON.
func (h *helpMembers) read(p string) {
	if m := sameAsText.FindStringSubmatch(p); m != nil {
		h.sameAs = m[1]
		p = "--json prints" + p[len(m[0]):]
	}
	whole, _, _ := strings.Cut(p, "{")
	// The names themselves are the list if that is what it says.
	bare := strings.HasPrefix(p, "--json prints") && (strings.Contains(whole, `"`) || h.sameAs != "")
	stack := []frame{{at: []string{""}, members: true}}
	aside := 0
	for _, token := range helpToken.FindAllString(p, -1) {
		top := &stack[len(stack)-1]
		switch {
		case token == "(":
			aside++
		case token == ")":
			aside--
		case aside > 0:
		case token == "{" || token == "[":
			stack = append(stack, top.below(len(stack) == 1, token == "{"))
		case token == "}" || token == "]":
			if len(stack) > 1 {
				stack = stack[:len(stack)-1]
			}
		case token == ",":
			top.group, top.value = nil, false
		case strings.HasSuffix(token, ";") || strings.HasSuffix(token, ".") && token != "...":
			if len(stack) == 1 { // the next clause
				top.group, top.value = nil, false
			}
		case token == ":":
			top.value = len(top.group) > 0
		case token == "...":
			if top.members && (len(stack) > 1 || bare) {
				h.add(top.at, "", false)
			}
		case token[0] == '"' && top.members && !top.value:
			name := strings.Trim(token, `"`)
			if !memberWord.MatchString(name) {
				continue
			}
			top.group = append(top.group, name)
			if len(stack) > 1 || bare {
				h.add(top.at, name, true)
			} else if !slices.Contains(h.loose, name) {
				h.loose = append(h.loose, name)
			}
		}
	}
}

// below is the frame of a list in another one. The braces that no member comes
// before are the whole.
func (f *frame) below(outermost, members bool) frame {
	switch {
	case !f.members:
		return frame{at: f.at, members: members}
	case outermost && len(f.group) == 0:
		return frame{at: []string{""}, members: members}
	}
	var at []string
	for _, path := range f.at {
		for _, name := range f.group {
			at = append(at, strings.TrimPrefix(path+"."+name, "."))
		}
	}
	return frame{at: at, members: members}
}

// add takes a name into the lists at some paths, or with none that there is more.
func (h *helpMembers) add(at []string, name string, whole bool) {
	for _, path := range at {
		l := h.lists[path]
		if l == nil {
			l = &memberList{whole: true}
			h.lists[path] = l
		}
		l.whole = l.whole && whole
		if name != "" && !slices.Contains(l.names, name) {
			l.names = append(l.names, name)
		}
	}
}
