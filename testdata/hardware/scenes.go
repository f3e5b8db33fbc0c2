package main

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// The drives of the emulated computer, and the partitions that their cards have.
const (
	sdDrive, sdPart   = "/dev/mmcblk0", "/dev/mmcblk0p1"
	usbDrive, usbPart = "/dev/sda", "/dev/sda1"
)

const known = "cardwright --shop /shop "

// codeOf has the shell put a card's code into $code.
func codeOf(drive string) string {
	return `code=$(` + known + `readers | awk '/^\/dev\// { at = $1 } at == "` + drive + `" && $1 == "code" { print $2 }'); `
}

func prepare(drive string) string {
	return codeOf(drive) + known + "prepare kittiwake --to " + drive + ` --lose-files --erase "$code"`
}

// scenes plays all of it. The first computer is kept on from the whole work to
// the first power cut, so that a quick look starts one.
func (l *lab) scenes(often times) error {
	sd, usb, err := l.cards()
	if err != nil {
		return err
	}
	m, err := l.boot(sd, usb)
	if err != nil {
		return err
	}
	defer m.kill()
	l.tell("booted")
	spans, err := l.wholeWork(m, sd, usb)
	if err != nil {
		return fmt.Errorf("a card from end to end: %w", err)
	}
	if err := l.pulledOut(m, usb, spans[usbDrive], often.pulls); err != nil {
		return fmt.Errorf("a card pulled out: %w", err)
	}
	if err := l.powerCuts(m, sd, spans, often.cuts); err != nil {
		return fmt.Errorf("the power cut: %w", err)
	}
	if often.pulls > 1 {
		if err := l.lockSwitch(); err != nil {
			return fmt.Errorf("the lock switch: %w", err)
		}
		if err := l.failingReader(); err != nil {
			return fmt.Errorf("a reader that fails: %w", err)
		}
	}
	return nil
}

func (l *lab) cards() (sd, usb slot, err error) {
	sd, usb = slot{image: filepath.Join(l.dir, "sd.img")}, slot{image: filepath.Join(l.dir, "usb.img")}
	return sd, usb, errors.Join(l.fresh(sd.image), l.fresh(usb.image))
}

// expect runs a command that has to end with a code and to say something.
func (m *machine) expect(command string, code int, says ...string) error {
	said, got, err := m.run(command)
	if err != nil {
		return err
	}
	for _, words := range says {
		if !strings.Contains(strings.Join(strings.Fields(said), " "), words) {
			return fmt.Errorf("%s\nexpected it to say %q:\n%s", command, words, said)
		}
	}
	if got != code {
		return fmt.Errorf("%s\nended with %d, expected %d:\n%s", command, got, code, said)
	}
	return nil
}

// wholeWork prepares and verifies a card in both readers, mounts it by the
// kernel's own vfat, and has it checked inside and outside. It gives how long
// preparing took in each.
func (l *lab) wholeWork(m *machine, sd, usb slot) (map[string]time.Duration, error) {
	spans := map[string]time.Duration{}
	for _, r := range []struct{ drive, part, image string }{{sdDrive, sdPart, sd.image}, {usbDrive, usbPart, usb.image}} {
		begin := time.Now()
		if err := m.expect(prepare(r.drive), 0, "✓ GOOD: card 1 of 1"); err != nil {
			return nil, err
		}
		spans[r.drive] = time.Since(begin)
		if err := m.expect(known+"verify "+r.drive+" --for kittiwake --order /tmp/order.txt", 0, "✓ GOOD"); err != nil {
			return nil, err
		}
		if err := m.expect("mount -t vfat -o ro "+r.part+" /mnt && cd /mnt && sha256sum -c _card/SHA256SUMS && cd / && umount /mnt", 0, "OK"); err != nil {
			return nil, err
		}
		if err := l.expectState(good, r.image); err != nil {
			return nil, err
		}
		l.tell("prepared, verified, mounted and checked in %s", r.drive)
	}
	return spans, nil
}

// pulledOut pulls the reader on USB out while its card is written, and puts it
// in again with a fresh card.
func (l *lab) pulledOut(m *machine, usb slot, span time.Duration, times int) error {
	states := map[state]int{}
	for n := range times {
		if err := m.replace(l, usb, n > 0); err != nil {
			return err
		}
		if err := m.send(prepare(usbDrive)); err != nil {
			return err
		}
		at := moment(span, n, times)
		time.Sleep(at)
		if err := m.pull(); err != nil {
			return err
		}
		said, code, err := m.answer()
		if err != nil {
			return err
		}
		s, err := l.stateOf(usb.image)
		if err != nil {
			return err
		}
		if code == 0 && s != good || code != 0 && s == neither {
			return fmt.Errorf("pulled out after %s: prepare ended with %d and the card is %s:\n%s", at, code, s, said)
		}
		states[s]++
	}
	l.tell("pulled out at %d moments: %v", times, states)
	return nil
}

