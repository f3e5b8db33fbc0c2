package live

import (
	"context"
	"io"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const heard = "$HEHDT,341.8,T*21\r\n" // a published example

func TestTCPEndsWhenItsTimeIsOver(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	go func() {
		conn, err := l.Accept()
		if err == nil {
			_, _ = io.WriteString(conn, heard) // and then nothing, without hanging up
		}
	}()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	in, err := Open(ctx, "tcp://"+l.Addr().String())
	require.NoError(t, err)
	got := make([]byte, len(heard))
	_, err = io.ReadFull(in, got)
	require.NoError(t, err)
	require.Equal(t, heard, string(got))
	time.AfterFunc(10*time.Millisecond, cancel)
	_, err = in.Read(got)
	require.ErrorIs(t, err, io.EOF)
	require.NoError(t, in.Close())
}

func TestDatagramsEndTheirLines(t *testing.T) {
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	require.NoError(t, err)
	in := &datagrams{conn: conn}
	defer in.Close()
	out, err := net.Dial("udp", conn.LocalAddr().String())
	require.NoError(t, err)
	_, err = io.WriteString(out, heard[:len(heard)-2])
	require.NoError(t, err)
	got := make([]byte, len(heard)-1)
	_, err = io.ReadFull(in, got)
	require.NoError(t, err)
	require.Equal(t, heard[:len(heard)-2]+"\n", string(got))
}

func TestAddresses(t *testing.T) {
	for _, a := range []string{"tcp://nowhere", "udp://", "serial://", "serial:///dev/x?speed=3", "serial:///dev/x?baud=fast", "http://x:1"} {
		_, err := Open(context.Background(), a)
		require.ErrorIs(t, err, ErrAddress, a)
	}
	require.True(t, Is("udp://:10110"))
	require.False(t, Is("trial.log"))
	device, baud, err := port("/dev/ttyUSB0?baud=38400")
	require.NoError(t, err)
	require.Equal(t, "/dev/ttyUSB0", device)
	require.Equal(t, 38400, baud)
	device, baud, err = port("COM3")
	require.NoError(t, err)
	require.Equal(t, "COM3", device)
	require.Equal(t, 4800, baud)
}
