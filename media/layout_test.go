package media_test

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/mediatest/shoptest"
)

// onCards are the paths on each card.
func onCards(l media.Layout) (cards [][]string) {
	for _, c := range l.Cards {
		var paths []string
		for _, f := range c.Files {
			paths = append(paths, f.Path)
		}
		cards = append(cards, paths)
	}
	return cards
}

// unplaced lays out what can't be laid out.
func unplaced(t testing.TB, shop *shoptest.Shop, sizes ...int64) *media.Unplaced {
	_, _, err := media.Lay(shop.Shop, shop.Vessel, shop.Plan, sizes...)
	var u *media.Unplaced
	require.ErrorAs(t, err, &u)
	return u
}

func TestLayoutOfAVisit(t *testing.T) {
	layout, plan := shoptest.Kittiwake(t, "").Lay()
	assert.Equal(t, [][]string{{
		"01-flybridge/plot12.upd", "01-flybridge/notes.txt", "02-radar/sweep/firmware.img", "02-radar/sweep/table.bin",
		"03-pilot/course/main.bin", "03-pilot/course/rudder.bin",
	}}, onCards(layout))
	card := layout.Cards[0]
	assert.Equal(t, "KITTIWAKE", card.Label)
	assert.Equal(t, []string{"flybridge", "radar", "pilot"}, card.Devices)
	assert.Equal(t, "2026-03-02", card.Modified.Format("2006-01-02"))
	assert.False(t, card.AtPowerUp)
	for i, want := range []string{"01-flybridge", "02-radar", "03-pilot"} {
		assert.Equal(t, want, plan.Steps[i].Folder)
		assert.Equal(t, 1, plan.Steps[i].Card)
	}
	require.Len(t, plan.Cards, 1)
	assert.Equal(t, int64(3<<20+17+2<<20+1+700_001+4096), plan.Cards[0].Bytes)
	assert.Less(t, plan.Cards[0].Needed, int64(shoptest.Small)+1)
}

// A plan without steps needs no card; a step without files is on none.
func TestLayoutWithoutFiles(t *testing.T) {
	shop := shoptest.New(t, "")
	layout, plan := shop.Lay()
	assert.Empty(t, layout.Cards)
	assert.Equal(t, []order.Card{}, plan.Cards)
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	shop.Device("flybridge", "fennick-plot-12")
	shop.Step("flybridge", "4.0", "")
	layout, plan = shop.Lay()
	assert.Empty(t, layout.Cards)
	assert.Zero(t, plan.Steps[0].Card)
}

// A device that takes several packages has each in a folder of its version
// below its own; ten and more steps get three digits where they must.
func TestFoldersByDevice(t *testing.T) {
	shop := shoptest.New(t, "")
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	for i := range 99 {
		id := fmt.Sprint("d", i)
		shop.Device(id, "fennick-plot-12")
		shop.Step(id, "4.0-12", "", shoptest.Make("plot12.upd", 10, 1))
	}
	_, plan := shop.Lay()
	assert.Equal(t, "01-d0", plan.Steps[0].Folder)
	assert.Equal(t, "99-d98", plan.Steps[98].Folder)
	shop.Step("d3", "1:4.1", "", shoptest.Make("plot12.upd", 10, 2))
	_, plan = shop.Lay()
	assert.Equal(t, "001-d0", plan.Steps[0].Folder)
	assert.Equal(t, "004-d3/4.0-12", plan.Steps[3].Folder)
	assert.Equal(t, "004-d3/1_4.1", plan.Steps[99].Folder) // FAT allows no colon
}

// By model, devices of one model share one copy of a package.
func TestFoldersByModel(t *testing.T) {
	shop := shoptest.New(t, "")
	shop.Vessel.Folders = manifest.FoldersByModel
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	for _, id := range []string{"flybridge", "helm"} {
		shop.Device(id, "fennick-plot-12")
		shop.Step(id, "4.0-12", "", shoptest.Make("plot12.upd", 10, 1))
	}
	layout, plan := shop.Lay()
	assert.Equal(t, [][]string{{"fennick-plot-12/4.0-12/plot12.upd"}}, onCards(layout))
	assert.Equal(t, plan.Steps[0].Folder, plan.Steps[1].Folder)
	assert.Equal(t, []string{"flybridge", "helm"}, layout.Cards[0].Devices)
	assert.Equal(t, int64(10), plan.Cards[0].Bytes)
}

