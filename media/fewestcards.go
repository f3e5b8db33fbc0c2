package media

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/manifest/samename"
	"cardwright/media/fat32"
)

// layer lays a plan's steps out on cards.
type layer struct {
	shop   *manifest.Shop
	vessel *manifest.Vessel
	layout Layout
	sizes  []int64
}

// openCard is a card that may take more files. It never changes: adding to it makes
// another.
type openCard struct {
	card  Card
	paths map[string]digest.SHA256 // samename.Key of a file's path → digest; of a folder's → "/"
	found []foundPackage           // what devices would find on it, and where
}

// foundPackage is a package as a device would find it on a card.
type foundPackage struct {
	model, folder, set string
	atPowerUp          bool   // wherever it is
	slot               string // the device that the card goes into
	powersUp           bool   // and that device installs what it finds at power-up
}

// clashes reports whether a device that looks for one of two packages may take the
// other: two releases of one model in one folder, or in a folder within the
// other's, or anywhere on a card from which the device installs by itself.
func (f foundPackage) clashes(other foundPackage) bool {
	return f.model == other.model && f.set != other.set &&
		(f.atPowerUp && other.atPowerUp || samename.Within(f.folder, other.folder) || samename.Within(other.folder, f.folder))
}

// mustStayApart reports whether two packages that take devices back need cards of
// their own: the card of one goes into the slot of the other, and a device installs
// at power-up what it finds.
func (f foundPackage) mustStayApart(other foundPackage) bool {
	return f.slot != other.slot && (f.powersUp || other.powersUp)
}

func slotOf(s order.Step) string {
	if s.Through != "" {
		return s.Through
	}
	return s.Device
}

// rules are the card rules of a step: those of the device whose slot the card goes
// into.
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

// placing is a step with files, and what has to be known to place it.
type placing struct {
	step    *order.Step
	rules   *manifest.CardRules
	release *manifest.Release
	files   []CardFile
}

// place finds a card for every step that has files.
func (l *layer) place(steps []order.Step) ([]Card, error) {
	s := search{layer: l, triesLeft: mostTries}
	for i := range steps {
		if len(steps[i].Files) == 0 || steps[i].Route != "" {
			continue
		}
		p, err := l.placing(&steps[i])
		if err != nil {
			return nil, err
		}
		s.steps = append(s.steps, p)
	}
	s.place(nil, nil, 0)
	if s.best == nil && len(s.steps) > 0 {
		return nil, s.stuck
	}
	for i, n := range s.best {
		s.steps[i].step.Card = n + 1
	}
	return s.cards, nil
}

func (l *layer) placing(s *order.Step) (placing, error) {
	rules := l.rules(*s)
	if rules == nil {
		return placing{}, &Unplaced{s.Number, s.Device, "neither the device nor the one it is updated through has a card slot"}
	}
	if !slices.Contains(rules.FileSystems, "fat32") {
		return placing{}, &Unplaced{s.Number, s.Device, "its device reads " + strings.Join(rules.FileSystems, ", ") + "; cards are written as FAT32"}
	}
	model, release, err := l.release(*s)
	if err != nil {
		return placing{}, err
	}
	return placing{s, rules, release, cardFiles(*s, model, release)}, nil
}

// mostTries bounds the search. It is enough for the fewest cards and swaps of every
// visit but the oddest, and takes a second at most.
const mostTries = 5000

// search places one step after another: on the card that is in the reader, or else
// on another one, or else on a new one. The first way that it finds fills one card
// after the other; from there it goes back and looks for fewer cards, or as many
// with fewer swaps, until there are none or the tries are used up.
type search struct {
	*layer
	steps     []placing
	triesLeft int
	stuck     *Unplaced // the first step that had no place

	best  []int // the card of each step
	cards []Card
	swaps int
}

