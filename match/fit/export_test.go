package fit

import (
	"context"

	"centwise/catalog"
)

// RefreshAnySize is what [Current] does with a stale fit of a large catalog.
func RefreshAnySize(ctx context.Context, store catalog.Store) (*Model, bool, error) {
	m, err := loadModel(ctx, store)
	if err != nil {
		return nil, false, err
	}
	digest, err := store.Digest(ctx)
	if err != nil {
		return nil, false, err
	}
	ok, err := m.refresh(ctx, store, digest, 0)
	return m, ok, err
}