// Where a device demands a folder, its files are there, whatever the vessel
// says; two packages that would be at one path are on two cards, the same
// one in other letter case too, unless they are the same.
func TestFixedFolders(t *testing.T) {
	shop := shoptest.New(t, "")
	for _, c := range []struct{ model, folder string }{{"solveld-beacon-1", "/"}, {"solveld-course-3", "/Update/"}, {"solveld-beacon-2", "/"}} {
		rules := shoptest.AnyCard()
		rules.Folder = c.folder
		shop.Model(c.model, rules)
		shop.Device(c.model+"-aboard", c.model)
	}
	same := shoptest.Make("notes.txt", 5, 1)
	shop.Step("solveld-beacon-1-aboard", "1.6", "", shoptest.Make("beacon.upd", 10, 1), same)
	shop.Step("solveld-course-3-aboard", "5.2", "", shoptest.Make("beacon.upd", 10, 2))
	shop.Step("solveld-beacon-2-aboard", "2.0", "", shoptest.Make("BEACON.upd", 10, 3), same)
	layout, plan := shop.Lay()
	assert.Equal(t, [][]string{{"beacon.upd", "notes.txt", "Update/beacon.upd"}, {"BEACON.upd", "notes.txt"}}, onCards(layout))
	assert.Empty(t, plan.Steps[0].Folder)
	assert.Equal(t, "Update", plan.Steps[1].Folder)
	assert.Equal(t, 2, plan.Steps[2].Card)
	assert.Equal(t, []string{"KITTIWAKE 1", "KITTIWAKE 2"}, []string{layout.Cards[0].Label, layout.Cards[1].Label})
	assert.NotEqual(t, layout.Cards[0].VolumeID, layout.Cards[1].VolumeID)
}

// A device may take the newest of what it finds in its fixed folder: two
// releases for it are on two cards, whatever their files are called; and in
// folders by model two variants of a release.
func TestTwoReleasesInOneFolder(t *testing.T) {
	shop := shoptest.New(t, "")
	rules := shoptest.AnyCard()
	rules.Folder = "/update"
	shop.Model("solveld-course-3", rules)
	shop.Model("fennick-sweep-2", nil)
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	shop.Device("pilot", "solveld-course-3")
	shop.Device("mate", "solveld-course-3")
	shop.Device("radar", "fennick-sweep-2")
	shop.Device("north", "fennick-plot-12").Variant = "north"
	shop.Device("south", "fennick-plot-12").Variant = "south"
	shop.Step("pilot", "5.1", "", shoptest.Make("course-5.1.upd", 10, 1))
	shop.Step("pilot", "5.2", "", shoptest.Make("course-5.2.upd", 10, 2))
	shop.Step("mate", "5.2", "", shoptest.Make("course-5.2.upd", 10, 2))
	shop.Step("radar", "1.8", "pilot", shoptest.Make("sweep2.img", 10, 1))
	shop.Step("north", "4.0", "", shoptest.Make("plot12n.upd", 10, 1))
	shop.Step("south", "4.0", "", shoptest.Make("plot12s.upd", 10, 2))
	_, plan := shop.Lay()
	var cards []int
	for _, s := range plan.Steps {
		cards = append(cards, s.Card)
	}
	assert.Equal(t, []int{1, 2, 2, 2, 2, 2}, cards)
	shop.Vessel.Folders = manifest.FoldersByModel
	_, plan = shop.Lay()
	assert.Equal(t, plan.Steps[4].Folder, plan.Steps[5].Folder)
	assert.NotEqual(t, plan.Steps[4].Card, plan.Steps[5].Card)
}