// place places the steps that follow those in `at`, which has the card of each.
func (s *search) place(open []*openCard, at []int, swaps int) {
	if len(at) == len(s.steps) {
		s.best, s.swaps, s.cards = slices.Clone(at), swaps, nil
		for _, o := range open {
			s.cards = append(s.cards, o.card)
		}
		return
	}
	p := s.steps[len(at)]
	var why string
	for _, n := range candidates(open, at) {
		swapped := swaps
		if len(at) > 0 && n != at[len(at)-1] {
			swapped++
		}
		if s.triesLeft == 0 || !s.mayImprove(max(len(open), n+1), swapped) {
			continue
		}
		s.triesLeft--
		var into *openCard
		if n == len(open) {
			into = &openCard{card: Card{Limits: LimitsOf(p.rules)}}
		} else {
			into = open[n]
		}
		var next *openCard
		if next, why = s.add(into, n, p); next != nil {
			s.place(withCard(open, n, next), append(slices.Clip(at), n), swapped)
		}
	}
	if s.stuck == nil && s.best == nil {
		s.stuck = &Unplaced{p.step.Number, p.step.Device, why}
	}
}

// mayImprove reports whether this many cards and swaps, or more, can still beat the
// best way so far.
func (s *search) mayImprove(cards, swaps int) bool {
	return s.best == nil || cards < len(s.cards) || cards == len(s.cards) && swaps < s.swaps
}

// candidates are the cards that the next step may go on; the last one is new.
func candidates(open []*openCard, at []int) []int {
	var all []int
	current := -1
	if len(at) > 0 {
		current = at[len(at)-1]
		all = append(all, current)
	}
	for n := range len(open) + 1 {
		if n != current {
			all = append(all, n)
		}
	}
	return all
}

// withCard are the cards with the nth replaced, or one added.
func withCard(open []*openCard, n int, next *openCard) []*openCard {
	open = append(slices.Clone(open), nil)[:max(len(open), n+1)]
	open[n] = next
	return open
}

func (l *layer) release(s order.Step) (*manifest.Model, *manifest.Release, error) {
	device, model := l.vessel.Device(s.Device), l.shop.Model(s.Model)
	if device == nil || model == nil {
		return nil, nil, fmt.Errorf("step %d: device %s of model %s isn't in the shop", s.Number, s.Device, s.Model)
	}
	release := model.Release(s.To, device.Variant)
	if release == nil {
		return nil, nil, fmt.Errorf("step %d: the catalogue has no release %s of %s", s.Number, s.To, s.Model)
	}
	return model, release, nil
}

