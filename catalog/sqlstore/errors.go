package sqlstore

import (
	"context"
	"errors"
	"fmt"

	"centwise/catalog"
)

// fail turns an error of the database into one of the domain. doing says what
// was tried, as in "saving the fit". A cancelled context stays what it is.
func (s *Store) fail(ctx context.Context, doing string, err error) error {
	var domain *catalog.Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &domain):
		return err
	case ctx.Err() != nil:
		return fmt.Errorf("%s: %w", doing, ctx.Err())
	}
	kind, hint := s.dialect.explain(s.dialect.classify(err))
	return &catalog.Error{Kind: kind, What: fmt.Sprintf("%s in catalog %s", doing, s.path), Hint: hint, Err: err}
}

// explainFile gives the kind of a class of errors and what to do about it, of a
// catalog in a file.
func explainFile(c class) (catalog.Kind, string) {
	switch c {
	case unique:
		return catalog.Conflict, "it is in the catalog already"
	case constraint:
		return catalog.Invalid, "the database refuses the value"
	case busy:
		return catalog.Busy, "another program is using the catalog: wait until it has finished, then try again"
	case readOnly:
		return catalog.Unavailable, "the catalog can only be read: check the permissions of the file and of its folder"
	case full:
		return catalog.Unavailable, "the disk is full: make room, then try again; nothing was written"
	case damaged:
		return catalog.Unavailable, "the file is damaged: go back to a backup, or see what is wrong with: centwise catalog check"
	case notDatabase:
		return catalog.Unavailable, "the file is not a catalog: check the path"
	case cannotOpen:
		return catalog.Unavailable, "check that the path is right and that you may read and write the file and its folder"
	case inputOutput:
		return catalog.Unavailable, "the disk or the network folder failed: copy the catalog to a sound local disk"
	case tooBig:
		return catalog.Invalid, "it is larger than the database can hold"
	}
	return catalog.Internal, ""
}
