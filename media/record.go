package media

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"strconv"
	"strings"

	"cardwright/manifest/digest"
)

// The folder of the record and its files. A card for a device that takes its package
// alone (CardRules.Alone) has none of it.
const (
	RecordFolder     = "_card"
	RecordPath       = RecordFolder + "/record.json"
	SignaturePath    = RecordFolder + "/record.json.minisig"
	SumsPath         = RecordFolder + "/SHA256SUMS"
	InstallOrderPath = RecordFolder + "/install-order.txt"
)

// RecordFormat is the version of the record's JSON form; a card that is a way back
// has the next one, so that no earlier build takes it for a card of updates.
const (
	RecordFormat  = 1
	wayBackFormat = 2

	// NewestRecordFormat is the newest that is read here.
	NewestRecordFormat = wayBackFormat
)

// BlockSize is the distance between two running digests of a file, in bytes.
const BlockSize = 1 << 20

// Record says what was written on a card, and is on it.
type Record struct {
	Format       int          `json:"format"`
	Shop         string       `json:"shop"`
	Vessel       string       `json:"vessel"`
	VesselName   string       `json:"vessel_name"`
	Plan         string       `json:"plan"` // order.Plan.ID
	Card         int          `json:"card"`
	Of           int          `json:"of"`
	Label        string       `json:"label"`
	VolumeID     string       `json:"volume_id"` // as 1A2B-3C4D
	Files        []RecordFile `json:"files"`     // payload, in its order on the card
	InstallOrder RecordFile   `json:"install_order"`
	WayBack      bool         `json:"way_back,omitempty"` // it takes devices back to older releases
}

// Named is the record as it would be of a vessel of another name.
func (r Record) Named(name string) Record {
	r.VesselName = name
	if !r.WayBack {
		r.Label = label(name, r.Card, r.Of)
	}
	return r
}

// RecordFile is one file in a record. It isn't a digest.File: the bytes of records
// on cards have path for name, and running digests.
//
// Running[i] is the SHA-256 of the file's first i+1 MiB (of all of it for the last
// one), as `head -c` and `sha256sum` give it. The first that differs names the
// first MiB that differs, at no more cost than hashing the file once.
type RecordFile struct {
	Path    string          `json:"path"`
	Size    int64           `json:"size"`
	SHA256  digest.SHA256   `json:"sha256"`
	Running []digest.SHA256 `json:"running"`
}

// NewRecordFile describes a file whose content is at hand.
func NewRecordFile(path string, content []byte) RecordFile {
	r := NewRunning()
	r.Write(content)
	return RecordFile{Path: path, Size: int64(len(content)), SHA256: r.SHA256(), Running: r.Digests()}
}

// Running hashes a file and keeps its digest at every MiB.
type Running struct {
	hash    hash.Hash
	size    int64
	digests []digest.SHA256
}

// NewRunning returns a Running that has seen no byte yet.
func NewRunning() *Running { return &Running{hash: sha256.New(), digests: []digest.SHA256{}} }

// Write takes the next bytes of the file. It never fails.
func (r *Running) Write(p []byte) (int, error) {
	n := len(p)
	for len(p) > 0 {
		room := BlockSize - r.size%BlockSize
		part := p[:min(int64(len(p)), room)]
		r.hash.Write(part)
		r.size += int64(len(part))
		if r.size%BlockSize == 0 {
			r.digests = append(r.digests, r.SHA256())
		}
		p = p[len(part):]
	}
	return n, nil
}

// Size is the count of bytes seen.
func (r *Running) Size() int64 { return r.size }

// SHA256 is the digest of all bytes seen, as 64 hex digits.
func (r *Running) SHA256() digest.SHA256 { return digest.Sum(r.hash) }

// Digests are the running digests, the last one over the whole file.
func (r *Running) Digests() []digest.SHA256 {
	d := r.digests
	if r.size%BlockSize != 0 {
		d = append(d[:len(d):len(d)], r.SHA256())
	}
	return d
}

// Blocks is how many running digests a file of this size has.
func Blocks(size int64) int { return int((size + BlockSize - 1) / BlockSize) }

// Encode is the record as it is on the card. The same record always gives the
// same bytes; their number depends on paths and sizes alone.
func (r Record) Encode() ([]byte, error) {
	before, after, err := r.frame()
	if err != nil || r.Files == nil {
		return before, err
	}
	room := len(before) + len(after)
	for _, f := range r.Files {
		room += len(f.Path) + (len(f.Running)+2)*(2*sha256.Size+16)
	}
	out := append(make([]byte, 0, room), before...)
	for i, f := range r.Files {
		if i > 0 {
			out = append(out, ',')
		}
		out = f.appendTo(out)
	}
	if len(r.Files) > 0 {
		out = append(out, "\n "...)
	}
	return append(out, after...), nil
}

