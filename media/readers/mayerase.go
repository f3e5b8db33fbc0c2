package readers

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/media"
)

// UsualLimits are the sizes that marine electronics commonly take (common practice,
// no source).
var UsualLimits = media.NominalLimits(4*gigabyte, 32*gigabyte)

// Verdict is whether a drive may be erased. Reasons are why, each a clause that can
// follow the name of the drive; where it may not, they are all reasons against it.
type Verdict struct {
	OK      bool     `json:"ok"`
	Reasons []string `json:"reasons"`
}

// MayErase decides whether a drive may be erased to become a vessel's card, by what
// the system lists of it. The answer is no unless facts that agree show the drive
// to be a card in a reader, or it is a loop drive, and nothing speaks against it.
// limits are the sizes of card that the vessel's devices read; without any the
// answer is no. What the listing can't see (another mount namespace, a program that
// holds the drive) the exclusive opening refuses.
func MayErase(d Drive, limits media.Limits) Verdict {
	against := slices.Concat(
		whyNotWhole(d), whyNotCard(d), whyInUse(d), whyBuiltUpon(d), whyNotWritable(d), whyNotWithin(d, limits),
	)
	if len(against) > 0 {
		return Verdict{Reasons: against}
	}
	least, most := limits.Nominal()
	return Verdict{OK: true, Reasons: []string{
		whyCard(d),
		fmt.Sprintf("holds %s, within %s to %s", inGB(d.Bytes), inGB(least), inGB(most)),
		whyFree(d),
	}}
}

func whyNotWhole(d Drive) []string {
	var why []string
	if len(d.Unknown) > 0 {
		why = append(why, "is not described well enough by the system: it doesn't say "+strings.Join(d.Unknown, ", "))
	}
	if d.Type != typeDisk && d.Type != typeLoop {
		why = append(why, fmt.Sprintf("is not a whole drive but %s", orUnknown(d.Type)))
	}
	return why
}

// whyNotCard asks for at least two facts, from different sources, that agree.
func whyNotCard(d Drive) []string {
	switch {
	case d.Type == typeLoop:
		return nil
	case d.Transport == transportUSB || d.Transport == transportSD:
		return whyNotRemovable(d)
	case d.Transport == transportMMC:
		return whyNotSD(d)
	}
	return []string{fmt.Sprintf("is not in a card reader: it is connected by %s", orUnknown(d.Transport))}
}

func whyNotRemovable(d Drive) []string {
	switch {
	case !d.Removable:
		return []string{"is not a removable medium: it may be a disk in a case"}
	case !d.HotPlug:
		return []string{"calls itself removable, but it can't be unplugged while running"}
	}
	return nil
}

// whyNotSD: Linux calls soldered memory of this kind hot-pluggable, and cards in
// these readers not removable, so only what the card says of itself can tell.
func whyNotSD(d Drive) []string {
	switch {
	case d.Card == nil:
		return []string{"doesn't say whether it is a card or memory soldered to the board"}
	case d.Card.Kind != cardKindSD:
		return []string{fmt.Sprintf("is not an SD card but %s, which may be soldered to the board", orUnknown(d.Card.Kind))}
	case !d.HotPlug:
		return []string{"calls itself a card, but it can't be taken out while running"}
	case d.Card.Bytes != d.Bytes:
		return []string{fmt.Sprintf("claims %d bytes but measures %d: it may be damaged or a fake", d.Card.Bytes, d.Bytes)}
	}
	return nil
}

func whyInUse(d Drive) []string {
	var why []string
	if d.System {
		why = append(why, "holds a part of the running system")
	}
	for _, part := range d.all() {
		for _, place := range part.Mounts {
			if d.LetsGo {
				continue // opening it for writing unmounts it, or is refused
			}
			why = append(why, fmt.Sprintf("is in use: %s is mounted at %s; unmount it first: umount %s", part.Path, place, part.Path))
		}
		if part.Swap {
			why = append(why, fmt.Sprintf("is in use: %s is swap space", part.Path))
		}
	}
	return why
}

// whyBuiltUpon: what is built on a drive (LVM, encryption, RAID) may be in use
// without a mount of its own, and no card for a vessel's device has it.
func whyBuiltUpon(d Drive) []string {
	var why []string
	for _, part := range d.all()[1:] {
		if part.Type != typePart {
			why = append(why, fmt.Sprintf("is in use: %s (%s) is built on it", part.Path, orUnknown(part.Type)))
		}
	}
	for _, part := range d.all() {
		if isMember(part.FileSystem) {
			why = append(why, fmt.Sprintf("holds a part of something bigger or encrypted: %s on %s", part.FileSystem, part.Path))
		}
	}
	return why
}

// isMember knows the parts of larger stores by the names that lsblk gives them
// (LVM2_member, linux_raid_member, zfs_member, …), and encryption.
func isMember(fileSystem string) bool {
	name := strings.ToLower(fileSystem)
	return strings.HasSuffix(name, "_member") || slices.Contains(memberNames, name)
}

var memberNames = []string{
	"crypto_luks", "bitlocker", "bcache", "drbd", "ceph_bluestore", "apple_apfs", "apple_corestorage", "apple_raid",
}

func whyNotWritable(d Drive) []string {
	if d.ReadOnly {
		return []string{"is write-protected: slide the lock switch of the card or its adapter away from LOCK"}
	}
	return nil
}

func whyNotWithin(d Drive, limits media.Limits) []string {
	least, most := limits.Nominal()
	switch {
	case d.Bytes == 0:
		return []string{"has no card in it"}
	case d.Bytes < 0 || d.Bytes > maxBytes:
		return []string{fmt.Sprintf("claims an impossible size of %d bytes", d.Bytes)}
	case limits.Least <= 0 || limits.Most < limits.Least:
		return []string{"can't be judged: the sizes that the devices take are not known"}
	case d.Bytes < limits.Least:
		return []string{fmt.Sprintf("is too small: it holds %s, and the devices take %s or more", inGB(d.Bytes), inGB(least))}
	case d.Bytes > limits.Most:
		return []string{fmt.Sprintf("is too big: it holds %s, and the devices take %s or less", inGB(d.Bytes), inGB(most))}
	}
	return nil
}

func whyCard(d Drive) string {
	switch {
	case d.Type == typeLoop:
		return "is a loop drive, not a card"
	case d.Card != nil:
		return "is an SD card, as it says itself, and can be taken out of its reader"
	}
	return "is a removable medium in a reader that can be unplugged"
}

// whyFree says what happens to whatever of a drive is mounted.
func whyFree(d Drive) string {
	var places []string
	for _, part := range d.all() {
		places = append(places, part.Mounts...)
	}
	if len(places) == 0 {
		return "nothing of it is mounted or in use"
	}
	return "is unmounted first, from " + strings.Join(places, ", ") + ", unless something uses it"
}

func orUnknown(word string) string {
	if word == "" {
		return "something unknown"
	}
	return word
}

func inGB(bytes int64) string {
	return fmt.Sprintf("%.4g GB", float64(bytes)/gigabyte)
}
