package server

import "context"

// Gather gathers what lists show, without a fit.
func (s *Server) Gather(ctx context.Context) error {
	l, err := s.gather(ctx, "gathered")
	s.keeper.listing.Store(l)
	return err
}
