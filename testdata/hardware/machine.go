package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// How long things may take without hardware virtualisation, on a busy computer.
const (
	bootTime    = 8 * time.Minute
	commandTime = 6 * time.Minute
)

// slot is a card's place in the emulated computer.
type slot struct {
	image  string
	locked bool   // the lock switch
	faults string // a file of blkdebug's rules; "" a reader that works
}

// machine is an emulated computer with an SD slot and a reader on USB.
type machine struct {
	cmd     *exec.Cmd
	in      io.WriteCloser
	lines   chan string
	monitor string
	readers int // how many have been put in
}

// writeRate is how fast a card takes bytes, a second: slow enough that there
// are moments to pull it out.
const writeRate = 1_000_000

func (s slot) drive(id string) string {
	file := "file=" + s.image
	if s.faults != "" {
		file = "file=blkdebug:" + s.faults + ":" + s.image
	}
	drive := fmt.Sprintf("%s,id=%s,if=none,format=raw,throttling.bps-write=%d", file, id, writeRate)
	if s.locked {
		drive += ",readonly=on"
	}
	return drive
}

// boot starts a computer and waits until it takes commands. Its processor is
// emulated, too: where hardware virtualisation is offered inside a virtual
// machine it may hang, and the kernel starts in half a minute without.
func (l *lab) boot(sd, usb slot) (*machine, error) {
	monitor := filepath.Join(l.dir, "monitor")
	cmd := exec.Command("qemu-system-x86_64", "-accel", "tcg", "-cpu", "max", "-m", "512", "-display", "none", "-no-reboot",
		"-kernel", filepath.Join(l.kernel, "vmlinuz"), "-initrd", filepath.Join(l.dir, "initrd"), "-append", "console=ttyS0 quiet panic=-1 random.trust_cpu=on",
		"-monitor", "unix:"+monitor+",server=on,wait=off", "-serial", "file:"+filepath.Join(l.dir, "console"), "-serial", "stdio",
		"-device", "sdhci-pci", "-drive", sd.drive("sdc0"), "-device", "sd-card,drive=sdc0",
		"-device", "qemu-xhci", "-drive", usb.drive("u0"), "-device", "usb-storage,id=reader-u0,drive=u0,removable=on")
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	var complaints strings.Builder
	cmd.Stderr = &complaints
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	m := &machine{cmd: cmd, in: in, lines: make(chan string, 1024), monitor: monitor}
	go func() {
		scan := bufio.NewScanner(out)
		for scan.Scan() {
			m.lines <- strings.TrimRight(scan.Text(), "\r")
		}
		close(m.lines)
	}()
	if _, err := m.until("@ready", bootTime); err != nil {
		m.kill()
		console, _ := os.ReadFile(filepath.Join(l.dir, "console"))
		return nil, fmt.Errorf("starting the emulated computer: %w\n%s%s", err, complaints.String(), console)
	}
	return m, nil
}

// kill cuts the power.
func (m *machine) kill() {
	_ = m.cmd.Process.Kill()
	_ = m.cmd.Wait()
}

// until gives the lines up to one that begins with a mark, and that line last.
func (m *machine) until(mark string, most time.Duration) ([]string, error) {
	end := time.After(most)
	var lines []string
	for {
		select {
		case line, ok := <-m.lines:
			if !ok {
				return lines, errors.New("it went off")
			}
			lines = append(lines, line)
			if strings.HasPrefix(line, mark) {
				return lines, nil
			}
		case <-end:
			return lines, fmt.Errorf("no %s within %s; so far: %s", mark, most, strings.Join(lines, " / "))
		}
	}
}

// send has a command run, and doesn't wait for its end.
func (m *machine) send(command string) error {
	_, err := fmt.Fprintln(m.in, command)
	return err
}

// answer waits for the command that was sent, and gives what it said and its
// exit code.
func (m *machine) answer() (string, int, error) {
	lines, err := m.until("@code ", commandTime)
	if err != nil {
		return strings.Join(lines, "\n"), 0, err
	}
	var code int
	_, err = fmt.Sscanf(lines[len(lines)-1], "@code %d", &code)
	return strings.Join(lines[:len(lines)-1], "\n"), code, err
}

func (m *machine) run(command string) (string, int, error) {
	if err := m.send(command); err != nil {
		return "", 0, err
	}
	return m.answer()
}

// ask has qemu's monitor do something, such as pulling a card out.
func (m *machine) ask(command string) error {
	c, err := net.Dial("unix", m.monitor)
	if err != nil {
		return err
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(time.Minute))
	r := bufio.NewReader(c)
	if _, err := r.ReadString(')'); err != nil { // "(qemu)"
		return err
	}
	if _, err := fmt.Fprintln(c, command); err != nil {
		return err
	}
	said, err := r.ReadString(')')
	said = said[strings.LastIndex(said, "\x1b[K")+1:] // behind the echo of the command
	if strings.Contains(said, "Error") || strings.Contains(said, "uplicate") {
		return fmt.Errorf("%s: %s", command, strings.TrimSpace(said))
	}
	return err
}
