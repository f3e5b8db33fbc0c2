package place

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// kernelsOwn are file systems in which the kernel shows its own state as files, by
// the type that statfs(2) gives. Some let files be made; none keeps them.
var kernelsOwn = map[uint32]string{
	unix.PROC_SUPER_MAGIC:     "proc",
	unix.SYSFS_MAGIC:          "sysfs",
	unix.DEVPTS_SUPER_MAGIC:   "devpts",
	unix.CGROUP_SUPER_MAGIC:   "cgroup",
	unix.CGROUP2_SUPER_MAGIC:  "cgroup",
	unix.DEBUGFS_MAGIC:        "debugfs",
	unix.TRACEFS_MAGIC:        "tracefs",
	unix.SECURITYFS_MAGIC:     "securityfs",
	unix.BPF_FS_MAGIC:         "bpf",
	unix.PSTOREFS_MAGIC:       "pstore",
	unix.EFIVARFS_MAGIC:       "efivarfs",
	unix.SELINUX_MAGIC:        "selinuxfs",
	unix.SMACK_MAGIC:          "smackfs",
	unix.BINFMTFS_MAGIC:       "binfmt_misc",
	unix.NSFS_MAGIC:           "nsfs",
	unix.HUGETLBFS_MAGIC:      "hugetlbfs",
	unix.RDTGROUP_SUPER_MAGIC: "resctrl",
	unix.DEVMEM_MAGIC:         "devmem",
	unix.BINDERFS_SUPER_MAGIC: "binder",
	unix.MTD_INODE_FS_MAGIC:   "mtd",
	0x62656570:                "configfs", // these four x/sys leaves out; from the kernel's sources
	0x65735543:                "fusectl",
	0x19800202:                "mqueue",
	0x67596969:                "rpc_pipefs",
}

// whyNoFiles says why no file is made in an existing folder, and whether it is one
// of devices; "" where one may be made. A folder below one of the kernel's is the
// kernel's too, whatever is mounted there, but for a plain file system in /dev:
// memory that is offered for files (/dev/shm).
func whyNoFiles(folder string) (why string, devices bool) {
	if isDevices(folder) {
		return "that folder holds the system's devices (devtmpfs); a plain file there is lost at the next start", true
	}
	for at := folder; ; at = filepath.Dir(at) {
		var st unix.Statfs_t
		if err := unix.Statfs(at, &st); err == nil {
			if name := kernelsOwn[uint32(st.Type)]; name != "" {
				return fmt.Sprintf("that folder belongs to the kernel (%s)", name), false
			}
		}
		if at == filepath.Dir(at) {
			return "", false
		}
	}
}

// isDevices recognises a file system of devices. statfs(2) takes devtmpfs, and what
// containers have in its place, for tmpfs, so the list of mounts is read.
func isDevices(folder string) bool {
	var fs unix.Statfs_t
	var in unix.Stat_t
	if unix.Statfs(folder, &fs) != nil || unix.Stat(folder, &in) != nil {
		return false
	}
	if t := uint32(fs.Type); t != unix.TMPFS_MAGIC && t != unix.RAMFS_MAGIC {
		return false
	}
	f, err := os.Open("/proc/self/mountinfo")
	if err != nil {
		return hasNull(folder)
	}
	defer f.Close()
	return devicesIn(f, unix.Major(uint64(in.Dev)), unix.Minor(uint64(in.Dev)), hasNull)
}

// devicesIn reads a list of mounts (proc_pid_mountinfo(5): the third field has the
// numbers of the file system, the fifth its mount point, and its type follows the
// hyphen). A file system is one of devices by its type, or where its top holds the
// device null.
func devicesIn(mounts io.Reader, major, minor uint32, hasNull func(folder string) bool) bool {
	numbers := fmt.Sprintf("%d:%d", major, minor)
	lines := bufio.NewScanner(mounts)
	for lines.Scan() {
		mount, kind, _ := strings.Cut(lines.Text(), " - ")
		fields := strings.Fields(mount)
		if len(fields) < 5 || fields[2] != numbers {
			continue
		}
		if strings.HasPrefix(kind, "devtmpfs ") || hasNull(unescaped(fields[4])) {
			return true
		}
	}
	return false
}

// unescaped is a path as the list of mounts writes it, with spaces and the like
// as three octal digits.
var unescaped = strings.NewReplacer(`\040`, " ", `\011`, "\t", `\012`, "\n", `\134`, `\`).Replace

func hasNull(folder string) bool {
	var st unix.Stat_t
	err := unix.Stat(filepath.Join(folder, "null"), &st)
	return err == nil && st.Mode&unix.S_IFMT == unix.S_IFCHR && st.Rdev == unix.Mkdev(1, 3) // null(4)
}
