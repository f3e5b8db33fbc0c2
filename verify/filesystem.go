package verify

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"cardwright/media"
	"cardwright/verify/fatread"
)

// judgeSize compares a card's size with what its devices accept.
func judgeSize(m matched, report func(Finding)) {
	l, bytes := m.expected.Limits, m.card.bytes
	if m.card.system == nil || l == (media.Limits{}) || l.Check(bytes) == nil {
		return
	}
	if bytes < l.Least {
		report(tooSmall.at("", "at least "+media.Bytes(l.Least), media.Bytes(bytes)))
		return
	}
	report(tooLarge.at("", "at most "+media.Bytes(l.Most), media.Bytes(bytes)))
}

// faultDiagnoses are what faults mean that are no damage, or whose cause is known:
// of all others devices may read a damaged file system differently.
var faultDiagnoses = map[fatread.FaultKind]diagnosis{
	fatread.InfoFree: bookKeeping, fatread.InfoNext: bookKeeping, fatread.DirtyFlag: bookKeeping, fatread.ErrorFlag: bookKeeping,
	fatread.LabelDiffers: bookKeeping, fatread.LabelExtra: bookKeeping, fatread.EntryTime: bookKeeping,
	fatread.ClustersLost: bookKeeping, fatread.HiddenSectors: bookKeeping,

	fatread.BootCode:    bookKeeping.saying("The boot sector's copy differs in bytes that no device uses: boot code, names or numbers (%s)."),
	fatread.BootAlone:   bookKeeping.saying("The boot sector has no copy: if it is damaged, nothing leads to the files (%s)."),
	fatread.TableLeft:   bookKeeping.saying("The end of the card has the backup of an old table; no device uses it by itself (%s)."),
	fatread.EntryBehind: bookKeeping.saying("Old bytes follow the end of a folder: readers stop before them, and no file depends on them (%s)."),

	fatread.PartitionType:    damaged.saying("The partition table does not say what is there: devices may pass it over (%s)."),
	fatread.PartitionOutside: damaged.saying("The partition is larger than the card: a card that claims more than it holds, or a copy that was cut short (%s)."),
	fatread.VolumeSize:       damaged.saying("The file system is larger than the room for it: a card that claims more than it holds, or a copy that was cut short (%s)."),
	fatread.TableAmbiguous:   damaged.saying("The card says in two ways what is on it: some devices follow one, some the other (%s)."),
	fatread.TableStale:       damaged.saying("The card has an old table: some devices follow it (%s)."),
	fatread.FATsDiffer:       damaged.saying("The two copies of the table that leads to the files differ: devices may follow either (%s)."),
}

// judgeFaults reports what is wrong with the partition table and the file system.
func judgeFaults(m matched, report func(Finding)) {
	if m.card.system == nil {
		return
	}
	for _, f := range m.card.system.Faults {
		if f.Kind != fatread.NameTwice { // reported with the names, see judgeSameNames
			report(ofFault(f))
		}
	}
	if n := m.card.system.FaultsLeftOut; n > 0 {
		report(damagedBeyond.at("", "a sound file system", fmt.Sprintf("%d more faults", n)))
	}
}

func ofFault(f fatread.Fault) Finding {
	if f.Unread() {
		return notRead(f.Path, f.Offset, f.Found)
	}
	d, known := faultDiagnoses[f.Kind]
	if !known {
		d = damaged
	}
	where := ""
	if f.Offset >= 0 {
		where = fmt.Sprintf(" (byte %d of the card)", f.Offset)
	}
	return d.meaningOf(f.Kind).at(f.Path, f.Expected, f.Found+where)
}

// notRead is a finding of what couldn't be read; offset is in bytes from the
// card's start, or -1.
func notRead(path string, offset int64, found string) Finding {
	if offset >= 0 {
		found += fmt.Sprintf(" at byte %d of the card", offset)
	}
	return unreadable.at(path, "bytes that can be read", found)
}

// judgeVolume reports whether there is one file system, and where every device
// looks for it.
func judgeVolume(m matched, report func(Finding)) {
	card, v := m.card.system, m.card.volume
	switch {
	case card == nil:
	case len(card.Volumes) == 0:
		judgeNoVolume(card, report)
	case len(card.Volumes) > 1:
		report(severalSystems.at("", "one file system", fmt.Sprintf("%d file systems", len(card.Volumes))))
	case v == nil: // named, and not read: see judgeFileSystem
	default:
		judgePartitions(card, v, report)
		judgeLayout(card, v, report)
		if v.Bad > 0 {
			report(badClusters.at("", "no cluster marked bad", fmt.Sprintf("%d clusters marked bad", v.Bad)))
		}
	}
}

func judgePartitions(card *fatread.Card, v *fatread.Volume, report func(Finding)) {
	switch {
	case len(card.Partitions) > 1:
		report(severalSystems.at("", "one partition", fmt.Sprintf("%d partitions", len(card.Partitions))))
	case card.Table == fatread.MBR && v.Partition != 1:
		report(severalSystems.at("", "the partition in the first entry of the table", fmt.Sprintf("in entry %d", v.Partition)))
	}
}

// mostCluster is the largest cluster that every device can be taken to read, in
// bytes (FAT32 specification, "Boot Sector and BPB": not greater than 32K).
const mostCluster = 32 << 10