// A file can't be where another card file has its folder.
func TestFileWhereAFolderIs(t *testing.T) {
	for _, names := range [][2]string{{"a", "A/b.bin"}, {"a/b.bin", "A"}} {
		shop := shoptest.New(t, "")
		for i, name := range names {
			rules := shoptest.AnyCard()
			rules.Folder = "/"
			id := fmt.Sprint("m", i)
			shop.Model(id, rules)
			shop.Device(id, id)
			shop.Step(id, "1", "", shoptest.Make(name, 10, 1))
		}
		layout, _ := shop.Lay()
		assert.Equal(t, [][]string{{names[0]}, {names[1]}}, onCards(layout))
	}
	shop := shoptest.New(t, "") // within one package, and against the record's own folder
	rules := shoptest.AnyCard()
	rules.Folder = "/"
	shop.Model("m", rules)
	shop.Device("d", "m")
	for _, files := range [][]string{{"a", "a/b"}, {"A", "a"}, {"_card"}, {"_card/record.json"}, {"_CARD/SHA256SUMS"}, {"a/../../b"}, {"con:"}, {"a*"}, {"\x1b[2J"}} {
		shop.Plan.Steps, shop.Models[0].Releases = nil, nil
		var made []shoptest.File
		for _, name := range files {
			made = append(made, shoptest.Make(name, 10, 1))
		}
		shop.Step("d", "1", "", made...)
		u := unplaced(t, shop)
		assert.Equal(t, 1, u.Step, files)
		assert.NotEmpty(t, u.Reason)
	}
}

// A device that installs at power-up must not find two packages: not two of
// its own, nor that of its twin with another variant. What it only passes on,
// and another device's, are no packages for it.
func TestInstallingAtPowerUp(t *testing.T) {
	shop := shoptest.New(t, "")
	rules := shoptest.AnyCard()
	rules.AtPowerUp = true
	shop.Model("fennick-plot-9", rules)
	shop.Model("fennick-sweep-2", nil)
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	shop.Device("helm", "fennick-plot-9")
	shop.Device("cockpit", "fennick-plot-9")
	shop.Device("mate", "fennick-plot-9").Variant = "north"
	shop.Device("radar", "fennick-sweep-2")
	shop.Device("chart", "fennick-plot-12")
	package9 := func(seed byte) shoptest.File { return shoptest.Make("plot9.upd", 10, seed) }
	shop.Step("helm", "3.4", "", package9(1))                             // 1
	shop.Step("cockpit", "3.4", "", package9(1))                          // 1: the same package
	shop.Step("radar", "1.8", "helm", shoptest.Make("sweep2.img", 10, 1)) // 1: only passed on
	shop.Step("chart", "4.0", "", shoptest.Make("plot12.upd", 10, 1))     // 1: for another model
	shop.Step("helm", "4.0", "", package9(2))                             // 2
	shop.Step("mate", "3.4", "", package9(3))                             // 3: of another variant
	layout, plan := shop.Lay()
	var cards []int
	for _, s := range plan.Steps {
		cards = append(cards, s.Card)
	}
	assert.Equal(t, []int{1, 1, 1, 1, 2, 3}, cards)
	for _, c := range layout.Cards {
		assert.True(t, c.AtPowerUp)
	}
	shop.Models[0].Card.AtPowerUp = false
	layout, _ = shop.Lay()
	assert.Len(t, layout.Cards, 1)
	assert.False(t, layout.Cards[0].AtPowerUp)
}

// A package that wants to be alone shares its card with nothing but itself.
func TestAloneOnTheCard(t *testing.T) {
	shop := shoptest.New(t, "")
	alone := shoptest.AnyCard()
	alone.Alone, alone.Folder = true, "/"
	shop.Model("solveld-beacon-1", alone)
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	beacon := shoptest.Make("beacon1.upd", 10, 1)
	for i, id := range []string{"a", "b", "c", "d", "e"} {
		model := map[bool]string{true: "solveld-beacon-1", false: "fennick-plot-12"}[i%2 == 0]
		shop.Device(id, model)
		if i%2 == 0 {
			shop.Step(id, "1.6", "", beacon)
		} else {
			shop.Step(id, "4.0", "", shoptest.Make("plot12.upd", 10, 1))
		}
	}
	layout, _ := shop.Lay()
	assert.Equal(t, [][]string{{"beacon1.upd"}, {"02-b/plot12.upd", "04-d/plot12.upd"}}, onCards(layout))
	assert.True(t, layout.Cards[0].Alone)
	assert.False(t, layout.Cards[1].Alone)
	assert.Equal(t, []string{"a", "c", "e"}, layout.Cards[0].Devices)
}

