package cli

import (
	"os"

	"github.com/spf13/cobra"

	"centwise/cmd/centwise/form"
)

// asking is how people may be asked.
type asking struct {
	noInput    bool // --no-input
	accessible bool // --accessible
	// instead asks in place of the terminal, in tests.
	instead form.Asker
}

func (a *asking) addFlags(root *cobra.Command) {
	root.PersistentFlags().BoolVar(&a.noInput, "no-input", false, "never ask: what is missing is an error")
	root.PersistentFlags().BoolVar(&a.accessible, "accessible", false, "ask line by line, for screen readers (default if $ACCESSIBLE is set)")
}

// MayAsk reports whether there is somebody to ask.
func (f *Factory) MayAsk() bool {
	return !f.asking.noInput && (f.asking.instead != nil || f.Streams.Person)
}

// Asker gives what asks: pages of the terminal, or plain lines where those are
// wanted or nothing else works. Nil when nobody may be asked.
func (f *Factory) Asker() form.Asker {
	switch {
	case !f.MayAsk():
		return nil
	case f.asking.instead != nil:
		return f.asking.instead
	}
	in, inFile := f.Streams.In.(*os.File)
	out, outFile := f.Streams.Err.(*os.File)
	if f.asking.accessible || f.Getenv("ACCESSIBLE") != "" || f.Getenv("TERM") == "dumb" || !inFile || !outFile {
		return form.NewPlain(f.Streams.Lines(), f.Streams.Err, f.Streams.Talk.Columns())
	}
	return form.NewScreen(in, out, f.Streams.Talk.Colour)
}
