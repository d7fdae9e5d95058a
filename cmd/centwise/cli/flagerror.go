package cli

import (
	"errors"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"centwise/catalog"
)

// flagError says what is wrong with a flag, and names the flag that a
// misspelt one may have been meant to be.
func flagError(cmd *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	var invalid *pflag.InvalidValueError
	switch {
	case errors.As(err, &unknown) && unknown.GetSpecifiedShortnames() == "":
		if near := nearFlag(cmd, unknown.GetSpecifiedName()); near != "" {
			return usagef(cmd.CommandPath()+" --"+near, "%v", err)
		}
	case errors.As(err, &invalid):
		name := invalid.GetFlag().Name
		if wanted, ok := flagValues[invalid.GetFlag().Value.Type()]; ok {
			return usagef(helpOf(cmd), "--%s %q: %s is wanted", name, invalid.GetValue(), wanted)
		}
		return usagef(helpOf(cmd), "--%s: %v", name, invalid.Unwrap())
	}
	return usagef(helpOf(cmd), "%v", err)
}

// flagValues says what flags of a type take, where the parser's own words are
// those of a programmer.
var flagValues = map[string]string{
	"int":     "a whole number",
	"int64":   "a whole number",
	"uint64":  "a whole number from nought",
	"float64": "a number",
	"bool":    "true or false",
}

// nearFlag is the flag of a command whose name is nearest to the one typed,
// empty if none is near.
func nearFlag(cmd *cobra.Command, typed string) string {
	var known []string
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			known = append(known, f.Name)
		}
	})
	if near := catalog.Near(typed, known, 1); len(near) > 0 {
		return near[0]
	}
	return ""
}