// Devices that read cards of different sizes share one only where a size is
// right for both, and the card's limits are then those of both.
func TestLimitsThatDoNotOverlap(t *testing.T) {
	shop := shoptest.New(t, "")
	for i, c := range [][2]manifest.Size{{1e9, 2e9}, {2e9, 8e9}, {4e9, 32e9}} {
		rules := shoptest.AnyCard()
		rules.Least, rules.Most = c[0], c[1]
		id := fmt.Sprint("m", i)
		shop.Model(id, rules)
		shop.Device(id, id)
		shop.Step(id, "1", "", shoptest.Make("a", 10, 1))
	}
	layout, _ := shop.Lay()
	require.Len(t, layout.Cards, 2)
	limits := func(least, most manifest.Size) media.Limits {
		return media.LimitsOf(&manifest.CardRules{Least: least, Most: most})
	}
	assert.Equal(t, limits(2e9, 2e9), layout.Cards[0].Limits)
	assert.Equal(t, limits(4e9, 32e9), layout.Cards[1].Limits)
	// of the sizes at hand, a card is filled only with what reads it
	layout, plan := shop.Lay(1e9, 4e9)
	assert.Equal(t, []int{1, 2, 2}, []int{plan.Steps[0].Card, plan.Steps[1].Card, plan.Steps[2].Card})
	assert.Equal(t, limits(4e9, 8e9), layout.Cards[1].Limits)
	assert.Contains(t, unplaced(t, shop, 16e9).Reason, "use a smaller card")
	assert.Equal(t, 3, unplaced(t, shop, 2e9).Step)
}

// What one card has no room for goes on several; what no card has room for is
// reported with both sizes.
func TestSeveralCardsForWantOfRoom(t *testing.T) {
	shop := shoptest.New(t, "")
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	for i := range 5 {
		id := fmt.Sprint("d", i)
		shop.Device(id, "fennick-plot-12")
		shop.Step(id, "1", "", shoptest.Named("a", 20<<20, byte(i)))
	}
	layout, plan := shop.Lay(64 << 20)
	assert.Equal(t, []int{2, 2, 1}, []int{len(layout.Cards[0].Files), len(layout.Cards[1].Files), len(layout.Cards[2].Files)})
	for i, c := range layout.Cards {
		assert.Equal(t, [2]int{i + 1, 3}, [2]int{c.Number, c.Of})
		assert.LessOrEqual(t, plan.Cards[i].Needed, int64(64<<20))
	}
	layout, _ = shop.Lay(64<<20, 256<<20)
	assert.Equal(t, []int{2, 3}, []int{len(layout.Cards[0].Files), len(layout.Cards[1].Files)})
	layout, _ = shop.Lay(256 << 20)
	assert.Len(t, layout.Cards, 1)
	shop.Step("d3", "2", "", shoptest.Named("a", 40<<20, 1))
	u := unplaced(t, shop, 44<<20)
	assert.Equal(t, 6, u.Step)
	assert.Equal(t, "d3", u.Device)
	assert.Contains(t, u.Reason, "card too small")
	shop.Models[0].Card.Most = 45e6
	assert.Contains(t, unplaced(t, shop).Reason, "the largest that its device reads holds 43.2 MB")
}

