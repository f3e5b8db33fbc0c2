//go:build !linux

package drive

import "fmt"

// Drive is the block device of a card in a reader.
type Drive struct {
	*store
}

// OpenDrive opens a drive; so far on Linux only.
func OpenDrive(path string, forWriting bool) (*Drive, error) {
	if forWriting {
		return nil, fmt.Errorf("opening drive %s: %w", path, ErrOnlyLinux)
	}
	return nil, fmt.Errorf("opening drive %s: reading a drive is only possible on Linux so far: verify an image of the card", path)
}

// Close gives the drive back.
func (d *Drive) Close() error { return d.closeFiles() }

// SectorBytes is the drive's logical sector.
func (d *Drive) SectorBytes() int { return int(d.sector) }

// Holds is for systems on which a drive can be opened.
func Holds(drive, path string) bool { return false }

// TellSystem is for systems on which a drive can be opened.
func (d *Drive) TellSystem() error { return nil }

// Eject is for systems on which a drive can be opened.
func (d *Drive) Eject() error { return ErrStays }

func (s *store) gone() bool { return false }
