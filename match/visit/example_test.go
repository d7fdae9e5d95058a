package visit

import (
	"fmt"

	"centwise/match/tuning"
)

// The present setup leaves 8 cents, the candidates are expected to leave 9, 3 and
// 7: the plan tries the second first, and before anything was tried it is no time
// to stop.
func ExampleVisit_Order() {
	p, err := tuning.NewProblem(slots, tuning.Options{Travel: &tuning.Unlimited})
	if err != nil {
		fmt.Println(err)
		return
	}
	v := Open(joint(8, 9, 3, 7), law(), p, 5)
	first := v.Order(nil, nil, 1)[0]
	done, rival, _ := v.Done(nil, nil, UsualRule)
	fmt.Println("try", first.Setup, "first; stop:", done, "because of", rival)
	// Output: try 2 first; stop: false because of 2
}
