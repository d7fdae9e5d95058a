package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

// shortlistEach is how many pairings of each of many lists are shown unless the
// user says.
const shortlistEach = 5

// eachHelp is what the help says of a list for each.
var eachHelp = []string{
	fmt.Sprintf(`--each-horn ranks the mouthpieces for each horn, --each-mouthpiece the horns for each mouthpiece: the first %d unless
--top says otherwise. --owner and --tag then select what is looked for, and chances are between the pairings of a list that
are shown, as they are where all pairs of very much gear are ranked.`, shortlistEach),
	`--json of lists for each prints {"each": "horn" or "mouthpiece", "player", "sorted_by", "weights", "considered", "left_out",
"without", "notes", "lists": [{"horn" or "mouthpiece", "considered", "pairings": as above}]}; "without" counts the gear that
the filters leave nothing for. --csv has the lists one after another, each with its ranks from 1.`,
}

// exclusiveLists lets a user ask for one kind of list.
func exclusiveLists(cmd *cobra.Command) {
	flags := []string{"horn", "mouthpiece", "each-horn", "each-mouthpiece", "matrix"}
	for i, a := range flags {
		for _, b := range flags[i+1:] {
			exclusive(cmd, a, b)
		}
	}
	for _, a := range []string{"each-horn", "each-mouthpiece"} { // a drawing is of one list
		exclusive(cmd, a, "svg")
		exclusive(cmd, a, "png")
	}
}

// eachOf is whose lists two flags ask for.
func eachOf(horn, mouthpiece bool) match.Owner {
	switch {
	case horn:
		return match.EachHorn
	case mouthpiece:
		return match.EachMouthpiece
	}
	return ""
}

// rankEachRun makes and prints a list for each horn or mouthpiece.
func rankEachRun(ctx context.Context, o *rankOptions) error {
	r, err := askRanking(ctx, o, func(ctx context.Context, e match.Engine, q match.Question) (*match.EachRanking, error) {
		q.Progress = o.factory.Progress()
		return match.RankEach(ctx, e, o.each, q)
	})
	if err != nil {
		return err
	}
	s := o.factory.Streams
	switch {
	case o.output.json:
		head := *r
		head.Lists = nil
		return show.JSONLists(s.Out, head, "lists", r.Lists)
	case o.output.csv:
		return show.EachCSV(s.Out, r)
	case s.Style.Terminal:
		err = show.EachRanking(s.Out, s.Style, r, o.toleranceCents)
	default:
		err = show.EachTabs(s.Out, s.Style, r)
		s.Notes(r.Notes)
	}
	if err != nil {
		return err
	}
	sayOneList(s, r, o.judge.again()+o.factory.Here())
	s.Note(cautionShared + " " + cautionRest)
	return nil
}

// sayOneList says how to see one list whole; ending ends commands.
func sayOneList(s *Streams, r *match.EachRanking, ending string) {
	flag, label := "--horn ", r.Lists[0].Horn
	if r.Each == match.EachMouthpiece {
		flag, label = "--mouthpiece ", r.Lists[0].Mouthpiece
	}
	s.Note("Next: see one list whole, with the chances of all:")
	s.Command("centwise rank " + flag + catalog.ShellWord(label) + " --top 0" + ending)
}
