package fat32

import "fmt"

const (
	sectorSize = 512

	// boundary is the boundary unit of cards over 2 to 32 GB (SD File System
	// Specification v3.00): the partition and the data area begin on one.
	boundary        = 4 << 20
	boundarySectors = boundary / sectorSize

	fatCount       = 2
	fatEntrySize   = 4
	leastReserved  = 32
	firstCluster   = 2
	rootCluster    = firstCluster
	mostSectors    = 1<<32 - 1 // the boot sector and the partition table count in 32 bits
	fat16Clusters  = 65525     // a volume with fewer clusters is not FAT32
	cutMargin      = 16        // clusters to keep away from that cut; the specification's advice
	leastCardBytes = 44 << 20  // the smallest card with that many after both boundaries
)

// Geometry is where the parts of a card are. Sectors have 512 bytes.
type Geometry struct {
	CardBytes         int64
	PartitionStart    uint32 // sectors from the card's start
	PartitionSectors  uint32
	Reserved          uint32 // sectors from the partition's start to the first FAT
	SectorsPerCluster uint32
	FATSectors        uint32 // of each of the two FATs
	Clusters          uint32 // in the data area; the highest cluster number is one more
	UsedClusters      uint32 // by folders and files, from cluster 2 without a gap
}

// clusterBytes is the size of one cluster.
func (g Geometry) clusterBytes() int64 { return int64(g.SectorsPerCluster) * sectorSize }

// PartitionOffset is the partition's first byte on the card.
func (g Geometry) PartitionOffset() int64 { return int64(g.PartitionStart) * sectorSize }

// FATOffset is the first byte of FAT n, 0 or 1, on the card.
func (g Geometry) FATOffset(n int) int64 {
	return g.PartitionOffset() + (int64(g.Reserved)+int64(n)*int64(g.FATSectors))*sectorSize
}

// DataOffset is the first byte of the data area on the card, where the second
// FAT ends and cluster 2 begins.
func (g Geometry) DataOffset() int64 { return g.FATOffset(fatCount) }

// ClusterOffset is the first byte of a cluster, 2 or higher, on the card.
func (g Geometry) ClusterOffset(cluster uint32) int64 {
	return g.DataOffset() + int64(cluster-firstCluster)*g.clusterBytes()
}

// roomBytes is the size of the data area: the room for folders and files, each
// rounded up to clusters.
func (g Geometry) roomBytes() int64 { return int64(g.Clusters) * g.clusterBytes() }

// UsedBytes is how much of that folders and files take, each rounded up to
// clusters.
func (g Geometry) UsedBytes() int64 { return int64(g.UsedClusters) * g.clusterBytes() }

// geometry lays out an empty card of the given size in bytes.
func geometry(cardBytes int64) (Geometry, error) {
	if err := checkCardBytes(cardBytes); err != nil {
		return Geometry{}, err
	}
	g := Geometry{
		CardBytes:      cardBytes,
		PartitionStart: boundarySectors,
		// The partition ends on a boundary too, so that no cluster is cut.
		PartitionSectors: uint32(cardBytes/boundary*boundarySectors - boundarySectors),
	}
	g.SectorsPerCluster = sectorsPerCluster(g.PartitionSectors)
	g.FATSectors = fatSectors(g.PartitionSectors, g.SectorsPerCluster)
	g.Reserved = reserved(g.FATSectors)
	g.Clusters = clusters(g.PartitionSectors, g.Reserved, g.FATSectors, g.SectorsPerCluster)
	return g, nil
}

func checkCardBytes(n int64) error {
	switch {
	case n < leastCardBytes:
		return fmt.Errorf("card too small for FAT32: found %d bytes, expected at least %d; use a larger card", n, int64(leastCardBytes))
	case n%sectorSize != 0:
		return fmt.Errorf("the card size isn't a whole number of sectors: found %d bytes, expected a multiple of %d", n, sectorSize)
	case n/sectorSize > mostSectors:
		return fmt.Errorf("card too large for FAT32: found %d bytes, expected at most %d; use a smaller card", n, int64(mostSectors)*sectorSize)
	}
	return nil
}

// sizeBands is the table of the specification for FAT32: sectors per cluster, for
// volumes of at most so many sectors.
var sizeBands = []struct{ most, perCluster uint32 }{
	{66_600, 0}, // too small
	{532_480, 1},
	{16_777_216, 8},
	{33_554_432, 16},
	{67_108_864, 32},
	{mostSectors, 64},
}

func sectorsPerCluster(volume uint32) uint32 {
	for _, b := range sizeBands {
		if volume <= b.most {
			return b.perCluster
		}
	}
	return 0
}

// fatSectors is the size of one FAT by the formula of the specification, which may
// be a few sectors too many. It doesn't know yet how many more sectors are
// reserved: these leave fewer clusters, so it is always enough.
func fatSectors(volume, perCluster uint32) uint32 {
	per := (256*perCluster + fatCount) / 2
	return uint32((uint64(volume-leastReserved) + uint64(per) - 1) / uint64(per))
}

// reserved is the smallest number of reserved sectors that puts the data area on a
// boundary.
func reserved(fat uint32) uint32 {
	head := leastReserved + fatCount*fat
	return leastReserved + (boundarySectors-head%boundarySectors)%boundarySectors
}

func clusters(volume, reserved, fat, perCluster uint32) uint32 {
	return (volume - reserved - fatCount*fat) / perCluster
}
