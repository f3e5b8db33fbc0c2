package fatread

import "cardwright/manifest/problem"

// FaultKind names what is wrong with a card; the list is closed.
type FaultKind string

// The kinds of faults.
const (
	// What could not be looked at: neither right nor wrong.
	ReadFailed   FaultKind = "read-failed"   // the drive gave an error
	LimitReached FaultKind = "limit-reached" // a bound of Limits left something unread

	// The partition table.
	TableSignature   FaultKind = "table-signature"   // 0x55AA is missing from sector 0
	TableEntry       FaultKind = "table-entry"       // an entry with fields that make no sense
	TableChain       FaultKind = "table-chain"       // the chain of logical partitions loops or leaves its partition
	TableAmbiguous   FaultKind = "table-ambiguous"   // sector 0 is a boot sector and a table of another volume
	TableStale       FaultKind = "table-stale"       // a GPT that the table in sector 0 doesn't announce
	TableLeft        FaultKind = "table-left"        // of such a GPT the backup alone
	GPTHeader        FaultKind = "gpt-header"        // the main header is missing or fails its checksum
	GPTEntries       FaultKind = "gpt-entries"       // the entries fail their checksum or are too many
	GPTBackup        FaultKind = "gpt-backup"        // the backup is missing, fails its checksum or differs
	PartitionOutside FaultKind = "partition-outside" // reaches past the end of the card
	PartitionOverlap FaultKind = "partition-overlap" // shares sectors with another; not read
	PartitionType    FaultKind = "partition-type"    // the table announces another file system

	// The boot sector and what belongs to it.
	BootSignature FaultKind = "boot-signature"   // 0x55AA is missing
	BootField     FaultKind = "boot-field"       // a field with a value that makes no sense
	BootBackup    FaultKind = "boot-backup"      // the backup differs in fields that locate things
	BootAlone     FaultKind = "boot-alone"       // no backup is kept, which the specification allows
	BootCode      FaultKind = "boot-code"        // the backup differs in boot code, names or numbers alone
	BootUsed      FaultKind = "boot-backup-used" // the boot sector is useless: the backup was read instead
	VolumeSize    FaultKind = "volume-size"      // larger than the partition or the card
	HiddenSectors FaultKind = "hidden-sectors"   // not the partition's first sector
	FATSize       FaultKind = "fat-size"         // too small for the clusters
	FATType       FaultKind = "fat-type"         // laid out as one type, but as many clusters as another
	InfoSignature FaultKind = "info-signature"   // FSInfo lacks a signature
	InfoFree      FaultKind = "info-free"        // FSInfo's count of free clusters is wrong
	InfoNext      FaultKind = "info-next"        // FSInfo's next free cluster doesn't exist
	BootChecksum  FaultKind = "boot-checksum"    // exFAT: the boot region fails its checksum
	LabelDiffers  FaultKind = "label-differs"    // in the boot sector and in the root folder
	LabelExtra    FaultKind = "label-extra"      // a second volume label, or one outside the root folder

	// The FATs and their chains.
	FATMedia     FaultKind = "fat-media"     // FAT[0] doesn't carry the media byte
	DirtyFlag    FaultKind = "dirty-flag"    // not taken out cleanly
	ErrorFlag    FaultKind = "error-flag"    // a machine that used it met read errors
	FATsDiffer   FaultKind = "fats-differ"   // the two FATs are not the same
	ChainLoop    FaultKind = "chain-loop"    // comes back to itself
	ChainCross   FaultKind = "chain-cross"   // runs into another file's clusters
	ChainRange   FaultKind = "chain-range"   // leads to a cluster that doesn't exist
	ChainFree    FaultKind = "chain-free"    // leads to a cluster marked free, or holds one (exFAT)
	ChainBad     FaultKind = "chain-bad"     // leads to a cluster marked bad
	ChainShort   FaultKind = "chain-short"   // ends before the file's size
	ChainLong    FaultKind = "chain-long"    // goes on after the file's size
	ClustersLost FaultKind = "clusters-lost" // in use by nothing

	// Directories and their entries.
	NameBad         FaultKind = "name-bad"         // characters or a length that no name may have
	NameTwice       FaultKind = "name-twice"       // two names in one folder that may be taken for one
	EntryBehind     FaultKind = "entry-behind"     // entries behind a folder's end mark
	LongOrphan      FaultKind = "long-orphan"      // long-name entries that belong to nothing
	LongOrder       FaultKind = "long-order"       // long-name entries out of order
	LongChecksum    FaultKind = "long-checksum"    // long-name entries made for another short name
	LongEntry       FaultKind = "long-entry"       // fixed fields of a long-name entry are wrong
	PathLong        FaultKind = "path-long"        // over 259 characters; what is below isn't read
	DotEntry        FaultKind = "dot-entry"        // . or .. missing, misplaced or leading elsewhere
	DirectoryLoop   FaultKind = "directory-loop"   // a folder that holds itself
	DirectoryLong   FaultKind = "directory-long"   // over 65,536 entries; what is past them isn't read
	DirectorySize   FaultKind = "directory-size"   // a folder with a size
	DirectoryNone   FaultKind = "directory-none"   // a folder without a cluster
	SizeNoCluster   FaultKind = "size-no-cluster"  // a size, but no cluster
	ClusterNoSize   FaultKind = "cluster-no-size"  // a cluster, but no size
	EntryAttributes FaultKind = "entry-attributes" // reserved bits, or a volume label that is a file or folder as well
	SetOrder        FaultKind = "set-order"        // exFAT: a set of entries is cut short, out of order or headless
	SetChecksum     FaultKind = "set-checksum"     // exFAT: a set of entries fails its checksum
	EntryUnknown    FaultKind = "entry-unknown"    // exFAT: an entry that must be understood and isn't, or stands elsewhere
	NameHash        FaultKind = "name-hash"        // exFAT: the name's hash is wrong: it may not be found by name
	WrittenSize     FaultKind = "written-size"     // exFAT: more written than the size
	UpcaseWrong     FaultKind = "upcase-wrong"     // exFAT: the up-case table is missing, fails its checksum or is no such table
	BitmapWrong     FaultKind = "bitmap-wrong"     // exFAT: the allocation bitmap is missing or too small
	EntryTime       FaultKind = "entry-time"       // a date or time that doesn't exist
)

