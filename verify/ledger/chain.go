package ledger

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"
)

// Head is the last event of one chain. Whoever has a head saved elsewhere can
// show that a later ledger has lost its tail.
type Head struct {
	Writer string `json:"writer"`
	Chain  string `json:"chain"`
	Seq    int64  `json:"seq"`
	ID     ID     `json:"id"`
}

// Heads are all heads of a ledger at one time, as they are saved with a
// backup and exchanged at a sync.
type Heads struct {
	Format int       `json:"format"`
	Ledger string    `json:"ledger"` // id of the ledger they are of
	Taken  time.Time `json:"taken"`
	Heads  []Head    `json:"heads"` // by writer, then chain
}

// Bounds of saved heads: a shop has as many chains as it has had laptops and
// restored ledgers.
const (
	MaxHeads      = 10_000
	maxHeadsBytes = 4 << 20
)

// ErrNotHeads: JSON has no heads in it.
var ErrNotHeads = errors.New("it is not the report of a backup, in JSON")

// ReadHeads reads the heads in what ledger backup printed as JSON.
func ReadHeads(r io.Reader) (Heads, error) {
	h, err := readHeads(r)
	if err != nil {
		return Heads{}, fmt.Errorf("reading saved heads: %w", err)
	}
	return h, nil
}

func readHeads(r io.Reader) (Heads, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxHeadsBytes+1))
	if err != nil {
		return Heads{}, err
	}
	if len(data) > maxHeadsBytes {
		return Heads{}, fmt.Errorf("found more than %d bytes", maxHeadsBytes)
	}
	// The format first: a later one may have other types.
	var form struct{ Heads struct{ Format int } }
	if err := json.Unmarshal(data, &form); err == nil && form.Heads.Format > 1 {
		return Heads{}, fmt.Errorf("format %d, expected 1: %w", form.Heads.Format, ErrNewer)
	}
	var report struct{ Heads Heads }
	if err := json.Unmarshal(data, &report); err != nil {
		return Heads{}, fmt.Errorf("%w: %w", ErrNotHeads, err)
	}
	if h := report.Heads; h.Format != 1 || h.Ledger == "" || len(h.Heads) > MaxHeads {
		return Heads{}, fmt.Errorf("%w: found heads of format %d, %d of them, of ledger %+.40q; expected format 1, at most %d heads and a ledger's id",
			ErrNotHeads, h.Format, len(h.Heads), h.Ledger, MaxHeads)
	}
	return report.Heads, nil
}
