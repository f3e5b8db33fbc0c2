// Package media is what a memory card is: which cards a device reads, which
// files go on which card and where, and how a card is written so that it is
// either proven or blank, at every moment. It judges no card: whoever has one
// written passes in a judge that reads it back. The bytes of FAT32 are package
// fat32's, drives and images package drive's.
package media

import "io"

// SectorSize is the unit in which cards are addressed, in bytes.
const SectorSize = 512

// Medium is what a card's bytes are written to: a drive, an image file, or a card
// in memory.
//
// ReadAt and WriteAt follow the io contracts; a short read or write comes
// with an error. Reads may come from a cache until Forget was called.
type Medium interface {
	io.ReaderAt
	io.WriterAt
	// Bytes is the measured capacity, a multiple of SectorSize.
	Bytes() int64
	// Sync returns when every byte written so far is on the medium itself.
	Sync() error
	// Forget drops every cache between the medium and the caller, so that the
	// reads that follow come from the medium. It is called after Sync.
	Forget() error
}
