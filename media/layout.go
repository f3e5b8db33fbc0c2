package media

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/media/fat32"
)

// Layout is which files go on which of a vessel's cards, and where.
type Layout struct {
	Shop       string
	Vessel     string
	VesselName string
	PlanID     string
	WayBack    bool // of a plan that takes devices back to older releases
	Cards      []Card
}

// Card is one card of a set, laid out but not written.
type Card struct {
	Number, Of  int
	Label       string // 11 characters at most
	VolumeID    uint32
	Modified    time.Time // of every file and folder: the newest release day on the card
	Limits      Limits    // measured bytes that every device which takes this card reads
	Alone       bool      // no record on the card: its device takes nothing else
	FileSystems []string  // that every device which takes this card reads
	AtPowerUp   bool      // a device installs from it by itself when powered up
	Devices     []string  // whose packages are on it
	Files       []CardFile
}

// bearsDateOf has a card's files and folders bear the day of its newest release, so that
// the same plan gives the same bytes on whatever day.
func (c *Card) bearsDateOf(r *manifest.Release) {
	if r.Released.After(c.Modified) {
		c.Modified = r.Released.Time
	}
}

// CardFile is one payload file at its place on a card. It isn't a digest.File: its
// path is the card's, and may be of a member of its source.
type CardFile struct {
	Path   string // from the card's root, slashes between
	Size   int64
	SHA256 digest.SHA256
	Source Source
}

// Room that is kept for what isn't known yet, in bytes: an install order may take
// no more, and a signature takes less.
const (
	installOrderRoom = 2 << 20
	signatureRoom    = 1 << 10
	mostCards        = 9999 // of a set, for the length of their numbers
)

// Unplaced is why a step's files can't go on any card.
type Unplaced struct {
	Step   int
	Device string
	Reason string
}

func (e *Unplaced) Error() string {
	return fmt.Sprintf("step %d (%s) fits on no card: %s", e.Step, e.Device, e.Reason)
}

// Lay places a plan's files on as few cards as they fit on, with as few swaps
// between steps. It returns the plan with Card and Folder of every step, and Cards,
// filled in.
//
// sizes are the measured bytes of the cards at hand, in the order in which they are
// filled; the last one is used for all that follow. Without them cards are as large
// as the devices can read.
func Lay(shop *manifest.Shop, vessel *manifest.Vessel, plan order.Plan, sizes ...int64) (Layout, order.Plan, error) {
	layout := Layout{Shop: shop.Name, Vessel: vessel.ID, VesselName: vessel.Name, PlanID: plan.ID(), WayBack: plan.WayBack}
	l := layer{shop: shop, vessel: vessel, layout: layout, sizes: sizes}
	plan.Steps = slices.Clone(plan.Steps)
	l.nameFolders(plan.Steps)
	cards, err := l.place(plan.Steps)
	if err != nil {
		return Layout{}, plan, err
	}
	plan.Cards = []order.Card{}
	for i, card := range cards {
		card.Number, card.Of = i+1, len(cards)
		name := vessel.Name
		if plan.WayBack {
			name = wayBackLabel
		}
		card.Label = label(name, i+1, len(cards))
		card.VolumeID = volumeID(layout.PlanID, i+1)
		layout.Cards = append(layout.Cards, card)
		planned, err := layout.planned(card)
		if err != nil {
			return Layout{}, plan, err
		}
		plan.Cards = append(plan.Cards, planned)
	}
	return layout, plan, nil
}

// planned is a card as the plan shows it.
func (l Layout) planned(c Card) (order.Card, error) {
	files, err := l.files(c)
	if err != nil {
		return order.Card{}, err
	}
	least, err := fat32.Least(files)
	if err != nil {
		return order.Card{}, err
	}
	var payload int64
	for _, f := range c.Files {
		payload += f.Size
	}
	return order.Card{Number: c.Number, Bytes: payload, Needed: max(least, c.Limits.Least), Devices: c.Devices}, nil
}

// files are all files of a card as far as they are known before the payload is
// read; none is smaller than it will be.
func (l Layout) files(c Card) ([]fat32.File, error) {
	files := make([]fat32.File, 0, len(c.Files)+4)
	for _, f := range c.Files {
		files = append(files, fat32.File{Path: f.Path, Size: f.Size})
	}
	if c.Alone {
		return files, nil
	}
	c.Number, c.Of, c.Label = mostCards, mostCards, strings.Repeat("W", maxLabel)
	own, err := recordFiles(l.Record(c), installOrderRoom)
	if err != nil {
		return nil, err
	}
	return append(append(files, own...), fat32.File{Path: SignaturePath, Size: signatureRoom}), nil
}

// Record is a card's record before its payload is read: without running digests.
func (l Layout) Record(c Card) Record {
	r := Record{
		Format: RecordFormat, Shop: l.Shop, Vessel: l.Vessel, VesselName: l.VesselName,
		Plan: l.PlanID, Card: c.Number, Of: c.Of, Label: c.Label, VolumeID: VolumeText(c.VolumeID),
		Files: []RecordFile{},
	}
	if l.WayBack {
		r.Format, r.WayBack = wayBackFormat, true
	}
	for _, f := range c.Files {
		r.Files = append(r.Files, RecordFile{Path: f.Path, Size: f.Size, SHA256: f.SHA256})
	}
	return r
}

// recordFiles are the files of the record's folder and their sizes, in the order of
// writing, before their contents are known.
func recordFiles(r Record, installOrder int64) ([]fat32.File, error) {
	r.InstallOrder = RecordFile{Path: InstallOrderPath, Size: installOrder, SHA256: blankDigest}
	length, err := r.encodedBytes()
	if err != nil {
		return nil, err
	}
	if length > MaxRecordBytes {
		return nil, fmt.Errorf("the record of %d files would take %s, expected at most %s", len(r.Files), Bytes(length), Bytes(MaxRecordBytes))
	}
	return []fat32.File{
		{Path: InstallOrderPath, Size: installOrder},
		{Path: RecordPath, Size: length},
		{Path: SumsPath, Size: int64(len(r.Sums(nil)))},
	}, nil
}

// VolumeText is a volume id as file-system tools show it.
func VolumeText(id uint32) string { return fmt.Sprintf("%04X-%04X", id>>16, id&0xFFFF) }

func volumeID(planID string, card int) uint32 {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %d", planID, card))
	return binary.BigEndian.Uint32(sum[:4])
}

// wayBackLabel replaces the vessel's name on a card that takes devices back.
const wayBackLabel = "WAY BACK"

// maxLabel is how many characters a FAT label has.
const maxLabel = 11

// label is the vessel's name as a volume label, with the card's number where
// there are several.
func label(name string, number, of int) string {
	var b strings.Builder
	for _, c := range strings.ToUpper(name) {
		switch {
		case c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == ' ', c == '-':
			b.WriteRune(c)
		}
	}
	text := strings.TrimSpace(b.String())
	if text == "" {
		text = "CARD"
	}
	tail := ""
	if of > 1 {
		tail = fmt.Sprintf(" %d", number)
	}
	if over := len(text) + len(tail) - maxLabel; over > 0 {
		text = strings.TrimSpace(text[:len(text)-over])
	}
	return text + tail
}
