package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
)

// state is what a card is after something went wrong, by the judgement of
// tools outside the emulated computer.
type state string

const (
	untouched state = "untouched"
	blank     state = "blank"
	good      state = "good"
	neither   state = "neither untouched nor blank nor good"
)

// cardBytes is the size of the emulated cards: what SD slots take is a power of
// two.
const cardBytes = 4 << 30

// partition is where a card's only partition begins, in bytes.
const partition = 4 << 20

// makeBase makes a card as a customer brings it: formatted by dosfstools, with
// a file of theirs.
func (l *lab) makeBase() error {
	if err := os.WriteFile(l.base, nil, 0o644); err != nil {
		return err
	}
	if err := os.Truncate(l.base, cardBytes); err != nil {
		return err
	}
	notes := filepath.Join(l.dir, "notes.txt")
	if err := os.WriteFile(notes, []byte("a customer's"), 0o644); err != nil {
		return err
	}
	return errors.Join(quiet("sh", "-c", "echo 'start=8192, type=c' | sfdisk -q "+l.base), quiet("mkfs.fat", "-F", "32", "--offset", "8192", l.base, fmt.Sprint((cardBytes-partition)/1024)),
		quiet("mcopy", "-i", l.base+"@@4M", notes, "::"))
}

// fresh puts the customer's card in an image's place.
func (l *lab) fresh(image string) error {
	_ = os.Remove(image)
	return quiet("cp", "--sparse=always", l.base, image)
}

func quiet(name string, args ...string) error {
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s %s: %w: %s", name, strings.Join(args, " "), err, bytes.TrimSpace(out))
	}
	return nil
}

func (l *lab) expectState(want state, images ...string) error {
	for _, image := range images {
		if s, err := l.stateOf(image); err != nil || s != want {
			return fmt.Errorf("%s is %s, expected %s (%v)", image, s, want, err)
		}
	}
	return nil
}

func (l *lab) stateOf(image string) (state, error) {
	cmd := exec.Command(l.program, "--shop", "cmd/cardwright/testdata/shop", "verify", image, "--for", "kittiwake")
	cmd.Env = append(os.Environ(), "XDG_CONFIG_HOME="+filepath.Join(l.dir, "settings"))
	said, err := cmd.CombinedOutput()
	switch {
	case err == nil:
		return good, l.checkGood(image)
	case strings.Contains(string(said), "no-file-system"):
		return blank, l.checkBlank(image)
	case quiet("cmp", "-s", l.base, image) == nil:
		return untouched, nil
	}
	return neither, nil
}

// checkGood has dosfstools, mtools and coreutils agree.
func (l *lab) checkGood(image string) error {
	out := filepath.Join(l.dir, "out")
	_ = os.RemoveAll(out)
	if err := os.Mkdir(out, 0o755); err != nil {
		return err
	}
	part := filepath.Join(l.dir, "part.img")
	defer os.Remove(part)
	if err := copyPartition(part, image); err != nil {
		return err
	}
	return errors.Join(quiet("fsck.fat", "-n", part), quiet("mcopy", "-s", "-n", "-i", image+"@@4M", "::/", out),
		quiet("sh", "-c", "cd '"+out+"' && sha256sum --check --strict --quiet _card/SHA256SUMS"))
}

// copyPartition copies what stands in an image's partition, and leaves its holes
// out: there are 4 GB of them.
func copyPartition(to, image string) error {
	const seekData, seekHole = 3, 4 // lseek(2)
	from, err := os.Open(image)
	if err != nil {
		return err
	}
	defer from.Close()
	part, err := os.Create(to)
	if err != nil {
		return err
	}
	defer part.Close()
	if err := part.Truncate(cardBytes - partition); err != nil {
		return err
	}
	for end := int64(partition); ; {
		begin, err := from.Seek(end, seekData)
		if errors.Is(err, syscall.ENXIO) {
			return nil // nothing but holes up to the end
		}
		if err != nil {
			return err
		}
		if end, err = from.Seek(begin, seekHole); err != nil {
			return err
		}
		if _, err := io.Copy(io.NewOffsetWriter(part, begin-partition), io.NewSectionReader(from, begin, end-begin)); err != nil {
			return err
		}
	}
}

// checkBlank has util-linux and mtools find nothing.
func (l *lab) checkBlank(image string) error {
	for _, args := range [][]string{
		{"blkid", "-p", image},
		{"blkid", "-p", "-O", fmt.Sprint(partition), image},
		{"sfdisk", "-d", image},
		{"mdir", "-i", image + "@@4M"},
		{"mdir", "-i", image},
	} {
		if quiet(args[0], args[1:]...) == nil {
			return fmt.Errorf("%s finds something on a card that should be blank", strings.Join(args, " "))
		}
	}
	return nil
}
