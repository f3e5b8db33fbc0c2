package drive

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

var systemErrors = []systemError{
	{unix.EROFS, ErrLocked},
	{unix.EBUSY, ErrBusy},
	{unix.EWOULDBLOCK, ErrBusy}, // a lock that another run holds
	{unix.ENOSPC, ErrFull},
	{unix.EDQUOT, ErrFull},
	{unix.EFBIG, errTooLong},
	{unix.ENOMEDIUM, ErrNoCard},
	{unix.EIO, ErrNoAnswer},
	{unix.ENODEV, ErrNoAnswer},
	{unix.ENXIO, ErrNoAnswer},
	{unix.ETIMEDOUT, ErrNoAnswer},
	{unix.EREMOTEIO, ErrNoAnswer},
	{unix.EILSEQ, ErrNoAnswer}, // the card's checksum over a transfer is wrong
}

// leastAlign suits the sectors and memory of every drive; statx may ask for more.
const leastAlign = 4096

// openDirect opens the target a second time, past the cache, and notes in proof
// what that proves. Where it can't, reads go through the cache.
func (s *store) openDirect() {
	where := fileSystemOf(s.plain)
	if where == memory {
		s.proof.Store(inMemory)
		return
	}
	if s.align = directAlign(s.plain, s.sector); s.align == 0 {
		return
	}
	how := os.O_RDONLY
	if s.writing && s.kind == drive {
		how = os.O_RDWR
	}
	f, err := os.OpenFile(s.path, how|unix.O_DIRECT, 0)
	if err != nil {
		return
	}
	if !sameFile(f, s.plain) || !s.readsDirect(f) {
		_ = f.Close() // nothing was written through it
		return
	}
	s.direct = f
	if where != elsewhere {
		s.proof.Store(pastCache)
	}
}

// directAlign is the alignment of direct reads, 0 where there are none.
func directAlign(f *os.File, sector int64) int64 {
	align := max(leastAlign, sector)
	var st unix.Statx_t
	err := unix.Statx(int(f.Fd()), "", unix.AT_EMPTY_PATH, unix.STATX_DIOALIGN, &st)
	if err == nil && st.Mask&unix.STATX_DIOALIGN != 0 {
		if st.Dio_offset_align == 0 {
			return 0
		}
		align = max(align, int64(st.Dio_offset_align), int64(st.Dio_mem_align))
	}
	if align > maxAlign || align&(align-1) != 0 {
		return 0
	}
	return align
}

// readsDirect tries one read: some file systems allow the opening and refuse the
// reads. Any other error comes up again when the target is read.
func (s *store) readsDirect(f *os.File) bool {
	bounce := bounces.Get().(*[]byte)
	defer bounces.Put(bounce)
	_, err := f.ReadAt((*bounce)[:s.align], 0)
	return !errors.Is(err, unix.EINVAL) && !errors.Is(err, unix.EOPNOTSUPP)
}

func sameFile(a, b *os.File) bool {
	infoA, errA := a.Stat()
	infoB, errB := b.Stat()
	return errA == nil && errB == nil && os.SameFile(infoA, infoB)
}

var fileSystems = map[uint32]fileSystem{
	unix.TMPFS_MAGIC:           memory,
	unix.RAMFS_MAGIC:           memory,
	unix.OVERLAYFS_SUPER_MAGIC: stacked,
	unix.ECRYPTFS_SUPER_MAGIC:  stacked,
	unix.FUSE_SUPER_MAGIC:      elsewhere,
	unix.NFS_SUPER_MAGIC:       elsewhere,
	unix.CIFS_SUPER_MAGIC:      elsewhere,
	unix.SMB_SUPER_MAGIC:       elsewhere,
	unix.SMB2_SUPER_MAGIC:      elsewhere,
	unix.V9FS_MAGIC:            elsewhere,
	unix.CEPH_SUPER_MAGIC:      elsewhere,
	unix.AFS_SUPER_MAGIC:       elsewhere,
	unix.CODA_SUPER_MAGIC:      elsewhere,
}

// fileSystemOf is local for a block device: its node is in memory, its bytes are
// not.
func fileSystemOf(f *os.File) fileSystem {
	info, err := f.Stat()
	if err != nil {
		return elsewhere
	}
	if info.Mode()&os.ModeDevice != 0 {
		return local
	}
	var st unix.Statfs_t
	if err := unix.Fstatfs(int(f.Fd()), &st); err != nil {
		return elsewhere
	}
	return fileSystems[uint32(st.Type)]
}

func (s *store) forget() error {
	if s.kind == drive {
		if err := s.forgetDrive(); err != nil {
			return err
		}
	}
	if s.writing {
		if err := s.plain.Sync(); err != nil {
			return err
		}
	}
	emptied, err := dropCache(s.plain)
	if err != nil {
		return err
	}
	if emptied && s.proof.Load() == unproven {
		s.proof.Store(cacheDropped)
	}
	return nil
}

// dropCache asks the system to drop the cached pages of an open file, and says
// whether none is left.
func dropCache(f *os.File) (emptied bool, err error) {
	fd := int(f.Fd())
	if err := unix.Fadvise(fd, 0, 0, unix.FADV_DONTNEED); err != nil {
		return false, err
	}
	if fileSystemOf(f) != local {
		return false, nil
	}
	var left unix.Cachestat_t
	// Length 0 is up to the end. Kernels before 6.5 don't know the call.
	if err := unix.Cachestat(uint(fd), &unix.CachestatRange{}, &left, 0); err != nil {
		return false, nil
	}
	return left.Cache == 0, nil
}

// startWriteOut starts the writing of what the cache holds, and doesn't wait for
// it. Its errors come up in Sync.
func startWriteOut(f *os.File) error {
	err := unix.SyncFileRange(int(f.Fd()), 0, 0, unix.SYNC_FILE_RANGE_WRITE)
	if errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.ESPIPE) || errors.Is(err, unix.EINVAL) {
		return nil // only a hint that this file system doesn't take
	}
	return err
}
