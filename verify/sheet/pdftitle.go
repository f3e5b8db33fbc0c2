package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
)

// The end of a PDF as the library writes it.
var (
	pdfTrailer = regexp.MustCompile(`trailer\n<<\n/Size (\d+)\n/Root (\d+) 0 R\n/Info (\d+) 0 R\n>>\nstartxref\n(\d+)\n%%EOF\n?$`)
	pdfPages   = []byte("/Type /Catalog\n")
)

// withTitleShown makes readers show the document's title, not the file's name.
// The library can't say so: the catalogue is written once more behind the end,
// as an incremental update (ISO 32000-1, 7.5.6 and 12.2).
func withTitleShown(pdf []byte) ([]byte, error) {
	end := pdfTrailer.FindSubmatch(pdf)
	if end == nil {
		return nil, errors.New("writing PDF: no trailer at its end")
	}
	size, root, info, xref := end[1], end[2], end[3], end[4]
	at := bytes.LastIndex(pdf, fmt.Appendf(nil, "\n%s 0 obj\n<<\n", root))
	if at < 0 {
		return nil, errors.New("writing PDF: no catalogue")
	}
	catalogue := pdf[at+1:]
	stop := bytes.Index(catalogue, []byte("endobj"))
	if stop < 0 || !bytes.Contains(catalogue[:stop], pdfPages) {
		return nil, errors.New("writing PDF: no catalogue")
	}
	catalogue = bytes.Replace(catalogue[:stop], pdfPages, append(bytes.Clone(pdfPages), "/ViewerPreferences <</DisplayDocTitle true>>\n"...), 1)
	out := bytes.NewBuffer(bytes.Clone(pdf))
	if !bytes.HasSuffix(pdf, []byte("\n")) {
		out.WriteByte('\n')
	}
	place := out.Len()
	out.Write(catalogue)
	out.WriteString("endobj\n")
	begin := out.Len()
	fmt.Fprintf(out, "xref\n%s 1\n%010d 00000 n \ntrailer\n<<\n/Size %s\n/Root %s 0 R\n/Info %s 0 R\n/Prev %s\n>>\nstartxref\n%d\n%%%%EOF\n",
		root, place, size, root, info, xref, begin)
	return out.Bytes(), nil
}
