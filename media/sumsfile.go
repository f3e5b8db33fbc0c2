package media

import (
	"bytes"
	"fmt"

	"cardwright/manifest/digest"
)

// Sums is the file of digests on the card, for `sha256sum --check` of coreutils:
// all files but itself and the signature.
func (r Record) Sums(record []byte) []byte {
	var out bytes.Buffer
	for _, f := range r.Files {
		writeSum(&out, f.SHA256, f.Path)
	}
	writeSum(&out, r.InstallOrder.SHA256, r.InstallOrder.Path)
	writeSum(&out, digest.Of(record), RecordPath)
	return out.Bytes()
}

// writeSum writes one line. Nothing needs escaping: no path on FAT has a backslash
// or a line end in it.
func writeSum(out *bytes.Buffer, sum digest.SHA256, path string) {
	fmt.Fprintf(out, "%s  %s\n", sum, path)
}
