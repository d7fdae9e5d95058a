package cli

import "github.com/spf13/pflag"

// shortMeasures lets people leave out the unit of a flag: --a4 for --a4-hz, and
// --temperature for --temperature-c.
func shortMeasures(_ *pflag.FlagSet, name string) pflag.NormalizedName {
	switch name {
	case "a4":
		name = "a4-hz"
	case "temperature":
		name = "temperature-c"
	}
	return pflag.NormalizedName(name)
}
