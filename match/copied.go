package match

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// A session that has the digits of another was copied: two honest ones agree in
// a note by chance about once in twenty.
const (
	minCopied   = 8   // notes that must be the same
	copiedShare = 0.8 // of the notes of the shorter session
	// copiedBlock is how many notes in a row are compared at once in looking for
	// sessions that may be copies.
	copiedBlock = 4
)

// copies gathers sessions, in the order of recording, to find those with the same
// digits.
type copies struct {
	sessions []copySheet
	blocks   map[string][]int32 // digits of notes in a row, and who has them
}

// copySheet is what is kept of a session.
type copySheet struct {
	name  string
	slots []pitch.Slot // sorted
	cents []float64
}

func (c *copies) add(s *sheet) {
	if len(s.slots) < minCopied {
		return
	}
	order := make([]int, len(s.slots))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return s.slots[a].Compare(s.slots[b]) })
	kept := copySheet{name: s.name()}
	for _, i := range order {
		kept.slots, kept.cents = append(kept.slots, s.slots[i]), append(kept.cents, s.cents[i])
	}
	if c.blocks == nil {
		c.blocks = map[string][]int32{}
	}
	for first := 0; first+copiedBlock <= len(kept.slots); first++ {
		// Blocks begin at fixed notes, so that a note left out shifts none.
		if int(kept.slots[first].Note())%copiedBlock == 0 {
			key := kept.block(first)
			c.blocks[key] = append(c.blocks[key], int32(len(c.sessions)))
		}
	}
	c.sessions = append(c.sessions, kept)
}

func (s *copySheet) block(first int) string {
	var key []byte
	for i := first; i < first+copiedBlock; i++ {
		key = append(key, byte(s.slots[i].Valves), byte(s.slots[i].Partial))
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(s.cents[i]))
	}
	return string(key)
}

// findings names the later one of every two sessions with the same digits.
func (c *copies) findings() []catalog.Finding {
	var out []catalog.Finding
	named := map[int32]bool{}
	for b := range c.sessions {
		later := int32(b)
		for _, earlier := range c.candidates(later) {
			same, of := c.sessions[earlier].agree(&c.sessions[later])
			if same < minCopied || float64(same) < copiedShare*float64(of) || named[later] {
				continue
			}
			named[later] = true
			out = append(out, copyFinding(&c.sessions[earlier], &c.sessions[later], same, of))
		}
	}
	return out
}

// candidates are the sessions before one that share a block with it.
func (c *copies) candidates(session int32) []int32 {
	var out []int32
	s := &c.sessions[session]
	for first := 0; first+copiedBlock <= len(s.slots); first++ {
		if int(s.slots[first].Note())%copiedBlock != 0 {
			continue
		}
		for _, other := range c.blocks[s.block(first)] {
			if other < session {
				out = append(out, other)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// agree counts the notes that two sessions have in common to the digit, and
// those of the shorter one.
func (s *copySheet) agree(t *copySheet) (same, of int) {
	i, j := 0, 0
	for i < len(s.slots) && j < len(t.slots) {
		switch order := s.slots[i].Compare(t.slots[j]); {
		case order < 0:
			i++
		case order > 0:
			j++
		default:
			if s.cents[i] == t.cents[j] {
				same++
			}
			i, j = i+1, j+1
		}
	}
	return same, min(len(s.slots), len(t.slots))
}

func copyFinding(earlier, later *copySheet, same, of int) catalog.Finding {
	return catalog.Finding{
		Kind: FindCopied, Session: later.name, Subject: earlier.name,
		Detail:    fmt.Sprintf("%d of %d notes have the very digits of session %s: entered twice, or copied?", same, of, catalog.ShellWord(earlier.name)),
		Certainty: maxCertainty,
		Repair: strings.Join([]string{"centwise session retract", catalog.ShellWord(later.name), "--reason",
			catalog.ShellWord("the same readings as session " + earlier.name)}, " "),
	}
}