// What can't be put on any card of ours says why.
func TestUnplaced(t *testing.T) {
	shop := shoptest.New(t, "")
	exfat := shoptest.AnyCard()
	exfat.FileSystems = []string{"exfat", "ntfs"}
	shop.Model("a", exfat)
	shop.Model("b", nil)
	shop.Device("a", "a")
	shop.Device("b", "b")
	shop.Step("a", "1", "", shoptest.Make("a", 1, 1))
	assert.Contains(t, unplaced(t, shop).Error(), "step 1 (a) fits on no card: its device reads exfat, ntfs")
	shop.Plan.Steps = nil
	shop.Step("b", "1", "", shoptest.Make("a", 1, 1))
	assert.Contains(t, unplaced(t, shop).Reason, "card slot")
	shop.Plan.Steps[0].Device = "nobody"
	assert.Error(t, func() error { _, _, err := media.Lay(shop.Shop, shop.Vessel, shop.Plan); return err }())
	shop.Plan.Steps = nil
	shop.Step("a", "2", "", shoptest.Make("a", 1, 1))
	shop.Plan.Steps[0].To = "3"
	exfat.FileSystems = []string{"fat32"}
	_, _, err := media.Lay(shop.Shop, shop.Vessel, shop.Plan)
	assert.ErrorContains(t, err, "no release 3")
}

// More files than a record may list are refused before anything is written.
func TestTooManyFiles(t *testing.T) {
	shop := shoptest.New(t, "")
	shop.Model("a", shoptest.AnyCard())
	shop.Device("a", "a")
	files := make([]shoptest.File, 25_000)
	for i := range files {
		files[i] = shoptest.File{Name: fmt.Sprintf("%05d/%s", i, strings.Repeat("n", 20)), Content: []byte{1}}
	}
	shop.Step("a", "1", "", files...)
	assert.Contains(t, unplaced(t, shop).Reason, "the record of 25000 files")
}

// Where files are laid doesn't change which plan it is, nor does laying change
// the plan that was given.
func TestLayingChangesNoPlan(t *testing.T) {
	shop := shoptest.Kittiwake(t, "")
	id := shop.Plan.ID()
	for _, sizes := range [][]int64{nil, {shoptest.Small}, {44 << 20}, {8e9, 4e9}} {
		layout, plan, err := media.Lay(shop.Shop, shop.Vessel, shop.Plan, sizes...)
		require.NoError(t, err)
		assert.Equal(t, id, plan.ID())
		assert.Equal(t, id, layout.PlanID)
		assert.Empty(t, shop.Plan.Steps[0].Folder)
		assert.Zero(t, shop.Plan.Steps[0].Card)
		again, _, err := media.Lay(shop.Shop, shop.Vessel, plan, sizes...)
		require.NoError(t, err)
		assert.Equal(t, layout, again)
	}
	shop.Vessel.Folders = manifest.FoldersByModel
	_, plan := shop.Lay()
	assert.Equal(t, id, plan.ID())
}

// Labels are what a FAT label can be (FAT32 specification: 11 characters, none
// of those that no short name has), whatever a vessel is called.
func TestLabels(t *testing.T) {
	for name, want := range map[string][2]string{
		"Kittiwake":             {"KITTIWAKE", "KITTIWAKE 2"},
		"Skerry Light":          {"SKERRY LIGH", "SKERRY LI 2"},
		"Morven Rose II":        {"MORVEN ROSE", "MORVEN RO 2"},
		"A very small vessel":   {"A VERY SMAL", "A VERY SM 2"},
		"Ærø":                   {"R", "R 2"},
		"日本":                    {"CARD", "CARD 2"},
		"  \x1b[2J.*\"/:|\\?<>": {"2J", "2J 2"},
		"":                      {"CARD", "CARD 2"},
		"1234567890 x":          {"1234567890", "123456789 2"},
	} {
		for i, room := range []int64{1 << 30, 44 << 20} {
			shop := shoptest.New(t, "")
			shop.Vessel.Name = name
			shop.Model("m", shoptest.AnyCard())
			for d := range 2 {
				id := fmt.Sprint("d", d)
				shop.Device(id, "m")
				shop.Step(id, "1", "", shoptest.Named("a", 20<<20, byte(d)))
			}
			layout, _ := shop.Lay(room)
			require.Len(t, layout.Cards, i+1)
			assert.Equal(t, want[i], layout.Cards[i].Label)
			for _, n := range []int{1, 2} {
				if n <= len(layout.Cards) {
					_, err := shop.Job(n, room).Prepare(room)
					assert.NoError(t, err, "%q", name)
				}
			}
		}
	}
}

