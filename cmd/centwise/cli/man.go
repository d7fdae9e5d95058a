package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/cpuguy83/go-md2man/v2/md2man"
	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"

	"centwise/catalog"
	"centwise/cmd/centwise/topic"
)

// manDate stands on the pages unless SOURCE_DATE_EPOCH says otherwise, so that
// the same program always makes the same pages.
var manDate = time.Date(2026, time.November, 1, 0, 0, 0, 0, time.UTC)

type manOptions struct {
	factory *Factory
	root    *cobra.Command
	folder  string
}

func newManCmd(f *Factory) *cobra.Command {
	o := &manOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "man [FOLDER]",
		Short: "Write the manual pages",
		Long: long(`Write the manual pages of all commands and topics into FOLDER, which must exist, or print the page of centwise itself when
no folder is given. The date on the pages is fixed; the variable SOURCE_DATE_EPOCH (seconds since 1970) overrides it.`),
		Example: `  centwise man | man -l -
  centwise man pages`,
		Args: args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.root = cmd.Root()
			setEveryLong(o.root)
			if len(got) == 1 {
				o.folder = got[0]
			}
			return manRun(o)
		},
	}
	return cmd
}

func manRun(o *manOptions) error {
	date, err := pageDate(o.factory.Getenv("SOURCE_DATE_EPOCH"))
	if err != nil {
		return err
	}
	header := &doc.GenManHeader{Section: "1", Date: &date, Source: "centwise", Manual: "centwise manual"}
	if o.folder == "" {
		return doc.GenMan(o.root, header, o.factory.Streams.Out)
	}
	err = doc.GenManTree(o.root, header, o.folder)
	if err == nil {
		err = writeTopics(o.folder, date)
	}
	if err != nil {
		return &catalog.Error{Kind: catalog.Unavailable, What: "writing the manual pages (some may be written)", Hint: "name a folder that exists and that you may write to", Err: err}
	}
	o.factory.Streams.Note("wrote the manual pages to %s", o.folder)
	return nil
}

// writeTopics writes a manual page for every topic of help.
func writeTopics(folder string, date time.Time) error {
	for _, t := range topic.All {
		page, _ := topic.Page(t.Name)
		name := "centwise-" + t.Name
		head := fmt.Sprintf("%% \"%s\" \"1\" \"%s\" \"centwise\" \"centwise manual\"\n\n# NAME\n%s - %s\n\n",
			strings.ToUpper(name), date.Format("Jan 2006"), name, t.About)
		if err := os.WriteFile(filepath.Join(folder, name+".1"), md2man.Render([]byte(head+page)), 0o644); err != nil {
			return err
		}
	}
	return nil
}

func pageDate(epoch string) (time.Time, error) {
	if epoch == "" {
		return manDate, nil
	}
	seconds, err := strconv.ParseInt(epoch, 10, 64)
	if err != nil {
		return time.Time{}, usagef("unset it", "SOURCE_DATE_EPOCH is %q, not a number of seconds", epoch)
	}
	return time.Unix(seconds, 0).UTC(), nil
}
