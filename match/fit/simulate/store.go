package simulate

import (
	"context"
	"crypto/sha256"
	"fmt"
	"iter"

	"centwise/catalog"
)

// Store shows the world as a catalog as far as a fit looks: its gear, its
// measurements, and a place for the stored fit. The rest of the interface is
// absent: a call is a defect of the caller, and panics.
func (w *World) Store() catalog.Store { return &worldStore{w: w} }

type worldStore struct {
	catalog.Store
	w      *World
	stored *catalog.StoredFit
}

func (s *worldStore) Horns(context.Context, bool) ([]catalog.Horn, error) {
	return s.w.CatalogHorns(), nil
}

func (s *worldStore) Mouthpieces(context.Context, bool) ([]catalog.Mouthpiece, error) {
	return s.w.CatalogMouthpieces(), nil
}

func (s *worldStore) Players(context.Context, bool) ([]catalog.Player, error) {
	return s.w.CatalogPlayers(), nil
}

func (s *worldStore) Links(context.Context) ([]catalog.LinkSummary, error) { return nil, nil }

func (s *worldStore) Measurements(_ context.Context, after int64) iter.Seq2[catalog.Measured, error] {
	return func(yield func(catalog.Measured, error) bool) {
		for m, err := range s.w.Measurements() {
			if err == nil && m.Sequence <= after {
				continue
			}
			if !yield(m, err) {
				return
			}
		}
	}
}

// Digest tells worlds apart: by what made them, and by how much of it is left.
func (s *worldStore) Digest(context.Context) (catalog.Digest, error) {
	return sha256.Sum256(fmt.Appendf(nil, "%v, %d sessions, %d readings", s.w, len(s.w.Sessions), s.w.Readings())), nil
}

func (s *worldStore) Info(ctx context.Context) (catalog.Info, error) {
	digest, err := s.Digest(ctx)
	info := catalog.Info{Title: s.w.String(), Horns: len(s.w.Horns), Mouthpieces: len(s.w.Mouthpieces), Players: len(s.w.Players),
		Contributors: len(s.w.Contributors), Sessions: len(s.w.Sessions), Readings: s.w.Readings(), Digest: digest.String()}
	if s.stored != nil {
		info.FitDigest, info.FitAt = s.stored.Digest, s.stored.At
	}
	return info, err
}

func (s *worldStore) SaveFit(_ context.Context, f catalog.StoredFit) error {
	s.stored = &f
	return nil
}

func (s *worldStore) LoadFit(_ context.Context, take func(catalog.StoredFit, string, []byte) error, sections ...string) error {
	if s.stored == nil {
		return catalog.Errorf(catalog.NotFound, "", "no fit is stored")
	}
	out := *s.stored
	out.Sections = nil
	for _, name := range sections {
		data, ok := s.stored.Sections[name]
		if !ok {
			return catalog.Errorf(catalog.NotFound, "", "the stored fit has no section %q", name)
		}
		if err := take(out, name, data); err != nil {
			return err
		}
	}
	return nil
}
