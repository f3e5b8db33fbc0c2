// Package fatread reads memory cards that strangers made: partition table,
// FAT12, FAT16, FAT32 and exFAT. It never writes, and shares no code with what
// writes cards. No bytes on a card make it panic, hang or hold more memory than
// its Limits allow: what it can't read or won't follow becomes a Fault, and the
// rest is read all the same. It ends because a cluster belongs to one file only:
// the first that leads there claims it, and nothing follows it again.
// By Microsoft's FAT32 File System Specification v1.03 (2000) and exFAT
// specification, revision 1.00 (2019), and the UEFI Specification, chapter 5
// (GPT); other file systems are only named.
package fatread

import (
	"io"
	"time"
)

// Limits bounds what is held and followed. A zero field means its default.
type Limits struct {
	Partitions int   // partitions looked at
	Entries    int   // files and folders listed, over all volumes
	Depth      int   // folders within folders
	Faults     int   // faults kept; the rest is counted
	Listing    int64 // bytes held for entries, names and runs, over all volumes
	Runs       int   // runs kept for one file; Open follows the FAT for the rest
	Failures   int   // failed reads, after which the drive isn't asked again
	DigestHead int64 // bytes before the end of the second FAT that Digest reads
}

// DefaultLimits keep a whole program that reads a card under 60 MB of memory
// whatever the card, and under 24 MB for a 32 GB card of 10,000 files.
var DefaultLimits = Limits{
	Partitions: 128,
	Entries:    50_000,
	Depth:      32,
	Faults:     1_000,
	Listing:    12 << 20,
	Runs:       1_024,
	Failures:   256,
	DigestHead: 256 << 20,
}

func (l Limits) filled() Limits {
	fill(&l.Partitions, DefaultLimits.Partitions)
	fill(&l.Entries, DefaultLimits.Entries)
	fill(&l.Depth, DefaultLimits.Depth)
	fill(&l.Faults, DefaultLimits.Faults)
	fill(&l.Listing, DefaultLimits.Listing)
	fill(&l.Runs, DefaultLimits.Runs)
	fill(&l.Failures, DefaultLimits.Failures)
	fill(&l.DigestHead, DefaultLimits.DigestHead)
	return l
}

func fill[T int | int64](field *T, value T) {
	if *field <= 0 {
		*field = value
	}
}

// The kinds of partition tables.
const (
	MBR     = "mbr"
	GPT     = "gpt"
	noTable = "none" // a file system straight on the card, or nothing at all
)

// Card is what is on a card, and what is wrong with it. It keeps the reader
// that it came from for Open and Digest; it is not safe for use by several
// goroutines at once.
type Card struct {
	Bytes      int64 // as measured
	Table      string
	Partitions []Partition // without a table one, number 0: the whole card
	Volumes    []Volume    // one for each partition with a known file system, in the order of Partitions
	Log

	src     *source
	cache   *pages
	limits  Limits
	listing listing
}

// Partition is an entry of the table.
type Partition struct {
	Number     int    // from 1; logical ones from 5; 0: no table
	Type       string // "0x0c" in an MBR, a GUID in lower case in a GPT, "" without a table
	Start      int64  // bytes
	Length     int64  // bytes
	Table      string // MBR, GPT or noTable
	FileSystem string // see the names in recognise.go
}

// Volume is a file system. Only those that are read, FAT and exFAT ones, have
// more than the first two fields; ClusterBytes is then above 0.
type Volume struct {
	Partition  int
	FileSystem string

	Label        string // the root folder's; "" for none
	BootLabel    string // the boot sector's; "" for none
	Start        int64  // bytes from the start of the card, as the fields below
	DataStart    int64  // where cluster 2 begins
	SectorBytes  int
	ClusterBytes int
	FATs         int
	FATBytes     int64 // of one FAT
	Clusters     int64
	Free         int64   // -1: not known, as on exFAT
	Bad          int64   // clusters marked bad
	Lost         int64   // clusters in use by nothing; -1: not known, as on exFAT
	Root         Entry   // the root folder; no clusters on FAT12 and FAT16
	Entries      []Entry // a folder's entries in their order on the card, then those of its folders
	Behind       []Entry // what is behind the end marks of folders, by its entries alone; see behindendmark.go

	card *Card
	fat  *fat
}

// Entry is a file or folder.
type Entry struct {
	// Path is the long name where there is one, folders first, joined by "/".
	// It is raw: any character may be in it. Half of a surrogate pair is kept
	// as its three bytes, which are not UTF-8; a "/" within a name, and the
	// dots of a name of nothing else, are kept with 0x80 added, so that no
	// name can pass for a path.
	Path      string
	ShortName string // NAME.EXT, read by code page 850
	Size      int64
	Written   int64     // what lies between it and Size was never written and reads as zeros: exFAT alone, else Size
	Modified  time.Time // the card's own clock, given as UTC unless the card says how far it was off; zero where there is none
	Dir       bool
	Hidden    bool
	System    bool

	First         uint32 // first cluster; 0: none
	Chain         []Run  // at most Limits.Runs
	ChainClusters int64  // clusters that are its own, those past Chain too

	contiguous bool // exFAT alone: its clusters follow one another, and the FAT isn't asked
}

// Run is a stretch of clusters that follow one another.
type Run struct{ First, Count uint32 }

// Read reads everything but the files' contents, in this order: the partition
// table; what each partition holds, by its boot sector; its folders, from the root
// down; its files' chains; the FAT as a whole. It never fails: what can't be read
// is a Fault. bytes is the measured size of the card.
//
// It reads at most: 1 MiB for tables and boot sectors of each partition, three
// times the part of the FATs that the clusters need, 256 MiB more where a FAT
// is larger than 2 MiB and chains jump about on it, exFAT's bitmap once, and
// each directory once (an exFAT root folder twice).
func Read(r io.ReaderAt, bytes int64, limits Limits) *Card {
	limits = limits.filled()
	c := &Card{
		Bytes:  bytes,
		Log:    Log{Counts: map[FaultKind]int{}, most: limits.Faults, bounds: map[string]bool{}},
		src:    &source{r: r, size: max(0, bytes) / sectorBytes * sectorBytes, failuresLeft: limits.Failures},
		cache:  &pages{},
		limits: limits,
	}
	c.Table, c.Partitions = readTable(c.src, &c.Log, limits.Partitions)
	for i := range c.Partitions {
		readPartition(c, &c.Partitions[i])
	}
	c.tellLeftOut()
	return c
}

// Place is where a cluster begins, in bytes from the start of the card.
func (v *Volume) Place(cluster uint32) int64 {
	return v.DataStart + (int64(cluster)-2)*int64(v.ClusterBytes)
}

// clustersFor counts the clusters that a size takes.
func (v *Volume) clustersFor(size int64) int64 {
	cluster := int64(v.ClusterBytes)
	return size/cluster + min(size%cluster, 1)
}
