package sentences

import (
	"bufio"
	"bytes"
	"io"
)

// bare is a bare loop over lines with their checksums, which the reader's speed
// is laid beside.
func bare(in io.Reader) (right int) {
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		line := lines.Bytes()
		at, end := bytes.IndexByte(line, '$'), bytes.IndexByte(line, '*')
		if at < 0 || end < at || end+3 > len(line) {
			continue
		}
		var sum byte
		for _, c := range line[at+1 : end] {
			sum ^= c
		}
		if given, ok := hexByte(line[end+1], line[end+2]); ok && given == sum {
			right++
		}
	}
	return right
}
