package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

var shells = []string{"bash", "zsh", "fish", "powershell"}

func newCompletionCmd(f *Factory) *cobra.Command {
	return &cobra.Command{
		Use:   "completion SHELL",
		Short: "Print a script that completes commands and flags in a shell",
		Long: long(`Print a script that lets a shell complete the commands and flags of centwise. SHELL is bash, zsh, fish or
powershell. Completing never opens a catalog.`),
		Example: `  centwise completion bash > ~/.local/share/bash-completion/completions/centwise
  centwise completion fish > ~/.config/fish/completions/centwise.fish`,
		Args:                  args(1, 1),
		ValidArgs:             shells,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, got []string) error {
			return completionRun(f, cmd.Root(), got[0])
		},
	}
}

func completionRun(f *Factory, root *cobra.Command, shell string) error {
	out := f.Streams.Out
	switch {
	case !slices.Contains(shells, shell):
		return usagef("'centwise completion bash'", "no completion for %q; known: %s", shell, strings.Join(shells, ", "))
	case shell == "bash":
		return root.GenBashCompletionV2(out, true)
	case shell == "zsh":
		return root.GenZshCompletion(out)
	case shell == "fish":
		return root.GenFishCompletion(out, true)
	}
	return root.GenPowerShellCompletionWithDesc(out)
}
