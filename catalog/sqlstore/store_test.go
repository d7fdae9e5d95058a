package sqlstore_test

import (
	"testing"

	"centwise/catalog"
	"centwise/catalog/storetest"
)

func TestContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) catalog.Store { return newStore(t) })
}
