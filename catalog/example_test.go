package catalog_test

import (
	"fmt"

	"centwise/catalog"
)

// What was mistyped is looked for among the labels that are there.
func ExampleNear() {
	labels := []string{"Plover 16.2", "Dunlin 16.6", "Curlew 17.0"}
	fmt.Println(catalog.Near("plovr 16.2", labels, 3))
	// Output: [Plover 16.2]
}

// Labels that differ in case and spaces only are alike.
func ExampleFold() {
	fmt.Println(catalog.Fold("  Plover  16.2 ") == catalog.Fold("PLOVER 16.2"))
	// Output: true
}
