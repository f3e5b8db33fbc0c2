package main

import (
	"fmt"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/edit"
	"cardwright/manifest/pattern"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/verify"
	"cardwright/verify/visible"
)

// cardVessel is what the record on a card tells of a vessel.
type cardVessel struct {
	id, name string
	devices  []edit.NewDevice
}

// ourFolder is a folder that prepare names for a device: 01-flybridge.
var ourFolder = pattern.Of(`^[0-9]{2,}-([a-z0-9-]+)/`)

// fromCard takes what a record says. It is a stranger's word: nothing of it is
// shown or written that a shop's file may not hold.
func fromCard(t *terminal, shop *manifest.Shop, target string) (cardVessel, error) {
	record, err := recordOn(target)
	if err != nil {
		return cardVessel{}, err
	}
	card := cardVessel{id: record.Vessel, name: record.VesselName}
	seen := map[string]bool{}
	for _, f := range record.Files {
		m, r := releaseOf(shop, f.SHA256)
		if m == nil {
			fmt.Fprintf(t.errs, "%s: not in the catalogue, so left out\n", visible.Visible(f.Path))
			continue
		}
		d := edit.NewDevice{At: manifest.Pos{File: target}, Model: m.ID, Variant: r.Variant}
		if found := ourFolder.FindStringSubmatch(f.Path); found != nil && manifest.Problem("Device.id", found[1]) == nil {
			d.ID = found[1]
		}
		if key := d.ID + " " + d.Model; !seen[key] {
			seen[key] = true
			card.devices = append(card.devices, d)
			fmt.Fprintf(t.errs, "%s: the card has %s %s for it; what it runs is unknown\n", or(d.ID, d.Model), m.ID, r.Version)
		}
	}
	if len(card.devices) == 0 {
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
		return nil, fmt.Errorf("%s has no record of cardwright's that can be read", target)
	}
	return g.Record, nil
}

// releaseOf is the release in which a file with this digest goes on a card.
func releaseOf(shop *manifest.Shop, sha256 digest.SHA256) (*manifest.Model, *manifest.Release) {
	for _, m := range shop.Models {
		for _, r := range m.Releases {
			for _, f := range r.Files {
				if f.SHA256 == sha256 {
					return m, r
				}
				for _, member := range f.Members {
					if member.SHA256 == sha256 {
						return m, r
					}
				}
			}
		}
	}
	return nil, nil
}