// replace takes the reader out, unless it is out already, and puts in another,
// with a fresh card.
func (m *machine) replace(l *lab, usb slot, out bool) error {
	if !out {
		if err := m.pull(); err != nil {
			return err
		}
	}
	if err := m.expect("for i in $(seq 100); do [ -e "+usbDrive+" ] || break; sleep 0.2; done; [ ! -e "+usbDrive+" ]", 0); err != nil {
		return err
	}
	if err := l.fresh(usb.image); err != nil {
		return err
	}
	// names of their own: qemu forgets those of the one before when it gets to it
	m.readers++
	id := fmt.Sprintf("u%d", m.readers)
	if err := m.ask("drive_add 0 " + usb.drive(id)); err != nil {
		return err
	}
	if err := m.ask("device_add usb-storage,id=reader-" + id + ",drive=" + id + ",removable=on"); err != nil {
		return err
	}
	return m.expect("for i in $(seq 200); do [ -b "+usbPart+" ] && break; sleep 0.2; done; [ -b "+usbPart+" ]", 0)
}

// pull takes the reader on USB out.
func (m *machine) pull() error { return m.ask(fmt.Sprintf("device_del reader-u%d", m.readers)) }

// moment is one of so many, spread over a span by chance: before the first byte
// is written up to after the last. A single one is well within it.
func moment(span time.Duration, n, of int) time.Duration {
	if of == 1 {
		return span/4 + time.Duration(rand.Int64N(int64(span)/2+1))
	}
	part := span / time.Duration(of)
	return part*time.Duration(n) + time.Duration(rand.Int64N(int64(part)+1))
}

// powerCuts switches the computer off while it writes, in both readers in turn;
// first the one that is on.
func (l *lab) powerCuts(m *machine, sd slot, spans map[string]time.Duration, times int) error {
	states := map[state]int{}
	drive, image := sdDrive, sd.image
	for n := range times {
		if n > 0 {
			sd, usb, err := l.cards()
			if err != nil {
				return err
			}
			if m, err = l.boot(sd, usb); err != nil {
				return err
			}
			if drive, image = sdDrive, sd.image; n%2 == 1 {
				drive, image = usbDrive, usb.image
			}
		}
		err := m.send(prepare(drive))
		if err == nil {
			time.Sleep(moment(spans[drive], n, times))
		}
		m.kill()
		if err != nil {
			return err
		}
		s, err := l.stateOf(image)
		if err != nil {
			return err
		}
		if s == neither {
			return fmt.Errorf("at moment %d of %d the card in %s is %s", n+1, times, drive, s)
		}
		states[s]++
		if (n+1)%10 == 0 {
			l.tell("power cut at %d moments: %v", n+1, states)
		}
	}
	l.tell("power cut at %d moments: %v", times, states)
	return nil
}

// lockSwitch: a locked card is told as that, and stays as it was. In the USB
// reader: the card that qemu puts into an SD slot can't be locked.
func (l *lab) lockSwitch() error {
	sd, usb, err := l.cards()
	if err != nil {
		return err
	}
	usb.locked = true
	m, err := l.boot(sd, usb)
	if err != nil {
		return err
	}
	defer m.kill()
	if err := m.expect(prepare(usbDrive), 1, "write-protected"); err != nil {
		return err
	}
	m.kill()
	l.tell("a locked card in the USB reader")
	return l.expectState(untouched, sd.image, usb.image)
}

// failingReader: a card of which a part can't be read any more is not good.
func (l *lab) failingReader() error {
	sd, usb, err := l.cards()
	if err != nil {
		return err
	}
	rules := filepath.Join(l.dir, "faults")
	// a sector of the files' area, in units of 512 bytes
	if err := os.WriteFile(rules, []byte("[inject-error]\nevent = \"read_aio\"\nerrno = \"5\"\nsector = \"24580\"\nonce = \"off\"\n"), 0o644); err != nil {
		return err
	}
	usb.faults = rules
	m, err := l.boot(sd, usb)
	if err != nil {
		return err
	}
	defer m.kill()
	said, code, err := m.run(prepare(usbDrive))
	if err != nil {
		return err
	}
	if code == 0 || strings.Contains(said, "✓ GOOD") {
		return fmt.Errorf("a card that can't be read back ended with %d:\n%s", code, said)
	}
	m.kill()
	l.tell("a reader that returns errors")
	s, err := l.stateOf(usb.image)
	if err == nil && s == neither {
		err = fmt.Errorf("the card is %s", s)
	}
	return err
}
