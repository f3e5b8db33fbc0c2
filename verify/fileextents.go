package verify

import (
	"io"
	"slices"

	"cardwright/verify/fatread"
)

// extents reads a file on a card at any place, through its runs of clusters.
type extents struct {
	card    io.ReaderAt
	places  []int64 // of each run, bytes on the card
	ends    []int64 // of each run, bytes in the file
	cluster int64
	written int64 // bytes; the rest was never written and reads as zeros
}

// extentsOf is nil for a file whose runs aren't all known.
func extentsOf(v *fatread.Volume, e fatread.Entry, card io.ReaderAt) io.ReaderAt {
	x := &extents{card: card, cluster: int64(v.ClusterBytes), written: e.Written}
	end := int64(0)
	for _, run := range e.Chain {
		end += int64(run.Count) * x.cluster
		x.places = append(x.places, v.Place(run.First))
		x.ends = append(x.ends, end)
	}
	if e.Dir || end < e.Size {
		return nil
	}
	return x
}

func (x *extents) ReadAt(p []byte, at int64) (int, error) {
	n := 0
	for n < len(p) {
		i, _ := slices.BinarySearch(x.ends, at+1)
		if i == len(x.ends) {
			return n, io.EOF
		}
		begin := int64(0)
		if i > 0 {
			begin = x.ends[i-1]
		}
		part := p[n:min(int64(len(p)), int64(n)+x.ends[i]-at)]
		if at >= x.written {
			clear(part)
			n, at = n+len(part), at+int64(len(part))
			continue
		}
		part = part[:min(int64(len(part)), x.written-at)]
		got, err := x.card.ReadAt(part, x.places[i]+at-begin)
		n, at = n+got, at+int64(got)
		if err != nil {
			return n, err
		}
	}
	return n, nil
}
