package fatread

import "fmt"

// start is the beginning of a partition, by which it is known what it holds.
type start struct {
	card *Card
	p    *Partition
	head []byte // headBytes of it, or as many as there are; zeros where the drive fails
	gone spans  // what of it couldn't be read
}

// spans are stretches of the card that could not be read.
type spans []struct{ off, n int64 }

func (s spans) touch(off, n int64) bool {
	for _, x := range s {
		if x.off < off+n && off < x.off+x.n {
			return true
		}
	}
	return false
}

// readPartition names what a partition holds, and reads it if it is FAT or exFAT.
func readPartition(c *Card, p *Partition) {
	if p.FileSystem == Overlapping {
		return
	}
	s := startOf(c, p)
	if len(s.head) < sectorBytes {
		p.FileSystem = Unknown
		if p.Length == 0 {
			p.FileSystem = Blank
		}
		return
	}
	if !s.tryExFAT() && !s.tryFAT() && !s.tryExFATBackup() && p.FileSystem == "" {
		s.nameOther()
	}
	checkType(&c.Log, p)
}

func startOf(c *Card, p *Partition) start {
	s := start{card: c, p: p}
	s.head = c.src.head(p.Start, int(min(headBytes, p.Length)), func(at, n int64, err error) {
		s.gone = append(s.gone, struct{ off, n int64 }{at, n})
		c.unread(p.Number, "", at, "start of the partition", err)
	})
	return s
}

// firstUnread reports whether the drive fails in the partition's first sector.
func (s start) firstUnread() bool { return s.gone.touch(s.p.Start, sectorBytes) }

// fault adds one at a place in bytes from the start of the card, or -1.
func (s start) fault(kind FaultKind, off int64, expected, found string) {
	s.card.fault(kind, s.p.Number, off, expected, found)
}

// complain adds the faults of a boot sector at the partition's start.
func (s start) complain(complaints []complaint) {
	for _, x := range complaints {
		x.Partition, x.Offset = s.p.Number, s.p.Start+x.Offset
		s.card.add(x.Fault)
	}
}

// volume adds one for the partition.
func (s start) volume(name string) *Volume {
	s.p.FileSystem = name
	s.card.Volumes = append(s.card.Volumes, Volume{Partition: s.p.Number, FileSystem: name, Start: s.p.Start, Free: -1, Lost: -1, card: s.card})
	return &s.card.Volumes[len(s.card.Volumes)-1]
}

func (s start) tryFAT() bool {
	b, found := s.findBoot()
	if found {
		fatVolume{s, s.volume(b.name()), b}.read()
	}
	return found
}

func (s start) nameOther() {
	switch name := named(s.head); {
	case name != "":
		s.volume(name)
	case s.firstUnread():
		s.p.FileSystem = Unreadable
	default:
		if s.p.FileSystem = s.remains(); s.p.FileSystem == "" {
			s.p.FileSystem = unnamed(s.head)
		}
	}
}

// findBoot finds a boot sector that can be used: the first, or where that is
// damaged its backup.
func (s start) findBoot() (boot, bool) {
	b, complaints := parseBoot(s.head)
	fatal := anyFatal(complaints)
	claims := claimsFAT(s.head) || s.p.announcesFAT() && !allZero(s.head[:sectorBytes])
	if named(s.head[:sectorBytes]) != "" || !claims && !(jumps(s.head) && !fatal) && !s.firstUnread() {
		return boot{}, false
	}
	if s.firstUnread() {
		return s.useBackup()
	}
	s.complain(complaints)
	if !fatal {
		return b, true
	}
	if b, ok := s.useBackup(); ok {
		return b, true
	}
	s.p.FileSystem = DamagedFAT
	return boot{}, false
}

// useBackup reads by the backup. Where the first sector couldn't be read, what is
// wrong with it isn't known.
func (s start) useBackup() (boot, bool) {
	at := int64(usualBackup * sectorBytes)
	if int64(len(s.head)) < at+sectorBytes {
		return boot{}, false
	}
	b, complaints := parseBoot(s.head[at:])
	if anyFatal(complaints) || !b.fat32 || !signed(s.head[at:]) {
		return boot{}, false
	}
	s.backupUsed(usualBackup)
	b.unread = s.firstUnread()
	return b, true
}

// backupUsed reports that a volume is read by the copy of its boot sector.
func (s start) backupUsed(sector int) {
	f := faultOf(BootUsed, s.p.Number, s.p.Start, "a boot sector", fmt.Sprintf("not usable: its backup in sector %d was read", sector))
	f.ReadError = s.firstUnread()
	s.card.add(f)
}