func TestVolumeText(t *testing.T) {
	assert.Equal(t, "0000-0000", media.VolumeText(0))
	assert.Equal(t, "1A2B-3C4D", media.VolumeText(0x1A2B3C4D))
	assert.Equal(t, "FFFF-FFFF", media.VolumeText(math.MaxUint32))
}

// visit is a random visit of few steps: which package each device gets, with
// which rules.
type visit struct {
	devices []visited
}

type visited struct {
	rules int
	name  string
	tens  int64 // of MiB
	seed  byte
}

// The kinds of card rules in random visits.
var visitRules = []func(r *manifest.CardRules){
	func(*manifest.CardRules) {},
	func(r *manifest.CardRules) { r.Folder = "/" },
	func(r *manifest.CardRules) { r.Folder, r.AtPowerUp = "/", true },
	func(r *manifest.CardRules) { r.Folder, r.Alone = "/", true },
	func(r *manifest.CardRules) { r.AtPowerUp = true },
}

var visits = rapid.Custom(func(t *rapid.T) visit {
	return visit{rapid.SliceOfN(rapid.Custom(func(t *rapid.T) visited {
		return visited{
			rules: rapid.IntRange(0, len(visitRules)-1).Draw(t, "rules"), name: rapid.SampledFrom([]string{"a", "b"}).Draw(t, "name"),
			tens: rapid.Int64Range(1, 5).Draw(t, "tens"), seed: rapid.ByteRange(0, 1).Draw(t, "seed"),
		}
	}), 1, 6).Draw(t, "devices")}
})

// room is what the cards of a visit hold, in tens of MiB; their size leaves
// half of ten for everything else.
const visitRoom = 8

const visitBytes = (visitRoom*10 + 14) << 20

func (v visit) shop(t require.TestingT) *shoptest.Shop {
	shop := shoptest.New(t, "")
	for i, rule := range visitRules {
		rules := shoptest.AnyCard()
		rule(rules)
		shop.Model(fmt.Sprint("m", i), rules)
	}
	for i, d := range v.devices {
		id := fmt.Sprint("d", i)
		shop.Device(id, fmt.Sprint("m", d.rules)).Variant = fmt.Sprint(i) // a release of its own
		size := d.tens * 10 << 20
		shop.Plan.Steps = append(shop.Plan.Steps, order.Step{
			Number: i + 1, Device: id, Model: fmt.Sprint("m", d.rules), To: "2",
			Files: []digest.File{{Name: d.name, Size: size, SHA256: digest.SHA256(d.digest())}},
		})
		model := shop.Models[d.rules]
		model.Releases = append(model.Releases, &manifest.Release{
			Version: "2", Variant: fmt.Sprint(i),
			Files: []*manifest.File{{Name: d.name, Size: manifest.Size(size), SHA256: digest.SHA256(d.digest())}},
		})
	}
	return shop
}

// digest tells packages apart by everything that makes them different.
func (d visited) digest() string {
	return shoptest.Sum(fmt.Appendf(nil, "%s %d %d", d.name, d.tens, d.seed))
}

// mayShare tells, by the rules alone, whether these devices' packages can be
// on one card. It knows nothing of how they are laid out.
func (v visit) mayShare(devices []int) bool {
	at, ofModel := map[string]string{}, map[int]string{}
	var tens int64
	alone := 0
	for _, i := range devices {
		d := v.devices[i]
		rules := &manifest.CardRules{Folder: manifest.AnyFolder}
		visitRules[d.rules](rules)
		where := path.Join(map[bool]string{true: fmt.Sprint(i)}[rules.Folder == manifest.AnyFolder], d.name)
		if there, ok := at[where]; ok && there != d.digest() {
			return false
		} else if !ok {
			at[where] = d.digest()
			tens += d.tens
		}
		onlyOne := rules.AtPowerUp || rules.Folder != manifest.AnyFolder // a device finds all of its model that are there
		if other, ok := ofModel[d.rules]; onlyOne && ok && other != d.digest() {
			return false
		}
		ofModel[d.rules] = d.digest()
		if rules.Alone {
			alone++
		}
	}
	return tens <= visitRoom && (alone == 0 || alone == len(devices) && len(at) == 1)
}

