package protocol_test

import (
	"fmt"

	"centwise/match/protocol"
)

// A line may hold several readings, with the decimal mark of any tuner.
func ExampleParseEntry() {
	e, err := protocol.ParseEntry("-3 4,5 +2")
	fmt.Println(e.Cents, err)
	_, err = protocol.ParseEntry("sharp")
	fmt.Println(err != nil)
	// Output:
	// [-3 4.5 2] <nil>
	// true
}