// judgeLayout reports what the specifications allow and advise against: whether
// the devices aboard read it isn't known from their card rules.
func judgeLayout(card *fatread.Card, v *fatread.Volume, report func(Finding)) {
	if card.Table == fatread.GPT {
		report(uncommonLayout.at("", "a partition table of the old kind (MBR), as cards are sold with", "a GPT, as large disks have"))
	}
	if v.SectorBytes != 512 {
		report(uncommonLayout.at("", "sectors of 512 bytes", fmt.Sprintf("sectors of %d bytes", v.SectorBytes)))
	}
	if v.FileSystem == fatread.ExFAT {
		return
	}
	if v.FATs == 1 {
		report(uncommonLayout.at("", "2 FATs", "1 FAT"))
	}
	if v.ClusterBytes > mostCluster {
		report(uncommonLayout.at("", fmt.Sprintf("clusters of at most %d bytes", mostCluster), fmt.Sprintf("clusters of %d bytes", v.ClusterBytes)))
	}
}

// judgeNoVolume reports what a card without a file system looks like.
func judgeNoVolume(card *fatread.Card, report func(Finding)) {
	f := noFileSystem.at("", "a FAT32 file system", "no file system known here")
	for _, p := range card.Partitions {
		switch p.FileSystem {
		case fatread.Unreadable: // reported with its place; what is there isn't known
			return
		case fatread.Headless:
			f = bootSectorGone.at("", fromItsStart, "its first sector overwritten; its copy, in sector 6, is intact")
		case fatread.Tableless:
			f = tableGone.at("", fromItsStart, "the card's first sector overwritten; a FAT32 file system begins further on")
		case fatread.Scrambled:
			f = encrypted.at("", f.Expected, "bytes without any pattern")
		case fatread.Blank:
			f = blank.at("", f.Expected, "nothing: zeros where a file system would begin")
		case fatread.DamagedFAT:
			f = bootSectorsUseless.at("", f.Expected, "a FAT file system whose boot sector and backup are both unusable")
		}
	}
	report(f)
}

const fromItsStart = "a FAT32 file system from its first sector on"

// fileSystem is the one that holds the files, "" where it isn't known.
func (c onCard) fileSystem() string {
	switch {
	case c.folder != nil:
		return c.folder.fileSystem
	case len(c.system.Volumes) == 1:
		return c.system.Volumes[0].FileSystem
	}
	return ""
}

// judgeFileSystem reports a file system that the devices don't read.
func judgeFileSystem(m matched, report func(Finding)) {
	name := m.card.fileSystem()
	reads := []string{"fat32"}
	if len(m.expected.FileSystems) > 0 {
		reads = m.expected.FileSystems
	}
	switch {
	case name == "" || slices.Contains(reads, strings.ToLower(name)):
	case name == behindDriver:
		report(behindADriver.at("", "a FAT32 file system", name))
	default:
		report(onOtherFileSystem(m).at("", fileSystemNames(reads), name))
	}
}

// onOtherFileSystem is what it means that the devices don't read a file system,
// by what is on it.
func onOtherFileSystem(m matched) diagnosis {
	c := countsOf(m)
	switch {
	case m.expected.visit() == nil:
		return notKnownToBeRead
	case m.expected.Nothing:
		return notReadNorNeeded
	case c.rightFiles():
		return rightFilesOnOther
	case c.FilesMatching > 0:
		return someRightOnOther
	}
	return otherFileSystem
}

func fileSystemNames(names []string) string {
	shown := map[string]string{"exfat": fatread.ExFAT}
	var all []string
	for _, n := range names {
		if s, ok := shown[n]; ok {
			n = s
		} else {
			n = strings.ToUpper(n)
		}
		all = append(all, n)
	}
	return strings.Join(all, " or ")
}

// behindDriver is a file system that the system doesn't know.
const behindDriver = "one that a driver outside the system serves (FUSE)"

// judgeFolder reports what can't be judged of a card by its folder.
func judgeFolder(m matched, report func(Finding)) {
	folder := m.card.folder
	if folder == nil {
		return
	}
	for _, odd := range folder.odd {
		if odd.err {
			report(notRead(odd.path, -1, odd.what))
		} else {
			report(noPlainFile.at(odd.path, "a plain file", odd.what))
		}
	}
	if folder.cached > 0 {
		report(fromCache(fmt.Sprintf("%d files that may have come from a cache", folder.cached)))
	}
	report(folderOnly.at("", "a drive or an image", "a folder"))
}

// judgeDigest compares the card's digest with the one of the written card. That
// none could be formed is reported where nothing else stops the card.
func judgeDigest(m matched, stops bool, report func(Finding)) {
	var failed *fatread.ReadError
	if errors.As(m.card.undigested, &failed) {
		report(notRead(failed.Path, failed.Offset, failed.Err.Error()))
		stops = true
	}
	want, have := m.expected.Digest, m.card.digest
	switch {
	case m.card.volume == nil || want == "" || want == have:
	case have != "":
		report(digestDiffers.at("", want, have))
	case !stops:
		report(notRead("", -1, fatread.ErrNoDigest.Error()))
	}
}
