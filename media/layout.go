package media

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/media/fat32"
)

// Layout says which files go on which card of a vessel's set, and where.
type Layout struct {
	Shop       string
	Vessel     string
	VesselName string
	PlanID     string
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

// CardFile is one payload file.
type CardFile struct {
	Path   string // from the card's root, slashes between
	Size   int64
	SHA256 string
	Source Source
}

// installOrderRoom is the most that an install order may take, in bytes; the
// room for it is kept free before its text is known.
const installOrderRoom = 256 << 10

// Unplaced is why a step's files can't go on any card.
type Unplaced struct {
	Step   int
	Device string
	Reason string
}

func (e *Unplaced) Error() string {
	return fmt.Sprintf("step %d (%s) fits on no card: %s", e.Step, e.Device, e.Reason)
}

// Lay places a plan's files on as few cards as fit and fills in Card and
// Folder of every step and Cards of the plan, which it returns changed.
//
// sizes are the measured bytes of the cards at hand, in the order in which
// they will be filled, the last one standing for all that follow; none means
// cards of the largest size that the devices read.
func Lay(shop *manifest.Shop, vessel *manifest.Vessel, plan order.Plan, sizes ...int64) (Layout, order.Plan, error) {
	l := layer{shop: shop, vessel: vessel, sizes: sizes}
	plan.Steps = slices.Clone(plan.Steps)
	l.nameFolders(plan.Steps)
	for i := range plan.Steps {
		if err := l.place(&plan.Steps[i]); err != nil {
			return Layout{}, plan, err
		}
	}
	layout := Layout{Shop: shop.Name, Vessel: vessel.ID, VesselName: vessel.Name, PlanID: plan.ID()}
	plan.Cards = []order.Card{}
	for i, open := range l.cards {
		card := open.card
		card.Number, card.Of = i+1, len(l.cards)
		card.Label = label(vessel.Name, i+1, len(l.cards))
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

// planned is what the plan says of a card.
func (l Layout) planned(c Card) (order.Card, error) {
	least, err := c.least(l.Record(c))
	if err != nil {
		return order.Card{}, err
	}
	var payload int64
	for _, f := range c.Files {
		payload += f.Size
	}
	return order.Card{Number: c.Number, Bytes: payload, Needed: max(least, c.Limits.Least), Devices: c.Devices}, nil
}

// layer places one step after the other.
type layer struct {
	shop    *manifest.Shop
	vessel  *manifest.Vessel
	sizes   []int64
	cards   []*openCard
	current int // the card of the step before
}

// openCard is a card that may still take more.
type openCard struct {
	card  Card
	paths map[string]string // lower-case path of a file → digest; of a folder → "/"
	takes map[string]string // model that installs at power-up → the package set it would find
}

// nameFolders gives every step the folder that its device will show. A folder
// of ours is numbered by the step of its first use; a device that takes
// several packages has them in folders by version below its own.
func (l *layer) nameFolders(steps []order.Step) {
	perDevice := map[string]int{}
	first := map[string]int{}
	for _, s := range steps {
		perDevice[s.Device]++
		if _, ok := first[s.Device]; !ok {
			first[s.Device] = s.Number
		}
	}
	digits := max(2, len(fmt.Sprint(len(steps))))
	for i := range steps {
		s := &steps[i]
		rules := l.rules(*s)
		switch {
		case rules == nil:
			continue // place says why
		case rules.Folder != manifest.AnyFolder && rules.Folder != "":
			s.Folder = strings.Trim(rules.Folder, "/")
		case l.vessel.Folders == manifest.FoldersByModel:
			s.Folder = s.Model + "/" + versionFolder(s.To)
		default:
			s.Folder = fmt.Sprintf("%0*d-%s", digits, first[s.Device], s.Device)
			if perDevice[s.Device] > 1 {
				s.Folder += "/" + versionFolder(s.To)
			}
		}
	}
}

// versionFolder is a version as a folder's name: FAT allows no colon.
func versionFolder(v version.V) string { return strings.ReplaceAll(string(v), ":", "_") }

// rules are the card rules that a step's files obey: those of the device
// whose slot the card goes into.
func (l *layer) rules(s order.Step) *manifest.CardRules {
	id := s.Device
	if s.Through != "" {
		id = s.Through
	}
	device := l.vessel.Device(id)
	if device == nil {
		return nil
	}
	model := l.shop.Model(device.Model)
	if model == nil {
		return nil
	}
	return model.Card
}

// place puts a step on the first card that can take it, else on a new one.
func (l *layer) place(s *order.Step) error {
	if len(s.Files) == 0 {
		return nil
	}
	rules := l.rules(*s)
	if rules == nil {
		return &Unplaced{s.Number, s.Device, "neither the device nor the one it is updated through has a card slot"}
	}
	if !slices.Contains(rules.FileSystems, "fat32") {
		return &Unplaced{s.Number, s.Device, "its device reads " + strings.Join(rules.FileSystems, ", ") + ", and cards are written as FAT32"}
	}
	release, err := l.release(*s)
	if err != nil {
		return err
	}
	files := cardFiles(*s, release)
	for _, n := range l.candidates() {
		if l.add(n, *s, rules, release, files) == "" {
			s.Card, l.current = n+1, n
			return nil
		}
	}
	fresh := &openCard{paths: map[string]string{}, takes: map[string]string{}, card: Card{Limits: LimitsOf(rules)}}
	l.cards = append(l.cards, fresh)
	l.current = len(l.cards) - 1
	s.Card = len(l.cards)
	if why := l.add(l.current, *s, rules, release, files); why != "" {
		return &Unplaced{s.Number, s.Device, why}
	}
	return nil
}

// candidates are the cards that a step may go on: the one that is in the
// reader already, which saves a swap, then the others.
func (l *layer) candidates() []int {
	var all []int
	if len(l.cards) > 0 {
		all = append(all, l.current)
	}
	for n := range l.cards {
		if n != l.current {
			all = append(all, n)
		}
	}
	return all
}

func (l *layer) release(s order.Step) (*manifest.Release, error) {
	device, model := l.vessel.Device(s.Device), l.shop.Model(s.Model)
	if device == nil || model == nil {
		return nil, fmt.Errorf("step %d: device %s of model %s is not in the shop", s.Number, s.Device, s.Model)
	}
	release := model.Release(s.To, device.Variant)
	if release == nil {
		return nil, fmt.Errorf("step %d: the catalogue has no release %s of %s", s.Number, s.To, s.Model)
	}
	return release, nil
}

// cardFiles are a step's files as they stand on the card.
func cardFiles(s order.Step, release *manifest.Release) []CardFile {
	var files []CardFile
	below := func(name string) string {
		if s.Folder == "" {
			return name
		}
		return s.Folder + "/" + name
	}
	for _, f := range release.Files {
		source := Source{Model: s.Model, Version: release.Version, Name: f.Name, Size: int64(f.Size), SHA256: f.SHA256}
		if f.Unpack == "" {
			files = append(files, CardFile{below(f.Name), int64(f.Size), f.SHA256, source})
			continue
		}
		for _, m := range f.Members {
			source.Member = m.Name
			files = append(files, CardFile{below(m.Name), int64(m.Size), m.SHA256, source})
		}
	}
	return files
}

// add puts files on card n, or says why they can't go there and leaves the
// card as it was.
func (l *layer) add(n int, s order.Step, rules *manifest.CardRules, release *manifest.Release, files []CardFile) string {
	open := l.cards[n]
	limits, ok := open.card.Limits.Both(LimitsOf(rules))
	if !ok {
		return "its device reads cards of other sizes"
	}
	fresh, why := open.fresh(files)
	if why != "" {
		return why
	}
	started, alone := len(open.card.Files) > 0, rules.Alone || open.card.Alone
	if started && alone && (len(fresh) > 0 || rules.Alone != open.card.Alone) {
		return "nothing else may be on the card of a device that wants its package alone"
	}
	set := packageSet(files)
	if s.Through == "" && rules.AtPowerUp {
		if other, ok := open.takes[s.Model]; ok && other != set {
			return "a device that installs at power-up would find two packages"
		}
	}
	card := open.card
	card.Limits, card.Alone = limits, rules.Alone
	card.AtPowerUp = card.AtPowerUp || rules.AtPowerUp
	card.FileSystems = readByBoth(open.card, rules)
	card.Files = append(slices.Clip(card.Files), fresh...)
	if !slices.Contains(card.Devices, s.Device) {
		card.Devices = append(slices.Clip(card.Devices), s.Device)
	}
	if release.Released.After(card.Modified) {
		card.Modified = release.Released.Time
	}
	if why := l.fits(card, n); why != "" {
		return why
	}
	open.card = card
	open.note(fresh)
	if s.Through == "" && rules.AtPowerUp {
		open.takes[s.Model] = set
	}
	return ""
}

func readByBoth(c Card, rules *manifest.CardRules) []string {
	if len(c.Files) == 0 {
		return rules.FileSystems
	}
	return slices.DeleteFunc(slices.Clone(c.FileSystems), func(name string) bool {
		return !slices.Contains(rules.FileSystems, name)
	})
}

// fresh are the files that aren't on the card yet (same path and digest: one
// copy), or why some can't be.
func (o *openCard) fresh(files []CardFile) ([]CardFile, string) {
	var fresh []CardFile
	for _, f := range files {
		path := strings.ToLower(f.Path)
		for folder := parent(path); folder != ""; folder = parent(folder) {
			if digest, ok := o.paths[folder]; ok && digest != folderMark {
				return nil, fmt.Sprintf("%s is a file on the card and would have to be a folder", folder)
			}
		}
		switch digest, ok := o.paths[path]; {
		case !ok:
			fresh = append(fresh, f)
		case digest != f.SHA256:
			return nil, fmt.Sprintf("another file stands at %s", f.Path)
		}
	}
	return fresh, ""
}

const folderMark = "/"

func (o *openCard) note(files []CardFile) {
	for _, f := range files {
		path := strings.ToLower(f.Path)
		o.paths[path] = f.SHA256
		for folder := parent(path); folder != ""; folder = parent(folder) {
			o.paths[folder] = folderMark
		}
	}
}

func parent(path string) string {
	i := strings.LastIndexByte(path, '/')
	if i < 0 {
		return ""
	}
	return path[:i]
}

// packageSet tells two packages of one model apart.
func packageSet(files []CardFile) string {
	sum := sha256.New()
	for _, f := range files {
		fmt.Fprintf(sum, "%s\n", f.SHA256)
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// fits says why a card doesn't have the room, or "".
func (l *layer) fits(c Card, n int) string {
	room := c.Limits.Most / mostHundredths * imageHundredths
	if len(l.sizes) > 0 {
		room = l.sizes[min(n, len(l.sizes)-1)]
		if err := c.Limits.Check(room); err != nil {
			return err.Error()
		}
	}
	least, err := c.least(Layout{Shop: l.shop.Name, Vessel: l.vessel.ID, VesselName: l.vessel.Name, PlanID: blankDigest}.Record(c))
	if err != nil {
		return err.Error()
	}
	if least > room {
		return fmt.Sprintf("its files need a card of %s, and the card holds %s", Bytes(least), Bytes(room))
	}
	return ""
}

// least is the smallest card, in bytes, that holds c with its record.
func (c Card) least(r Record) (int64, error) {
	files := make([]fat32.File, 0, len(c.Files)+3)
	for _, f := range c.Files {
		files = append(files, fat32.File{Path: f.Path, Size: f.Size})
	}
	if !c.Alone {
		r.InstallOrder = RecordFile{Path: InstallOrderPath, Size: installOrderRoom, SHA256: blankDigest}.withBlankDigests()
		own, err := recordFiles(r, installOrderRoom)
		if err != nil {
			return 0, err
		}
		files = append(files, own...)
	}
	return fat32.Least(files)
}

// Record is the record of a card before its payload was hashed.
func (l Layout) Record(c Card) Record {
	r := Record{
		Format: RecordFormat, Shop: l.Shop, Vessel: l.Vessel, VesselName: l.VesselName,
		Plan: l.PlanID, Card: c.Number, Of: c.Of, Label: c.Label, VolumeID: VolumeText(c.VolumeID),
		Files: []RecordFile{},
	}
	for _, f := range c.Files {
		r.Files = append(r.Files, RecordFile{Path: f.Path, Size: f.Size, SHA256: f.SHA256})
	}
	return r.withBlankDigests()
}

// recordFiles are the files of the record's folder with their sizes, in the
// order in which they are written.
func recordFiles(r Record, installOrder int64) ([]fat32.File, error) {
	text, err := r.Encode()
	if err != nil {
		return nil, err
	}
	return []fat32.File{
		{Path: InstallOrderPath, Size: installOrder},
		{Path: RecordPath, Size: int64(len(text))},
		{Path: SumsPath, Size: int64(len(r.Sums(text)))},
	}, nil
}

// VolumeText writes a volume id as file systems' tools show it.
func VolumeText(id uint32) string { return fmt.Sprintf("%04X-%04X", id>>16, id&0xFFFF) }

func volumeID(planID string, card int) uint32 {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %d", planID, card))
	return binary.BigEndian.Uint32(sum[:4])
}

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
