package assign_test

import (
	"fmt"

	"centwise/match/assign"
)

// Three students and three horns, costs in cents. The least total and the fairest
// plan differ: for the sake of the worst served the others give way.
func ExampleSolve() {
	c := assign.NewCosts(3, 3)
	for i, row := range [][]float64{{4, 9, 8}, {5, 6, 12}, {6, 7, 9}} {
		for j, x := range row {
			c.Set(i, j, x)
		}
	}
	least, err := assign.Solve(c)
	if err != nil {
		fmt.Println(err)
		return
	}
	fairest, err := assign.Fairest(c)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(least.Of, least.Total)
	fmt.Println(fairest.Of, fairest.Total)
	// Output:
	// [0 1 2] 19
	// [2 1 0] 20
}
