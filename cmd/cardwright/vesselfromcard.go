package main

import (
	"fmt"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/verify"
	"cardwright/verify/visible"
)

// cardVessel is what the record on a card says of a vessel.
type cardVessel struct {
	id, name string
	devices  []edit.NewDevice
}

// fromCard takes what a record says, and reports what it leaves out.
func fromCard(t *terminal, shop *manifest.Shop, target string) (cardVessel, error) {
	record, err := recordOn(target)
	if err != nil {
		return cardVessel{}, err
	}
	card := cardVessel{id: record.Vessel, name: record.VesselName}
	devices, unknown := record.Devices(shop)
	for _, path := range unknown {
		fmt.Fprintf(t.errs, "%s: not in the catalogue, so left out\n", visible.Visible(path))
	}
	for _, d := range devices {
		card.devices = append(card.devices, edit.NewDevice{At: manifest.Pos{File: target}, ID: d.ID, Model: d.Model.ID, Variant: d.Release.Variant})
		fmt.Fprintf(t.errs, "%s: the card has %s %s for it; what it runs is unknown\n", or(d.ID, d.Model.ID), d.Model.ID, d.Release.Version)
	}
	if len(devices) == 0 {
		return card, fmt.Errorf("the record on %s lists no package that the catalogue knows: nothing was taken from it", target)
	}
	return card, nil
}

// recordOn is the record on a card, an image or a mounted card.
func recordOn(target string) (*media.Record, error) {
	kind, err := drive.KindOf(target)
	if err != nil {
		return nil, err
	}
	var g verify.Listing
	if kind == drive.Folder {
		g = verify.ListFolder(target)
	} else {
		card, err := drive.OpenToRead(target, kind)
		if err != nil {
			return nil, err
		}
		defer card.Close() // opened for reading only
		g = verify.List(card, card.Bytes())
	}
	if g.Record == nil {
		return nil, fmt.Errorf("%s has no record that cardwright can read", target)
	}
	return g.Record, nil
}