// Fault is one thing that is wrong with a card, or could not be looked at. What it
// means and what to do is left to who asked for the reading.
type Fault struct {
	Kind      FaultKind
	Partition int    // the partition's number; 0 for the card itself
	Path      string // as in Entry; "/" for the root folder; "" where no file or folder is concerned
	Other     string // of NameTwice: what has the name already
	Offset    int64  // bytes from the start of the card; -1: no one place
	problem.Problem
	ReadError bool // the drive's error: what was there is not known
}

func faultOf(kind FaultKind, partition int, off int64, expected, found string) Fault {
	return Fault{Kind: kind, Partition: partition, Offset: off, Problem: problem.Problem{Expected: expected, Found: found}}
}

// Unread reports whether something was not looked at, so that a card with this
// fault can't be called good, nor bad for this fault's sake.
func (f Fault) Unread() bool { return f.ReadError || f.Kind == LimitReached }

// Log is what is wrong with a card: no more faults than a bound, and the count of
// every kind.
type Log struct {
	Faults        []Fault           // in the order they were found
	Counts        map[FaultKind]int // every fault, kept or not
	FaultsLeftOut int               // faults that were counted but not kept

	most   int             // faults kept
	bounds map[string]bool // of Limits, that were met and reported
}

// add keeps a fault while there is room, and counts it in any case.
func (l *Log) add(f Fault) {
	l.Counts[f.Kind]++
	if len(l.Faults) < l.most {
		l.Faults = append(l.Faults, f)
		return
	}
	l.FaultsLeftOut++
}

// fault adds one that no file or folder is concerned in. Its place is in bytes
// from the start of the card, or -1.
func (l *Log) fault(kind FaultKind, partition int, off int64, expected, found string) {
	l.add(faultOf(kind, partition, off, expected, found))
}

// limit reports once that a bound was met.
func (l *Log) limit(partition int, path, bound, found string) {
	if l.bounds[bound] {
		return
	}
	l.bounds[bound] = true
	l.add(Fault{Kind: LimitReached, Partition: partition, Path: path, Offset: -1, Problem: problem.Problem{Expected: bound, Found: found}})
}

// unread reports an error of the drive.
func (l *Log) unread(partition int, path string, off int64, what string, err error) {
	l.add(Fault{
		Kind: ReadFailed, Partition: partition, Path: path, Offset: off, ReadError: true,
		Problem: problem.Problem{Expected: what + " readable", Found: err.Error()},
	})
}

// tellLeftOut ends the log with a fault that counts those left out.
func (l *Log) tellLeftOut() {
	if l.FaultsLeftOut == 0 {
		return
	}
	l.Counts[LimitReached]++
	l.Faults = append(l.Faults, Fault{
		Kind: LimitReached, Offset: -1,
		Problem: problem.Problem{Expected: count(l.most, "fault") + " at most", Found: count(l.most+l.FaultsLeftOut, "fault")},
	})
}
