// Package live listens to a boat's sentences as they come: from a TCP server, as
// UDP datagrams, or on a serial port. It only listens and never sends;
// a device that is gone is an error. What the sentences say is package sentences'.
package live

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"

	"go.bug.st/serial"
)

// The forms of an address.
const (
	tcp    = "tcp://"
	udp    = "udp://"
	wire   = "serial://"
	Forms  = "tcp://HOST:PORT, udp://:PORT or serial://DEVICE?baud=4800"
	usual  = 4800 // baud, NMEA 0183; 38400 is its fast form
	onePDU = 64 << 10
)

// Is reports whether a name is an address to listen at, and not a file.
func Is(name string) bool {
	return strings.HasPrefix(name, tcp) || strings.HasPrefix(name, udp) || strings.HasPrefix(name, wire)
}

// ErrAddress says that an address can't be understood.
var ErrAddress = errors.New("expected " + Forms)

// Open listens at an address until the context ends: then reading ends as at the
// end of a file.
func Open(ctx context.Context, address string) (io.ReadCloser, error) {
	in, err := open(ctx, address)
	if err != nil {
		return nil, fmt.Errorf("listening at %s: %w", address, err)
	}
	return &listening{in, ctx, context.AfterFunc(ctx, func() { _ = in.Close() })}, nil // an error comes with the next read
}

func open(ctx context.Context, address string) (io.ReadCloser, error) {
	switch {
	case strings.HasPrefix(address, tcp):
		at := strings.TrimSuffix(address[len(tcp):], "/")
		if _, _, err := net.SplitHostPort(at); err != nil {
			return nil, fmt.Errorf("%w: %w", ErrAddress, err)
		}
		return new(net.Dialer).DialContext(ctx, "tcp", at)
	case strings.HasPrefix(address, udp):
		at := strings.TrimSuffix(address[len(udp):], "/")
		if _, _, err := net.SplitHostPort(at); err != nil {
			return nil, fmt.Errorf("%w: %w", ErrAddress, err)
		}
		conn, err := new(net.ListenConfig).ListenPacket(ctx, "udp", at)
		if err != nil {
			return nil, err
		}
		return &datagrams{conn: conn}, nil
	case strings.HasPrefix(address, wire):
		device, baud, err := port(address[len(wire):])
		if err != nil {
			return nil, err
		}
		return serial.Open(device, &serial.Mode{BaudRate: baud, DataBits: 8})
	}
	return nil, ErrAddress
}

// port takes a serial address apart: DEVICE?baud=N.
func port(text string) (device string, baud int, err error) {
	device, query, asked := strings.Cut(text, "?")
	baud = usual
	if asked {
		value, ok := strings.CutPrefix(query, "baud=")
		if baud, err = strconv.Atoi(value); err != nil || !ok || baud < 300 || baud > 4_000_000 {
			return "", 0, fmt.Errorf("%w, not %q", ErrAddress, query)
		}
	}
	if device == "" {
		return "", 0, ErrAddress
	}
	return device, baud, nil
}

// datagrams is a stream of UDP datagrams, each ending its last line.
type datagrams struct {
	conn net.PacketConn
	buf  []byte
	rest []byte
}

func (d *datagrams) Read(p []byte) (int, error) {
	if len(d.rest) == 0 {
		if d.buf == nil {
			d.buf = make([]byte, onePDU)
		}
		n, _, err := d.conn.ReadFrom(d.buf[:onePDU-1])
		if err != nil {
			return 0, err
		}
		if n == 0 || d.buf[n-1] != '\n' {
			d.buf[n] = '\n'
			n++
		}
		d.rest = d.buf[:n]
	}
	n := copy(p, d.rest)
	d.rest = d.rest[n:]
	return n, nil
}

func (d *datagrams) Close() error { return d.conn.Close() }

// listening ends, as a file does, when its time is over.
type listening struct {
	io.ReadCloser
	ctx  context.Context
	stop func() bool
}

func (l *listening) Read(p []byte) (int, error) {
	n, err := l.ReadCloser.Read(p)
	if l.ctx.Err() != nil && (err != nil || n == 0) {
		return n, io.EOF
	}
	if n == 0 && err == nil { // a serial port whose time ran out
		return 0, io.EOF
	}
	return n, err
}

func (l *listening) Close() error {
	if !l.stop() { // it is closed already
		return nil
	}
	return l.ReadCloser.Close()
}
