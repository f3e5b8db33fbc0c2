package sentences

import (
	"context"
	"fmt"
	"io"
	"os"
	"runtime"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/verify/seatrial/simulate"
)

// sizeOfHostile is how many bytes each hostile log has: make drill asks for a
// gigabyte.
func sizeOfHostile(t *testing.T) int64 {
	text := os.Getenv("DRILL_BYTES")
	if text == "" {
		return 8 << 20
	}
	n, err := strconv.ParseInt(text, 10, 64)
	require.NoError(t, err, "DRILL_BYTES")
	return n
}

// source gives bytes without keeping them.
type source struct{ next func(p []byte) int }

func (s source) Read(p []byte) (int, error) { return s.next(p), nil }

// Logs of any length that aren't logs: read to their end within 64 MB, and told.
func TestHostileLogsAreBounded(t *testing.T) {
	size := sizeOfHostile(t)
	random := simulate.Seeded(3)
	noise := func(p []byte) int {
		for i := range p {
			p[i] = byte(random.Next())
		}
		return len(p)
	}
	back := 80000
	for name, next := range map[string]func(p []byte) int{
		"garbage": noise,
		"one line": func(p []byte) int {
			for i := range p {
				p[i] = 'x'
			}
			return len(p)
		},
		"one line of dollars": func(p []byte) int {
			for i := range p {
				p[i] = '$'
			}
			return len(p)
		},
		"a clock that runs back": func(p []byte) int {
			back = (back + 86400 - 7) % 86400
			return copy(p, summed(fmt.Sprintf("GPRMC,%02d%02d%02d,A,5006.0,N,00412.0,W,5.0,030,130626,,", back/3600, back/60%60, back%60))+"\n")
		},
		"headings without a clock": func(p []byte) int { return copy(p, "$HCHDG,98.3,,,,*7D\n$HCHDG,98.3,,,,*40\n") },
	} {
		r := NewReader(Options{})
		require.NoError(t, r.Read(context.Background(), name, io.LimitReader(source{next}, size)), name)
		l := r.Log()
		require.LessOrEqual(t, len(l.shifts), mostShifts, name)
		require.LessOrEqual(t, len(l.Sources), 2*maxSources, name)
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		require.Less(t, m.HeapInuse, uint64(64<<20), name)
		runtime.KeepAlive(l)
	}
}