// fewest tries every way to share cards: the fewest cards, and of those the
// fewest swaps from one step to the next.
func (v visit) fewest() (cards, swaps int) {
	cards = math.MaxInt
	var try func(groups [][]int, at []int)
	try = func(groups [][]int, at []int) {
		if i := len(at); i < len(v.devices) {
			for n := range len(groups) + 1 {
				next := append(slices.Clone(groups), nil)[:max(len(groups), n+1)]
				next[n] = append(slices.Clone(next[n]), i)
				if v.mayShare(next[n]) {
					try(next, append(slices.Clone(at), n))
				}
			}
			return
		}
		if n, s := len(groups), swapsOf(at); n < cards || n == cards && s < swaps {
			cards, swaps = n, s
		}
	}
	try(nil, nil)
	return cards, swaps
}

func swapsOf(at []int) (n int) {
	for i := 1; i < len(at); i++ {
		if at[i] != at[i-1] {
			n++
		}
	}
	return n
}

// No visit is laid out on more cards, or with more swaps, than the best of all
// ways has.
func TestFewestCards(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := visits.Draw(t, "visit")
		layout, plan := v.shop(t).Lay(visitBytes)
		var at []int
		groups := make([][]int, len(layout.Cards))
		for i, s := range plan.Steps {
			at = append(at, s.Card)
			groups[s.Card-1] = append(groups[s.Card-1], i)
		}
		for _, g := range groups {
			require.True(t, v.mayShare(g), "%v", g)
		}
		cards, swaps := v.fewest()
		require.Equal(t, [2]int{cards, swaps}, [2]int{len(layout.Cards), swapsOf(at)})
	})
}

// What takes a device back that installs at power-up is on a card of its own,
// and every card of a way back says what it is: in its label and in its record,
// which no build before this one takes for that of a card of updates.
func TestWayBackCards(t *testing.T) {
	shop := shoptest.New(t, "")
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	powers := shoptest.AnyCard()
	powers.AtPowerUp = true
	shop.Model("solveld-course-3", powers)
	shop.Device("helm", "fennick-plot-12")
	shop.Device("pilot", "solveld-course-3")
	shop.Step("helm", "3.1", "", shoptest.Make("plot12.upd", 10, 1))
	shop.Step("pilot", "5.0", "", shoptest.Make("course3.bin", 10, 2))
	layout, _ := shop.Lay()
	require.Len(t, layout.Cards, 1)
	assert.NotContains(t, string(encoded(t, layout, 0)), "way_back")

	shop.Plan.WayBack = true
	layout, plan := shop.Lay()
	require.Len(t, layout.Cards, 2)
	assert.Equal(t, []int{1, 2}, []int{plan.Steps[0].Card, plan.Steps[1].Card})
	for i, want := range []string{"WAY BACK 1", "WAY BACK 2"} {
		assert.Equal(t, want, layout.Cards[i].Label)
		text := string(encoded(t, layout, i))
		assert.Contains(t, text, `"format": 2`)
		r, err := media.DecodeRecord([]byte(text))
		require.NoError(t, err)
		assert.True(t, r.WayBack)
		_, err = media.DecodeRecord([]byte(strings.Replace(text, `"format": 2`, `"format": 1`, 1)))
		assert.ErrorContains(t, err, "format 1, expected 2")
	}
}

// encoded is a card's record, of files that nobody read.
func encoded(t *testing.T, l media.Layout, card int) []byte {
	r := l.Record(l.Cards[card])
	r.InstallOrder = media.NewRecordFile(media.InstallOrderPath, []byte("order"))
	for i := range r.Files {
		r.Files[i].Running = slices.Repeat([]digest.SHA256{r.Files[i].SHA256}, media.Blocks(r.Files[i].Size))
	}
	text, err := r.Encode()
	require.NoError(t, err)
	return text
}
