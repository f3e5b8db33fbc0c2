package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"cardwright/manifest/durable"
	"cardwright/verify/ledger"
)

// Remembered is what is kept outside a ledger file of its last whole check: an
// answer is drawn from a file that is still the one that was checked, or it is
// checked again. The heads show whether an older copy was put in its place.
type Remembered struct {
	Format  int          `json:"format"`
	Ledger  string       `json:"ledger"` // id
	File    string       `json:"file"`   // its Fingerprint then; of a server, that of the copy
	Checked time.Time    `json:"checked"`
	Heads   ledger.Heads `json:"heads"`

	UpTo   int64          `json:"up_to,omitempty"`  // of a server: events up to this number were taken over
	Breaks []ledger.Break `json:"breaks,omitempty"` // of a server: in the chains that were taken over

	Accepted []Accepted `json:"accepted,omitempty"` // at most maxAccepted, the last ones
}

// Accepted is an older state that somebody knew of and took for the ledger.
type Accepted struct {
	At   time.Time     `json:"at"`
	Why  string        `json:"why"`
	Lost []ledger.Head `json:"lost"` // the ends of chains that were there before
	Kept string        `json:"kept"` // of a server: where the copy with those events was put
}

const maxAccepted = 20

const rememberedFormat = 1

// maxRemembered bounds what is read back, in bytes.
const maxRemembered = 4 << 20

// Fingerprint distinguishes a ledger file's state from the one before any write to it:
// which file it is, its length, and when it and the log next to it were last
// written. It is taken while this program has the file closed. "" on a server, or
// where it is unknown.
func Fingerprint(address string) string {
	if IsPostgres(address) {
		return ""
	}
	path, err := followed(address)
	if err != nil {
		return ""
	}
	info, err := os.Stat(path)
	if err != nil {
		return ""
	}
	print := fmt.Sprintf("%s %d %d", fileID(info), info.Size(), info.ModTime().UnixNano())
	if wal, err := os.Stat(path + "-wal"); err == nil && wal.Size() > 0 {
		print += fmt.Sprintf(" %d %d", wal.Size(), wal.ModTime().UnixNano())
	}
	return print
}

// MemoryAt is where the last check of the ledger at an address is remembered, below
// a cache folder, without the file's ending; "" where nothing is. A server is the
// same by whatever role and password.
func MemoryAt(cache, address string) string {
	named := serverName(address)
	if !IsPostgres(address) {
		absolute, err := filepath.Abs(address)
		if err != nil {
			return ""
		}
		named = absolute
	}
	if !filepath.IsAbs(cache) || named == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(named))
	return filepath.Join(cache, "cardwright", "ledgers", hex.EncodeToString(sum[:16]))
}

// RememberedIn is the file of a memory.
func RememberedIn(memory string) string {
	if memory == "" {
		return ""
	}
	return memory + ".json"
}

// Recall reads what is remembered; nothing where nothing usable is there: then
// the ledger is checked.
func Recall(path string) (r Remembered) {
	info, err := os.Lstat(path)
	if err != nil || !info.Mode().IsRegular() || info.Size() > maxRemembered {
		return r
	}
	text, err := os.ReadFile(path)
	if err != nil || json.Unmarshal(text, &r) != nil || r.Format != rememberedFormat || len(r.Heads.Heads) > ledger.MaxHeads {
		return Remembered{}
	}
	return r
}

// Save writes what is to be remembered.
func (r Remembered) Save(path string) error {
	r.Format = rememberedFormat
	text, err := json.Marshal(r)
	if err == nil {
		err = durable.MakeFolders(filepath.Dir(path), 0o700)
	}
	if err == nil {
		err = durable.Write(path, fs.FileMode(0o600), bytes.NewReader(text))
	}
	if err != nil {
		return fmt.Errorf("remembering that the ledger was checked: %w", err)
	}
	return nil
}
