package media

import (
	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/pattern"
)

// RecordDevice is a device that a card has a package for. What it runs no record says.
type RecordDevice struct {
	ID      string // aboard; "" where the card's folders don't name it
	Model   *manifest.Model
	Release *manifest.Release // that the package is of
}

// deviceFolder is a folder that is named for a device by FoldersByDevice: 01-flybridge.
var deviceFolder = pattern.Of(`^[0-9]{2,}-([a-z0-9-]+)/`)

// Devices are the devices that a record has packages for, each once, and the files
// that the catalogue doesn't know. A record is a stranger's word: no id is given that
// a vessel's file may not hold.
func (r *Record) Devices(shop *manifest.Shop) (devices []RecordDevice, unknown []string) {
	seen := map[[2]string]bool{}
	for _, f := range r.Files {
		m, release := releaseOnCard(shop, f.SHA256)
		if m == nil {
			unknown = append(unknown, f.Path)
			continue
		}
		d := RecordDevice{Model: m, Release: release}
		if named := deviceFolder.FindStringSubmatch(f.Path); named != nil && manifest.Problem("Device.id", named[1]) == nil {
			d.ID = named[1]
		}
		if key := [2]string{d.ID, m.ID}; !seen[key] {
			seen[key] = true
			devices = append(devices, d)
		}
	}
	return devices, unknown
}

// releaseOnCard is the release in which a file with this digest goes on a card.
func releaseOnCard(shop *manifest.Shop, sha256 digest.SHA256) (*manifest.Model, *manifest.Release) {
	for _, m := range shop.Models {
		for _, r := range m.Releases {
			if r.FileOf(sha256) != nil {
				return m, r
			}
			for _, f := range r.Files {
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
