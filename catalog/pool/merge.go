package pool

import (
	"context"
	"iter"

	"centwise/catalog"
)

// Merge merges bundles into a catalog: all of them or, when anything in any of
// them is wrong, none. The error says in which file and record.
func Merge(ctx context.Context, store catalog.Store, files []File, progress catalog.Counter) (catalog.Merged, error) {
	return receive(ctx, store, files, catalog.ReceiveOptions{}, maxBytes, progress)
}

// Receive merges one bundle that unpacks to no more than limit bytes, with
// options. The errors are those of [Merge].
func Receive(ctx context.Context, store catalog.Follower, f File, limit int64, o catalog.ReceiveOptions) (catalog.Merged, error) {
	return receive(ctx, store, []File{f}, o, limit, nil)
}

func receive(ctx context.Context, store catalog.Follower, files []File, o catalog.ReceiveOptions, limit int64, progress catalog.Counter) (catalog.Merged, error) {
	if progress == nil {
		progress = catalog.NoCounter{}
	}
	progress.Start("merging readings", 0)
	defer progress.Done()
	s := &series{ctx: ctx, files: files, limit: limit, progress: progress}
	merged, err := store.Receive(ctx, s.records(), o)
	if err == nil || s.failed != nil || s.at == nil || ctx.Err() != nil {
		return merged, err
	}
	if kind := catalog.KindOf(err); kind == catalog.Invalid || kind == catalog.NotFound || kind == catalog.Conflict {
		err = &catalog.Error{Kind: kind, What: s.at.String(), Hint: askAgain, Err: err}
	}
	return merged, err
}

// series is the records of several bundles, one after the other.
type series struct {
	ctx      context.Context
	files    []File
	limit    int64 // of each, unpacked
	progress catalog.Counter
	at       *place // of the record that was given last
	failed   error  // of reading
}

func (s *series) records() iter.Seq2[catalog.Pooled, error] {
	return func(yield func(catalog.Pooled, error) bool) {
		for _, f := range s.files {
			s.at = &place{file: f.Name}
			for p, err := range read(s.ctx, f, s.at, s.limit) {
				s.failed = err
				if !yield(p, err) || err != nil {
					return
				}
				s.progress.Add(int64(readingsOf(p)))
			}
		}
	}
}
