package drive

import (
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Gone is an error where the card has been pulled out since it was opened.
func (d *Drive) Gone() error {
	if !d.gone() {
		return nil
	}
	return faultNamed(ErrGone, drive, "writing "+d.path, unix.ENODEV)
}

// TellSystem has the system read the drive's partition table, so that its card can
// be mounted without being put in again. From then on the system may write to the
// card: only Close may follow. A loop drive without partitions needs
// nothing. It fails on a drive that is gone, or without the right to it.
func (d *Drive) TellSystem() error {
	doing := "telling the system the partition table of " + d.path
	fd := int(d.plain.Fd())
	switch _, err := unix.IoctlRetInt(fd, unix.BLKRRPART); {
	case errors.Is(err, unix.EINVAL): // no partitions, as the kernel's disk_scan_partitions has it
		return nil
	case err != nil:
		return d.fault(doing, err)
	case d.knowsParts():
		return nil
	}
	// Some kernels read no tables of this kind; they accept each part by itself.
	table := make([]byte, d.sector)
	if _, err := d.ReadAt(table, 0); err != nil {
		return err
	}
	for number, extent := range partsIn(table) {
		if err := addPart(fd, number, extent[0], extent[1]); err != nil {
			return d.fault(doing, err)
		}
	}
	return nil
}

// knowsParts reports whether the kernel lists a part of the drive.
func (d *Drive) knowsParts() bool {
	info, err := d.plain.Stat()
	if err != nil {
		return false
	}
	parts, err := filepath.Glob(sysOf(info, "*/partition"))
	return err == nil && len(parts) > 0
}

// partsIn are the parts in a partition table, by their number from 1: first byte
// and length. An entry of type 0 is empty.
func partsIn(table []byte) map[int][2]int64 {
	parts := map[int][2]int64{}
	if table[510] != 0x55 || table[511] != 0xAA {
		return parts
	}
	for i := range 4 {
		e := table[446+16*i:]
		if start, count := binary.LittleEndian.Uint32(e[8:]), binary.LittleEndian.Uint32(e[12:]); e[4] != 0 && count > 0 {
			parts[i+1] = [2]int64{int64(start) * sectorSize, int64(count) * sectorSize}
		}
	}
	return parts
}

// partition is linux/blkpg.h's blkpg_partition.
type partition struct {
	start, length int64
	number        int32
	names         [128]byte
}

// addPart is the call BLKPG, whose number x/sys leaves out: _IO(0x12, 105), where
// BLKRRPART is _IO(0x12, 95).
func addPart(fd, number int, start, length int64) error {
	part := partition{start: start, length: length, number: int32(number)}
	arg := unix.BlkpgIoctlArg{Op: unix.BLKPG_ADD_PARTITION, Datalen: int32(unsafe.Sizeof(part)), Data: (*byte)(unsafe.Pointer(&part))}
	_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), unix.BLKRRPART+105-95, uintptr(unsafe.Pointer(&arg)))
	if errno != 0 {
		return errno
	}
	return nil
}

// Requests of linux/loop.h, scsi/scsi_ioctl.h and linux/cdrom.h.
const (
	loopClearFile  = 0x4C01
	scsiDoorUnlock = 0x5381
	scsiEject      = 0x5309
)

// Eject has the reader let go of its card, so that nothing writes to it any more;
// Close follows. A loop drive lets go of its file. Where the reader can't do that
// it fails with ErrStays: native readers of SD cards can't.
func (d *Drive) Eject() error {
	fd := int(d.plain.Fd())
	var err error
	if d.isLoop() {
		_, err = unix.IoctlRetInt(fd, loopClearFile)
	} else {
		_, _ = unix.IoctlRetInt(fd, scsiDoorUnlock) // the kernel locked the door when it was opened
		_, err = unix.IoctlRetInt(fd, scsiEject)
	}
	if err == nil {
		return nil
	}
	return faultNamed(ErrStays, drive, "ejecting "+d.path, err)
}

func (d *Drive) isLoop() bool {
	info, err := d.plain.Stat()
	if err != nil {
		return false
	}
	_, err = os.Stat(sysOf(info, "loop"))
	return err == nil
}