// cardFiles are a step's files as they are on the card.
func cardFiles(s order.Step, model *manifest.Model, release *manifest.Release) []CardFile {
	var files []CardFile
	below := func(name string) string {
		if s.Folder == "" {
			return name
		}
		return s.Folder + "/" + name
	}
	for _, f := range release.Files {
		source := SourceOf(model, release, f)
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

// add is card n with a step's files added, or why they can't go there.
func (l *layer) add(open *openCard, n int, p placing) (*openCard, string) {
	limits, ok := open.card.Limits.Both(LimitsOf(p.rules))
	if !ok {
		return nil, "its device reads cards of other sizes"
	}
	fresh, why := open.newFiles(p.files)
	if why != "" {
		return nil, why
	}
	started, alone := len(open.card.Files) > 0, p.rules.Alone || open.card.Alone
	if started && alone && (len(fresh) > 0 || p.rules.Alone != open.card.Alone) {
		return nil, "its package, or one that is there already, must be alone on a card"
	}
	found := foundPackage{p.step.Model, p.step.Folder, packageSet(p.files), p.step.Through == "" && p.rules.AtPowerUp, slotOf(*p.step), p.rules.AtPowerUp}
	if l.layout.WayBack && slices.ContainsFunc(open.found, found.mustStayApart) {
		return nil, "a package that takes a device back at power-up needs a card of its own"
	}
	if slices.ContainsFunc(open.found, found.clashes) {
		return nil, "its device would find two packages"
	}
	next := &openCard{card: open.card, paths: open.pathsWith(fresh), found: append(slices.Clip(open.found), found)}
	card := &next.card
	card.Limits, card.Alone = limits, p.rules.Alone
	card.AtPowerUp = card.AtPowerUp || p.rules.AtPowerUp
	card.FileSystems = readByBoth(open.card, p.rules)
	card.Files = append(slices.Clip(card.Files), fresh...)
	if !slices.Contains(card.Devices, p.step.Device) {
		card.Devices = append(slices.Clip(card.Devices), p.step.Device)
	}
	card.bearsDateOf(p.release)
	if why := l.whyNoRoom(*card, n); why != "" {
		return nil, why
	}
	return next, ""
}

func readByBoth(c Card, rules *manifest.CardRules) []string {
	if len(c.Files) == 0 {
		return rules.FileSystems
	}
	return slices.DeleteFunc(slices.Clone(c.FileSystems), func(name string) bool {
		return !slices.Contains(rules.FileSystems, name)
	})
}

// newFiles are the files that the card doesn't hold yet (one copy of the same path
// and digest is enough), or why they can't be added.
func (o *openCard) newFiles(files []CardFile) ([]CardFile, string) {
	var fresh []CardFile
	for _, f := range files {
		path := samename.Key(f.Path)
		for folder := parent(path); folder != ""; folder = parent(folder) {
			if has, ok := o.paths[folder]; ok && has != folderMark {
				return nil, fmt.Sprintf("%s would be a file and a folder on one card", folder)
			}
		}
		switch has, ok := o.paths[path]; {
		case !ok:
			fresh = append(fresh, f)
		case has != f.SHA256:
			return nil, fmt.Sprintf("another file is already at %s", f.Path)
		}
	}
	return fresh, ""
}

const folderMark = "/"

// pathsWith are the paths of the card and of more files.
func (o *openCard) pathsWith(files []CardFile) map[string]digest.SHA256 {
	paths := copied(o.paths)
	for _, f := range files {
		path := samename.Key(f.Path)
		paths[path] = f.SHA256
		for folder := parent(path); folder != ""; folder = parent(folder) {
			paths[folder] = folderMark
		}
	}
	return paths
}

func copied(m map[string]digest.SHA256) map[string]digest.SHA256 {
	if m == nil {
		return map[string]digest.SHA256{}
	}
	return maps.Clone(m)
}

func parent(path string) string {
	i := strings.LastIndexByte(path, '/')
	if i < 0 {
		return ""
	}
	return path[:i]
}

// packageSet is a digest that tells different packages of one model apart.
func packageSet(files []CardFile) string {
	sum := sha256.New()
	for _, f := range files {
		fmt.Fprintf(sum, "%s\n", f.SHA256)
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// whyNoRoom is why a card has no room for its files, or "".
func (l *layer) whyNoRoom(c Card, n int) string {
	files, err := l.layout.files(c)
	if err != nil {
		return err.Error()
	}
	if len(l.sizes) == 0 {
		return whyNoRoomWithin(files, c.Limits.Most/mostHundredths*imageHundredths)
	}
	size := l.sizes[min(n, len(l.sizes)-1)]
	if err := c.Limits.Check(size); err != nil {
		return err.Error()
	}
	if _, err := fat32.Lay(fat32.Spec{Bytes: size, Files: files}); err != nil {
		return err.Error()
	}
	return ""
}

// whyNoRoomWithin is why files fit on no card of at most so many bytes, or "".
func whyNoRoomWithin(files []fat32.File, most int64) string {
	least, err := fat32.Least(files)
	if err != nil {
		return err.Error()
	}
	if least > most {
		return fmt.Sprintf("its files need a card of %s; the largest that its device reads holds %s", Bytes(least), Bytes(most))
	}
	return ""
}
