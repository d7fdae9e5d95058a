// Command centwise judges trumpet setups by relative intonation: it pools
// measured sessions, works out what horn, mouthpiece and player contribute, and
// predicts and ranks pairings that nobody has played yet.
package main

import (
	"os"

	"centwise/cmd/centwise/cli"
)

func main() { os.Exit(cli.Main()) }