// frame is the text before and after the list of files; everything where there
// is no list. encoding/json would be slow for thousands of files.
func (r Record) frame() (before, after []byte, err error) {
	if r.Files != nil {
		r.Files = []RecordFile{}
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(r); err != nil {
		return nil, nil, fmt.Errorf("writing the record: %w", err)
	}
	const files = `"files": [` // a quote within a text has a backslash before it
	at := bytes.Index(out.Bytes(), []byte(files))
	if at < 0 {
		return out.Bytes(), nil, nil
	}
	return out.Bytes()[:at+len(files)], out.Bytes()[at+len(files):], nil
}

// appendTo writes a file as encoding/json would at its place in the record.
func (f RecordFile) appendTo(b []byte) []byte {
	b = append(b, "\n  {\n   \"path\": "...)
	b = appendText(b, f.Path)
	b = append(b, ",\n   \"size\": "...)
	b = strconv.AppendInt(b, f.Size, 10)
	b = append(b, ",\n   \"sha256\": "...)
	b = appendText(b, string(f.SHA256))
	b = append(b, ",\n   \"running\": "...)
	if f.Running == nil {
		return append(b, "null\n  }"...)
	}
	b = append(b, '[')
	for i, d := range f.Running {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendText(append(b, "\n    "...), string(d))
	}
	if len(f.Running) > 0 {
		b = append(b, "\n   "...)
	}
	return append(b, "]\n  }"...)
}

func appendText(b []byte, s string) []byte {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			return append(b, quoted(s)...)
		}
	}
	b = append(b, '"')
	b = append(b, s...)
	return append(b, '"')
}

func quoted(s string) []byte {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(s) // a string and a buffer never fail
	return bytes.TrimSuffix(out.Bytes(), []byte("\n"))
}

// blankDigest is the placeholder for a digest that isn't known yet.
var blankDigest = digest.SHA256(strings.Repeat("0", sha256.Size*2))

// encodedBytes is how many bytes Encode will give once the running digests are
// known.
func (r Record) encodedBytes() (int64, error) {
	files := r.Files
	r.InstallOrder.Running = []digest.SHA256{}
	before, after, err := r.frame()
	n := int64(len(before)+len(after)) + listBytes(int64(Blocks(r.InstallOrder.Size)), 2)
	if len(files) > 0 {
		n += int64(len(files)-1) + 2 // commas, and the line that ends the list
	}
	var text []byte
	for _, f := range files {
		f.Running = []digest.SHA256{}
		text = f.appendTo(text[:0])
		n += int64(len(text)) + listBytes(int64(Blocks(f.Size)), 3)
	}
	return n, err
}

// listBytes is how many bytes more a list of n digests takes than an empty one: a
// line for each, indented by one more than the list's last line, and commas between
// them.
func listBytes(n, depth int64) int64 {
	if n == 0 {
		return 0
	}
	const line = 1 + sha256.Size*2 + 2 // the line's end, the digest, its quotes
	return n*(line+depth+1) + n - 1 + 1 + depth
}

// Bounds on a record read from a card.
const (
	MaxRecordBytes = 4 << 20 // a full 32 GB card's is under 3 MiB
	maxRecordFiles = 65536

	// The shortest file of an honest record takes 133 bytes for 6 values; a
	// list of nothing would take 3 bytes, and many times as much memory.
	leastValueBytes = 20
)

// ErrNewerRecord is a record whose format is newer than this build.
var ErrNewerRecord = errors.New("a newer cardwright made it")

// DecodeRecord reads a record from a card, and checks the form of everything in it.
// Whether it is true depends on how far the card is trusted. It wraps
// ErrNewerRecord where a newer cardwright made the card.
func DecodeRecord(text []byte) (Record, error) {
	var r Record
	if len(text) > MaxRecordBytes {
		return r, fmt.Errorf("record of %d bytes, expected at most %d", len(text), MaxRecordBytes)
	}
	if most := len(text)/leastValueBytes + 64; values(text) > most {
		return r, fmt.Errorf("reading the record: more than %d values in %d bytes", most, len(text))
	}
	if format := formatOf(text); format > NewestRecordFormat {
		return r, fmt.Errorf("reading the record: format %d, expected at most %d: %w", format, NewestRecordFormat, ErrNewerRecord)
	}
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&r); err != nil {
		return Record{}, fmt.Errorf("reading the record: %w", err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return Record{}, errors.New("reading the record: there is more after its end")
	}
	if err := r.check(); err != nil {
		return Record{}, fmt.Errorf("reading the record: %w", err)
	}
	return r, nil
}

// formatOf is the format that a record names, whatever else is in it; 0 where it
// names none.
func formatOf(text []byte) int {
	var r struct {
		Format int `json:"format"`
	}
	if json.Unmarshal(text, &r) != nil {
		return 0
	}
	return r.Format
}

// values counts the values in a JSON text: each comes after a bracket, a brace or a
// comma.
func values(text []byte) (n int) {
	quoted := false
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case quoted && c == '\\':
			i++
		case c == '"':
			quoted = !quoted
		case !quoted && (c == '[' || c == '{' || c == ','):
			n++
		}
	}
	return n
}

func (r Record) check() error {
	want := RecordFormat
	if r.WayBack {
		want = wayBackFormat
	}
	if r.Format != want {
		return fmt.Errorf("format %d, expected %d", r.Format, want)
	}
	if len(r.Files) > maxRecordFiles {
		return fmt.Errorf("%d files, expected at most %d", len(r.Files), maxRecordFiles)
	}
	if r.Card < 1 || r.Of < r.Card {
		return fmt.Errorf("card number %d of %d, expected 1 to the number of cards", r.Card, r.Of)
	}
	if err := r.InstallOrder.check(); err != nil {
		return err
	}
	for _, f := range r.Files {
		if err := f.check(); err != nil {
			return err
		}
	}
	return nil
}

func (f RecordFile) check() error {
	if f.Size < 0 || !f.SHA256.Valid() || len(f.Running) != Blocks(f.Size) {
		return fmt.Errorf("file %q: its size, SHA-256 and running digests don't agree", f.Path)
	}
	for _, d := range f.Running {
		if !d.Valid() {
			return fmt.Errorf("file %q: %q isn't a SHA-256", f.Path, d)
		}
	}
	return nil
}
