package fat32

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The specification's table of sectors per cluster and its formula for the
// size of a FAT, with the rows at and beside each cut worked out from them.
func TestVolumesOfTheSpecification(t *testing.T) {
	for _, row := range []struct{ sectors, perCluster, fat, clusters uint32 }{
		{66_601, 1, 517, 65_535},
		{532_480, 1, 4_128, 524_192},
		{532_481, 8, 520, 66_426},
		{1_024_000, 8, 999, 127_746},
		{15_523_840, 8, 15_146, 1_936_689},
		{16_777_216, 8, 16_368, 2_093_056},
		{33_554_432, 16, 16_376, 2_095_103},
		{62_333_952, 32, 15_215, 1_946_984},
		{67_108_864, 32, 16_380, 2_096_127},
	} {
		assert.Equal(t, row.perCluster, sectorsPerCluster(row.sectors), "sectors per cluster of %d sectors", row.sectors)
		fat := fatSectors(row.sectors, row.perCluster)
		assert.Equal(t, row.fat, fat, "FAT of %d sectors", row.sectors)
		assert.Equal(t, row.clusters, clusters(row.sectors, leastReserved, fat, row.perCluster), "clusters of %d sectors", row.sectors)
	}
	assert.Zero(t, sectorsPerCluster(66_600), "the specification's error")
	assert.EqualValues(t, 16, sectorsPerCluster(16_777_217))
	assert.EqualValues(t, 32, sectorsPerCluster(33_554_433))
	assert.EqualValues(t, 64, sectorsPerCluster(67_108_865))
}

// What the specification, and the boundary unit of the SD File System
// Specification, ask of any card.
func TestEveryCardIsWithinTheSpecification(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sectors := rapid.Int64Range(leastCardBytes/sectorSize, 1<<rapid.IntRange(17, 32).Draw(t, "up to 2^")-1).Draw(t, "sectors")
		g, err := geometry(sectors * sectorSize)
		require.NoError(t, err)
		requireWithin(t, g)
	})
}

func TestCardsBesideACut(t *testing.T) {
	for _, b := range sizeBands {
		for units := cardUnits(b.most) - 2; units <= cardUnits(b.most)+2; units++ {
			if size := units * boundary; size >= leastCardBytes && size/sectorSize <= mostSectors {
				g, err := geometry(size)
				require.NoError(t, err)
				requireWithin(t, g)
			}
		}
	}
}

func requireWithin(t require.TestingT, g Geometry) {
	require.EqualValues(t, 8192, g.PartitionStart)
	require.LessOrEqual(t, int64(g.PartitionStart)+int64(g.PartitionSectors), g.CardBytes/sectorSize, "the partition ends on the card")
	require.Less(t, g.CardBytes-int64(g.PartitionStart+g.PartitionSectors)*sectorSize, int64(boundary), "no boundary unit is wasted")
	require.Zero(t, g.DataOffset()%boundary, "the data area begins on a boundary")
	require.GreaterOrEqual(t, g.Reserved, uint32(leastReserved))
	require.LessOrEqual(t, g.Reserved, uint32(1<<16-1), "16 bits in the boot sector")
	require.Equal(t, sectorsPerCluster(g.PartitionSectors), g.SectorsPerCluster)
	require.GreaterOrEqual(t, g.Clusters, uint32(65525+16), "FAT32, 16 clusters from the cut")
	require.LessOrEqual(t, g.Clusters, uint32(0x0FFFFFF5), "cluster numbers below the bad mark")
	require.GreaterOrEqual(t, int64(g.FATSectors)*sectorSize, (int64(g.Clusters)+2)*4, "an entry for each cluster")
	require.LessOrEqual(t, g.ClusterOffset(g.Clusters+2), g.PartitionOffset()+int64(g.PartitionSectors)*sectorSize, "the last cluster is in the partition")
}

func TestCardSizesThatCantBe(t *testing.T) {
	for size, want := range map[int64]string{
		0:                                "card too small for FAT32: found 0 bytes, expected at least 46137344",
		-512:                             "card too small",
		leastCardBytes - sectorSize:      "card too small for FAT32: found 46136832 bytes",
		leastCardBytes + 1:               "expected a multiple of 512",
		(mostSectors + 1) * sectorSize:   "card too large for FAT32: found 2199023255552 bytes",
		1<<63 - 1 - (1<<63-1)%sectorSize: "card too large",
	} {
		_, err := Lay(Spec{Bytes: size})
		assert.ErrorContains(t, err, want)
	}
	for _, size := range []int64{leastCardBytes, mostSectors * sectorSize} {
		_, err := Lay(Spec{Bytes: size})
		assert.NoError(t, err)
	}
}
