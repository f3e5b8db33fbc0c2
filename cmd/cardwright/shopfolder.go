package main

import (
	"context"
	"fmt"
	"path/filepath"

	"cardwright/manifest"
	"cardwright/media/place"
)

// shop loads the shop folder.
func (s *session) shop() (*manifest.Shop, error) {
	dir, err := s.shopFolder()
	if err != nil {
		return nil, err
	}
	return manifest.Load(dir)
}

// shopFolder is the one that was named, or the nearest.
func (s *session) shopFolder() (string, error) {
	dir := s.shopDir
	if dir == "" {
		found, err := manifest.FindShop(".")
		if err != nil {
			return "", usage(err)
		}
		dir = found
	}
	if err := place.MayMake(filepath.Join(dir, manifest.ShopFile)); err != nil {
		return "", usage(fmt.Errorf("loading the shop folder: %w", err)) // commands keep what they write there
	}
	return filepath.Clean(dir), nil
}

// shopFor loads the shop folder for work on one vessel. A mistake in a file that
// doesn't concern it is reported, and stops nothing.
func (s *session) shopFor(vessel string) (*manifest.Shop, error) {
	dir, err := s.shopFolder()
	if err != nil {
		return nil, err
	}
	shop, elsewhere, err := manifest.LoadFor(dir, vessel, nil)
	s.elsewhere = elsewhere
	if n := len(elsewhere); n > 0 {
		concerns := "None of it concerns " + vessel + "; the work goes on."
		if vessel == "" {
			concerns = "The vessels that it concerns are left out."
		}
		s.complain(elsewhere.Error() + "\n\n" + concerns)
	}
	return shop, err
}

// shopIfAny loads the shop folder that was named or that there is, for commands
// that can do without one; nil where there is none.
func (s *session) shopIfAny() (*manifest.Shop, error) {
	if s.shopDir == "" {
		if _, err := manifest.FindShop("."); err != nil {
			return nil, nil
		}
	}
	return s.shop()
}

// vessel loads the shop folder and finds one vessel in it, as files and ledger
// know it.
func (s *session) vessel(id string) (*manifest.Shop, *manifest.Vessel, error) {
	shop, vessel, err := s.vesselToJudge(id)
	if err == nil {
		err = s.unasked
	}
	return shop, vessel, err
}

// vesselToJudge is vessel for commands whose answer is a card's verdict: where the
// ledger can't be asked they judge all the same, and noteCard says that it
// couldn't.
func (s *session) vesselToJudge(id string) (*manifest.Shop, *manifest.Vessel, error) {
	shop, err := s.shopFor(id)
	if err != nil {
		return nil, nil, err
	}
	vessel, err := vesselCalled(shop, id)
	if err != nil {
		return nil, nil, err
	}
	if err := refuseUnsettled(shop, vessel); err != nil {
		return nil, nil, err
	}
	learnIfAny(context.Background(), s, shop, vessel)
	return shop, vessel, nil
}
