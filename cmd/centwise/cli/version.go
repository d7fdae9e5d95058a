package cli

import (
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"centwise/cmd/centwise/show"
)

type versionOptions struct {
	factory *Factory
	json    bool
}

func newVersionCmd(f *Factory) *cobra.Command {
	o := &versionOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "version",
		Short: "Print the version of this build",
		Long:  long("Print the version of this build, the commit it was made from and the Go that made it."),
		Example: `  centwise version
  centwise version --json`,
		Args: args(0, 0),
		RunE: func(*cobra.Command, []string) error { return versionRun(o) },
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON: version, commit, time, go, platform")
	return cmd
}

func versionRun(o *versionOptions) error {
	v := buildVersion()
	s := o.factory.Streams
	if o.json {
		return show.JSON(s.Out, show.Fields{
			{Name: "version", Value: v.version}, {Name: "commit", Value: v.commit}, {Name: "time", Value: v.time},
			{Name: "go", Value: runtime.Version()}, {Name: "platform", Value: runtime.GOOS + "/" + runtime.GOARCH},
		})
	}
	return show.Record(s.Out, s.Style, []show.Pair{
		{Name: "version", Value: show.Words(v.version)},
		{Name: "commit", Value: show.Words(v.commit)},
		{Name: "time", Value: show.Words(v.time)},
		{Name: "go", Value: show.Words(runtime.Version())},
		{Name: "platform", Value: show.Words(runtime.GOOS + "/" + runtime.GOARCH)},
	})
}

type build struct{ version, commit, time string }

// buildVersion reads what the Go tool wrote into the program.
func buildVersion() build {
	b := build{version: "(devel)"}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	if info.Main.Version != "" {
		b.version = info.Main.Version
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			b.commit = s.Value
		case "vcs.time":
			b.time = s.Value
		}
	}
	return b
}
