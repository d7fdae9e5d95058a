package impedance_test

import (
	"fmt"
	"strings"

	"centwise/importers/impedance"
)

// A curve with one peak, as a bench may write it: the resonance is the top of the
// fitted peak, not the highest point of the table.
func ExampleCurve_Resonances() {
	var text strings.Builder
	text.WriteString("frequency (Hz); |Z| (MOhm)\n")
	for hz := 200.0; hz <= 280; hz++ {
		x := (hz - 237.4) / 4
		fmt.Fprintf(&text, "%g; %.4f\n", hz, 30/(1+x*x))
	}
	curve, err := impedance.Read("open.csv", strings.NewReader(text.String()), nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	found, _, _ := curve.Resonances()
	for _, r := range found {
		fmt.Printf("%.1f Hz\n", r.Hz)
	}
	// Output: 237.4 Hz
}
