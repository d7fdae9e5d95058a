package cli

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
)

// gearField is one field of a record as flags, tables and JSON know it.
type gearField[T any] struct {
	name    string // JSON member and column of a gear list; the flag has dashes
	unit    string
	kind    string // shown in help as the flag's value
	usage   string
	choices []string
	set     func(*T, string) error
	value   func(*T) any // string, float64, int, bool or []string
	drop    int          // in lists on a terminal: 0 not shown, 1 always, more: may go
	title   string       // heading there
	// columns are what a gear list has instead of one column of this name.
	columns []gearColumn[T]
}

// fileKind is the kind of a field whose flag names a file to read it from.
const fileKind = "file"

// gearColumn is a column of a gear list.
type gearColumn[T any] struct {
	name string
	text func(*T) string
}

func (f gearField[T]) flag() string { return strings.ReplaceAll(f.name, "_", "-") }

// heading is the name of the field for people.
func (f gearField[T]) heading() string {
	name := strings.TrimSuffix(strings.ReplaceAll(f.name, "_", " "), " "+f.unit)
	return name
}

// text is the value as a cell of a gear list; empty when not known.
func (f gearField[T]) text(item *T) string {
	switch v := f.value(item).(type) {
	case string:
		return v
	case float64:
		if v != 0 {
			return strconv.FormatFloat(v, 'f', -1, 64)
		}
	case int:
		return strconv.Itoa(v)
	case bool:
		if v {
			return "yes"
		}
	case []string:
		return strings.Join(v, ", ")
	}
	return ""
}

func (f gearField[T]) cell(item *T) show.Cell {
	switch v := f.value(item).(type) {
	case []string:
		return show.TextEither(strings.Join(v, ", "), catalog.WriteList(v))
	case string:
		return show.Text(v)
	}
	return show.Words(f.text(item))
}

func textField[T any](name, usage string, at func(*T) *string) gearField[T] {
	return gearField[T]{
		name: name, kind: "text", usage: usage,
		set:   func(item *T, s string) error { *at(item) = strings.TrimSpace(s); return nil },
		value: func(item *T) any { return *at(item) },
	}
}

// numberField is a measure in a unit; 0 means not known.
func numberField[T any](name, unit, usage string, at func(*T) *float64) gearField[T] {
	return gearField[T]{
		name: name, unit: unit, kind: unit, usage: usage,
		set: func(item *T, s string) error {
			v, err := parseMeasure(s, unit)
			if err == nil {
				*at(item) = v
			}
			return err
		},
		value: func(item *T) any { return *at(item) },
	}
}

// parseMeasure reads a measure with a decimal point or comma, and its unit if
// it is written too.
func parseMeasure(text, unit string) (float64, error) {
	s := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), unit))
	v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
		return 0, fmt.Errorf("write a number of %s, as in 12.5; 0 for not known", unit)
	}
	return v, nil
}

func boolField[T any](name, usage string, at func(*T) *bool) gearField[T] {
	return gearField[T]{
		name: name, kind: "bool", usage: usage,
		set: func(item *T, s string) error {
			v, err := strconv.ParseBool(s)
			if err != nil {
				return fmt.Errorf("write true or false")
			}
			*at(item) = v
			return nil
		},
		value: func(item *T) any { return *at(item) },
	}
}

func listField[T any](name, usage string, at func(*T) *[]string) gearField[T] {
	return gearField[T]{
		name: name, kind: "list", usage: usage,
		set: func(item *T, s string) error {
			*at(item) = nil
			if strings.TrimSpace(s) != "" {
				*at(item) = catalog.ReadList(s)
			}
			return nil
		},
		value: func(item *T) any {
			if *at(item) == nil {
				return []string{}
			}
			return *at(item)
		},
	}
}

// choiceField is one of some words.
func choiceField[T any, W ~string](name, usage string, words []W, at func(*T) *W) gearField[T] {
	var choices []string
	for _, w := range words {
		choices = append(choices, string(w))
	}
	return gearField[T]{
		name: name, kind: "word", usage: usage + ": " + strings.Join(choices, ", "), choices: choices,
		set: func(item *T, s string) error {
			for _, w := range words {
				if strings.EqualFold(string(w), strings.TrimSpace(s)) {
					*at(item) = w
					return nil
				}
			}
			return fmt.Errorf("use one of %s", strings.Join(choices, ", "))
		},
		value: func(item *T) any { return string(*at(item)) },
	}
}

// listed shows the field in lists on a terminal under a heading; drop above 1
// lets it go when the terminal is narrow.
func (f gearField[T]) listed(title string, drop int) gearField[T] {
	f.title, f.drop = title, drop
	return f
}

// setting is a field given on the command line.
type setting struct{ field, text string }

// settings collects the fields given as flags, in order.
type settings []setting

// settingFlag is the flag of one field: it checks the text at once on a record
// made for it, unless it is the name of a file, and keeps it.
type settingFlag[T any] struct {
	field gearField[T]
	to    *settings
	text  string
}

func (s *settingFlag[T]) String() string { return s.text }
func (s *settingFlag[T]) Type() string   { return s.field.kind }
func (s *settingFlag[T]) Set(text string) error {
	if s.field.kind != fileKind {
		if err := s.field.set(new(T), text); err != nil {
			return err
		}
	}
	s.text = text
	*s.to = append(*s.to, setting{s.field.name, text})
	return nil
}

// addFieldFlags gives a command a flag for each field.
func (k *gearKind[T]) addFieldFlags(cmd *cobra.Command, to *settings) {
	for _, f := range k.fields {
		var value pflag.Value = &settingFlag[T]{field: f, to: to}
		flag := cmd.Flags().VarPF(value, f.flag(), "", f.usage)
		if f.kind == "bool" {
			flag.NoOptDefVal = "true"
		}
		if len(f.choices) > 0 {
			// the only error is a flag that does not exist
			_ = cmd.RegisterFlagCompletionFunc(f.flag(), cobra.FixedCompletions(f.choices, cobra.ShellCompDirectiveNoFileComp))
		}
	}
}

// apply writes settings into a record and says which fields they are.
func (k *gearKind[T]) apply(item *T, list settings) (map[string]bool, error) {
	set := map[string]bool{}
	for _, s := range list {
		for _, f := range k.fields {
			if f.name != s.field {
				continue
			}
			if err := f.set(item, s.text); err != nil {
				if f.kind == fileKind {
					return nil, err
				}
				return nil, usagef("", "--%s %q: %v", f.flag(), s.text, err)
			}
			set[f.name] = true
		}
	}
	return set, nil
}
