package cli

import (
	"github.com/spf13/cobra"

	"centwise/cmd/centwise/show"
)

// pictureFlags ask for the answer as a drawing too.
type pictureFlags struct {
	svg, png string // files; empty: none
	force    bool
}

func (p *pictureFlags) add(cmd *cobra.Command, what string) {
	fs := cmd.Flags()
	fs.StringVar(&p.svg, "svg", "", "draw "+what+" into `FILE` as SVG too")
	fs.StringVar(&p.png, "png", "", "draw "+what+" into `FILE` as PNG too")
	fs.BoolVar(&p.force, "force", false, "with --svg or --png: replace the file if it is there already")
}

// wanted tells whether anything is to be drawn.
func (p *pictureFlags) wanted() bool { return p.svg != "" || p.png != "" }

// check refuses, before any work, what write would refuse after it.
func (p *pictureFlags) check() error {
	if p.force && !p.wanted() {
		return usagef("--svg FILE --force", "--force needs --svg or --png")
	}
	if p.svg != "" && p.svg == p.png {
		return usagef("--svg profile.svg --png profile.png", "--svg and --png name the same file %s", p.svg)
	}
	if err := checkPlace(p.svg, p.force, "--svg profile.svg"); err != nil {
		return err
	}
	return checkPlace(p.png, p.force, "--png profile.png")
}

// write draws into the files, each whole or not at all, and says so.
func (p *pictureFlags) write(s *Streams, picture func() show.Picture) error {
	if !p.wanted() {
		return nil
	}
	drawn := picture()
	if p.svg != "" {
		if err := writeFile(p.svg, p.force, drawn.SVG); err != nil {
			return err
		}
		s.Note("Drawn into %s.", p.svg)
	}
	if p.png != "" {
		if err := writeFile(p.png, p.force, drawn.PNG); err != nil {
			return err
		}
		s.Note("Drawn into %s.", p.png)
	}
	return nil
}
