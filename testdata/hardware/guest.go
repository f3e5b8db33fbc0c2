package main

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// modules are what the kernel needs for an SD slot, a reader on USB and the
// file systems of cards.
var modules = []string{"sdhci-pci", "mmc_block", "sd_mod", "usb-storage", "xhci-pci", "vfat", "nls_cp437", "nls_ascii", "nls_utf8"}

// start is what the emulated computer runs: it loads the modules and then does
// what it is told on its second serial line, telling each command's exit code.
const start = `#!/bin/busybox sh
/bin/busybox mkdir -p /proc /sys /dev /tmp /run /mnt /root
/bin/busybox --install -s /bin
mount -t proc none /proc
mount -t sysfs none /sys
mount -t devtmpfs none /dev
mount -t tmpfs none /tmp
export PATH=/usr/bin:/bin HOME=/root LC_ALL=C.UTF-8 NO_COLOR=1
echo 3 >/proc/sys/kernel/printk
for m in MODULES; do modprobe $m; done
exec </dev/ttyS1 >/dev/ttyS1 2>&1
stty -echo -onlcr
for i in $(seq 300); do [ -b SDPART ] && [ -b USBPART ] && break; sleep 0.2; done
echo '@ready'
while read -r line; do
	( eval "$line" ) </dev/null
	echo "@code $?"
done
poweroff -f
`

// pack makes the first file system of the emulated computer: the program, a
// shop, the system's tools and the modules.
func (l *lab) pack() error {
	root := filepath.Join(l.dir, "root")
	for _, dir := range []string{"bin", "usr/bin", "shop"} {
		if err := os.MkdirAll(filepath.Join(root, dir), 0o755); err != nil {
			return err
		}
	}
	if err := os.CopyFS(filepath.Join(root, "shop"), os.DirFS("cmd/cardwright/testdata/shop")); err != nil && !os.IsExist(err) {
		return err
	}
	script := strings.NewReplacer("MODULES", strings.Join(modules, " "), "SDPART", sdPart, "USBPART", usbPart).Replace(start)
	if err := os.WriteFile(filepath.Join(root, "init"), []byte(script), 0o755); err != nil {
		return err
	}
	for from, to := range map[string]string{l.program: "usr/bin/cardwright", "busybox": "bin/busybox", "lsblk": "usr/bin/lsblk"} {
		if err := install(root, from, to); err != nil {
			return err
		}
	}
	if err := l.addModules(root); err != nil {
		return err
	}
	archive, err := os.Create(filepath.Join(l.dir, "initrd"))
	if err != nil {
		return err
	}
	defer archive.Close()
	cmd := exec.Command("sh", "-c", "find . | cpio -o -H newc --quiet")
	cmd.Dir, cmd.Stdout, cmd.Stderr = root, archive, os.Stderr
	return cmd.Run()
}

// install copies a program, and the libraries that it needs, into a root.
func install(root, from, to string) error {
	path, err := exec.LookPath(from)
	if err != nil {
		return err
	}
	if err := copyFile(path, filepath.Join(root, to)); err != nil {
		return err
	}
	needs, err := exec.Command("ldd", path).Output()
	if err != nil {
		return nil // a static program
	}
	for word := range strings.FieldsSeq(string(needs)) {
		if filepath.IsAbs(word) {
			if err := copyFile(word, filepath.Join(root, word)); err != nil {
				return err
			}
		}
	}
	return nil
}

func copyFile(from, to string) error {
	content, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return writeFile(to, content)
}

func writeFile(to string, content []byte) error {
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return err
	}
	return os.WriteFile(to, content, 0o755)
}

// addModules copies the modules with all that they depend on, and the list of
// these for modprobe.
func (l *lab) addModules(root string) error {
	from, err := filepath.EvalSymlinks(filepath.Join(l.kernel, "modules"))
	if err != nil {
		return err
	}
	of := filepath.Join("lib/modules", filepath.Base(from)) // the kernel's release
	files := map[string]string{}                            // a module's name → its file below from
	err = filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err == nil && (strings.HasSuffix(path, ".ko") || strings.HasSuffix(path, ".ko.xz")) {
			files[moduleName(path)], err = filepath.Rel(from, path)
		}
		return err
	})
	if err != nil {
		return err
	}
	var list strings.Builder
	seen := map[string]bool{}
	var add func(name string) ([]string, error)
	add = func(name string) ([]string, error) { // gives the files it depends on
		file := files[moduleName(name)]
		if file == "" {
			return nil, nil // built into the kernel
		}
		content, err := moduleContent(filepath.Join(from, file))
		if err != nil {
			return nil, err
		}
		file = strings.TrimSuffix(file, ".xz")
		var on []string
		for _, need := range dependsOf(content) {
			below, err := add(need)
			if err != nil {
				return nil, err
			}
			on = append(on, below...)
		}
		if !seen[file] {
			seen[file] = true
			fmt.Fprintf(&list, "%s: %s\n", file, strings.Join(on, " "))
			if err := writeFile(filepath.Join(root, of, file), content); err != nil {
				return nil, err
			}
		}
		return append([]string{file}, on...), nil
	}
	for _, m := range modules {
		if _, err := add(m); err != nil {
			return err
		}
	}
	return os.WriteFile(filepath.Join(root, of, "modules.dep"), []byte(list.String()), 0o644)
}

// moduleContent is a module, unpacked where the system packs it.
func moduleContent(path string) ([]byte, error) {
	if strings.HasSuffix(path, ".xz") {
		return exec.Command("xz", "--decompress", "--stdout", path).Output()
	}
	return os.ReadFile(path)
}

// dependsOf are the modules that one needs, as its .modinfo section says.
func dependsOf(module []byte) []string {
	_, rest, ok := bytes.Cut(module, []byte("\x00depends="))
	if !ok {
		return nil
	}
	names, _, _ := bytes.Cut(rest, []byte{0})
	return strings.FieldsFunc(string(names), func(r rune) bool { return r == ',' })
}

func moduleName(file string) string {
	name, _, _ := strings.Cut(filepath.Base(file), ".")
	return strings.ReplaceAll(name, "-", "_")
}
