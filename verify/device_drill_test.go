package verify_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
	"cardwright/verify/sheet"
)

// drillCards is how many cards a random test changes: a few in the suite, as many
// as DRILL says in `make drill`.
func drillCards(t testing.TB, usual int) int {
	n, err := strconv.Atoi(os.Getenv("DRILL"))
	if os.Getenv("DRILL") == "" {
		return usual
	}
	require.NoError(t, err, "DRILL is a count of cards")
	return n
}

// visitCard is one card of a visit: what is on it, and what should be.
type visitCard struct {
	tree     *node
	expected *verify.Expected
	plan     order.Plan
	shop     *manifest.Shop
	vessel   *manifest.Vessel
	number   int
	steps    []string // folders of its steps that are chosen on a screen
	payload  []string
	atPower  bool
}

// drillShop has a display that takes two releases from any folder and passes
// one on, a pilot that takes two from a fixed folder, and a transponder that
// takes one from the root, at power-up where asked.
func drillShop(t testing.TB, vessel string, atPower bool) *shoptest.Shop {
	s := shoptest.New(t, t.TempDir())
	s.Vessel.ID, s.Vessel.Name, s.Plan.Vessel = vessel, vessel, vessel
	fixed, root := shoptest.AnyCard(), shoptest.AnyCard()
	fixed.Folder, root.Folder, root.AtPowerUp = "/update", "/", atPower
	s.Model("fennick-plot-12", shoptest.AnyCard())
	s.Model("fennick-sweep-2", nil)
	s.Model("solveld-course-3", fixed)
	s.Model("solveld-beacon-1", root)
	s.Device("flybridge", "fennick-plot-12")
	s.Device("radar", "fennick-sweep-2").Through = []string{"flybridge"}
	s.Device("pilot", "solveld-course-3")
	s.Device("ais", "solveld-beacon-1")
	s.Step("flybridge", "3.5", "", shoptest.Make("plot12-3.5.upd", 1700, 1))
	s.Step("radar", "1.8", "flybridge", shoptest.Make("sweep/firmware.img", 900, 1), shoptest.Make("sweep/table.bin", 30, 1))
	s.Step("flybridge", "4.0", "", shoptest.Make("plot12-4.0.upd", 2100, 1), shoptest.Make("skåp.dat", 20, 1))
	s.Step("pilot", "5.1", "", shoptest.Make("course-5.1.upd", 600, 1))
	s.Step("pilot", "5.2", "", shoptest.Make("course-5.2.upd", 700, 1))
	s.Step("ais", "1.6", "", shoptest.Make("kelvin.upd", 512, 1))
	return s
}

// cardsOf are the cards of a shop's plan, as they are written.
func cardsOf(t testing.TB, s *shoptest.Shop, atPower bool) (all []visitCard) {
	layout, plan := s.Lay(shoptest.Small)
	for n := range layout.Cards {
		made := sceneOf(t, s, n+1, shoptest.Small)
		e := made.planned()
		e.Limits = media.Limits{}
		e.Aboard = &verify.Aboard{Shop: s.Shop, Vessel: s.Vessel, Plan: plan, Card: n + 1}
		c := visitCard{tree: &node{dir: true}, expected: e, plan: plan, shop: s.Shop, vessel: s.Vessel, number: n + 1, atPower: atPower}
		for _, f := range made.layout.Files() {
			content := make([]byte, f.Size)
			_, err := made.card.ReadAt(content, f.Offset)
			require.NoError(t, err)
			c.tree.put(f.Path, content)
		}
		for _, f := range layout.Cards[n].Files {
			c.payload = append(c.payload, f.Path)
		}
		for _, step := range plan.Steps {
			if step.Card == n+1 && step.Model != "solveld-course-3" && step.Model != "solveld-beacon-1" {
				c.steps = append(c.steps, step.Folder)
			}
		}
		all = append(all, c)
	}
	return all
}

// drill changes cards.
type drill struct {
	rng   *rand.Rand
	card  visitCard
	root  *node
	how   built
	cards []visitCard // all that there are: another vessel's, an older plan's
	did   []string
}

// change is one thing that is done to a card. What no device depends on is
// harmless.
type change struct {
	name     string
	harmless bool
	do       func(d *drill)
}

func (d *drill) any(names []string) string { return names[d.rng.Intn(len(names))] }

// file is a file or folder of the card, and where it is.
func (d *drill) one(dir bool) (p string, parent, n *node) {
	type place struct {
		p         string
		parent, n *node
	}
	var all []place
	d.root.each(func(p string, parent, k *node) {
		if k.dir == dir && !strings.HasPrefix(p, "_card/") {
			all = append(all, place{p, parent, k})
		}
	})
	if len(all) == 0 {
		return "", d.root, &node{}
	}
	x := all[d.rng.Intn(len(all))]
	return x.p, x.parent, x.n
}

func (d *drill) folder() *node {
	if _, _, n := d.one(true); d.rng.Intn(4) > 0 && n.dir {
		return n
	}
	return d.root
}

// lookAlike is a name that some device takes for another.
func (d *drill) lookAlike(name string) string {
	swaps := []string{
		"k", "\u212a", "å", "\u212b", "å", "a\u030a", "s", "\u017f", "i", "\u0131", "I", "\u0130", "p", "P", "e", "E", "ä", "a\u0308", "u", "U",
	}
	for range 40 {
		i := 2 * d.rng.Intn(len(swaps)/2)
		if strings.Contains(name, swaps[i]) {
			return strings.Replace(name, swaps[i], swaps[i+1], 1)
		}
	}
	return strings.ToUpper(name)
}

var junkNames = []string{"notes.txt", "setup.exe", "x.upd", ".hidden", "plot12.upd", "track.gpx", "record.json.minisig", "record.json", "firmware.img", "autorun.inf", "Course-5.9.UPD"}

func (d *drill) junk() []byte {
	b := make([]byte, 1+d.rng.Intn(3000))
	d.rng.Read(b)
	return b
}

// add puts a file next to others, unless one of exactly that name is there.
func (d *drill) add(to *node, name string, content []byte) *node {
	if slices.ContainsFunc(to.kids, func(k *node) bool { return k.name == name }) {
		return &node{}
	}
	n := &node{name: name, content: content}
	to.kids = append(to.kids, n)
	return n
}

// free gives a folder a name that no other has.
func (d *drill) rename(parent, n *node, name string) {
	if name != "" && !slices.ContainsFunc(parent.kids, func(k *node) bool { return strings.EqualFold(k.name, name) && k != n }) {
		n.name, n.short = name, ""
	}
}

var changes = []change{
	{"a file moved", false, func(d *drill) {
		_, parent, n := d.one(false)
		to := d.folder()
		if n.name != "" && !slices.ContainsFunc(to.kids, func(k *node) bool { return k.name == n.name }) {
			parent.remove(n)
			to.kids = append(to.kids, n)
		}
	}},
	{"a folder moved into another", false, func(d *drill) {
		p, parent, n := d.one(true)
		q, _, to := d.one(true)
		if n.dir && to.dir && !strings.HasPrefix(q+"/", p+"/") && !slices.ContainsFunc(to.kids, func(k *node) bool { return k.name == n.name }) {
			parent.remove(n)
			to.kids = append(to.kids, n)
		}
	}},
	{"a file doubled", false, func(d *drill) {
		_, _, n := d.one(false)
		d.add(d.folder(), n.name+d.any([]string{"", "", ".bak", " (1)"}), n.content)
	}},
	{"a folder doubled", false, func(d *drill) {
		_, parent, n := d.one(true)
		c := n.copied()
		c.name = n.name + " copy"
		if n.dir {
			parent.kids = append(parent.kids, c)
		}
	}},
	{"two files exchanged", false, func(d *drill) {
		_, _, a := d.one(false)
		_, _, b := d.one(false)
		a.content, b.content = b.content, a.content
	}},
	{"two folders exchanged", false, func(d *drill) {
		_, _, a := d.one(true)
		_, _, b := d.one(true)
		a.kids, b.kids = slices.Clone(a.kids), slices.Clone(b.kids)
		if a.dir && b.dir && !slices.Contains(a.kids, b) && !slices.Contains(b.kids, a) && !d.inside(a, b) && !d.inside(b, a) {
			a.kids, b.kids = b.kids, a.kids
		}
	}},
	{"a look-alike beside a file", false, func(d *drill) { _, parent, n := d.one(false); d.add(parent, d.lookAlike(n.name), d.junk()) }},
	{"a look-alike with another release", false, func(d *drill) {
		_, parent, n := d.one(false)
		_, _, other := d.one(false)
		d.add(parent, d.lookAlike(n.name), other.content)
	}},
	{"a look-alike beside a folder", false, func(d *drill) {
		_, parent, n := d.one(true)
		if name := d.lookAlike(n.name); n.dir && name != n.name && !slices.ContainsFunc(parent.kids, func(k *node) bool { return k.name == name }) {
			parent.kids = append(parent.kids, &node{name: name, dir: true, kids: []*node{{name: d.any(junkNames), content: d.junk()}}})
		}
	}},
	{"a look-alike instead of a name", false, func(d *drill) { _, _, n := d.one(d.rng.Intn(3) == 0); n.name, n.short = d.lookAlike(n.name), "" }},
	{"junk in the record's folder", false, func(d *drill) { d.add(d.root.sub("_card"), d.any(junkNames), d.junk()) }},
	{"junk somewhere", false, func(d *drill) { d.add(d.folder(), d.any(junkNames), d.junk()) }},
	{"a folder in the record's folder", false, func(d *drill) { d.root.sub("_card").sub("more").put("x.upd", d.junk()) }},
	{"another card's record", false, func(d *drill) {
		other := d.cards[d.rng.Intn(len(d.cards))].tree.copied()
		d.root.remove(d.root.sub("_card"))
		d.root.kids = append(d.root.kids, other.sub("_card"))
	}},
	{"another card", false, func(d *drill) { d.root = d.cards[d.rng.Intn(len(d.cards))].tree.copied() }},
	{"another card's package as well", false, func(d *drill) {
		other := d.cards[d.rng.Intn(len(d.cards))]
		p := d.any(other.payload)
		other.tree.each(func(q string, _, k *node) {
			if q == p {
				d.add(d.folder(), k.name, k.content)
			}
		})
	}},
	{"a byte of a file", false, func(d *drill) {
		if _, _, n := d.one(false); len(n.content) > 0 {
			n.content = slices.Clone(n.content)
			n.content[d.rng.Intn(len(n.content))] ^= 1
		}
	}},
	{"a file cut short", false, func(d *drill) { _, _, n := d.one(false); n.content = n.content[:d.rng.Intn(len(n.content)+1)] }},
	{"a file deleted", false, func(d *drill) { _, parent, n := d.one(false); parent.remove(n) }},
	{"a short name that is a wanted name", false, func(d *drill) {
		_, parent, n := d.one(false)
		taken := map[string]bool{}
		d.add(parent, "Anything at all.txt", d.junk()).short = aliasOf(n.name, taken)
		n.short = ""
	}},
	{"a package behind a folder's end", false, func(d *drill) {
		f := d.folder()
		_, _, n := d.one(false)
		f.behind = append(f.behind, &node{name: d.any([]string{n.name, "old.upd", "kelvin.upd"}), content: n.content})
	}},
	{"a folder behind the end of the root", false, func(d *drill) {
		_, _, n := d.one(true)
		c := n.copied()
		c.name, c.dir = d.any([]string{"update", "UPDATE", "old", n.name}), true
		d.root.behind = append(d.root.behind, c)
	}},

	// What no device depends on.
	{"a folder renamed that is chosen on the screen", true, func(d *drill) {
		if len(d.card.steps) > 0 {
			d.root.each(func(p string, parent, k *node) {
				if k.dir && slices.Contains(d.card.steps, p) {
					d.rename(parent, k, d.any([]string{"new", "Take this one", "01", "ß", "плоттер"}))
					d.card.steps = slices.DeleteFunc(slices.Clone(d.card.steps), func(s string) bool { return s == p })
				}
			})
		}
	}},
	{"a name in other letter case", true, func(d *drill) {
		_, parent, n := d.one(d.rng.Intn(2) == 0)
		d.rename(parent, n, strings.ToUpper(n.name))
	}},
	{"boot code with texts", true, func(d *drill) { d.how.bootText = 1 + d.rng.Intn(2) }},
	{"another number in the boot sector", true, func(d *drill) { d.how.serial = true }},
	{"another name in the boot sector", true, func(d *drill) { d.how.oem = true }},
	{"no partition table", true, func(d *drill) { d.how.bare = true }},
	{"a wrong count of free clusters", true, func(d *drill) { d.how.freeWrong = true }},
	{"not taken out cleanly", true, func(d *drill) { d.how.dirty = true }},
	{"lost clusters", true, func(d *drill) { d.how.lost = true }},
	{"hidden sectors", true, func(d *drill) { d.how.hidden = true }},
	{"a label in the root folder", true, func(d *drill) { d.how.label = true }},
	{"files in pieces", true, func(d *drill) { d.how.scatter = rand.New(rand.NewSource(d.rng.Int63())) }},
	{"entries in another order", true, func(d *drill) {
		d.root.each(func(_ string, _, k *node) {
			d.rng.Shuffle(len(k.kids), func(i, j int) { k.kids[i], k.kids[j] = k.kids[j], k.kids[i] })
		})
		d.rng.Shuffle(len(d.root.kids), func(i, j int) { d.root.kids[i], d.root.kids[j] = d.root.kids[j], d.root.kids[i] })
	}},
	{"read-only", true, func(d *drill) { _, _, n := d.one(false); n.attr |= 1 }},
	{"a photo behind a folder's end", true, func(d *drill) {
		if f := d.folder(); !d.card.atPower {
			f.behind = append(f.behind, &node{name: "IMG_0001.JPG", content: make([]byte, 1234)})
		}
	}},
	{"what a computer leaves", true, func(d *drill) {
		if !d.card.atPower {
			d.root.put("System Volume Information/WPSettings.dat", []byte("123456789012"))
		}
	}},
	{"no record", true, func(d *drill) { d.root.remove(d.root.sub("_card")) }},
}

func (d *drill) inside(a, b *node) (found bool) {
	a.each(func(_ string, _, k *node) { found = found || k == b })
	return found
}

// card draws the next card: one to three changes, often harmless ones alone.
func (d *drill) next() (harmless bool) {
	d.root, d.how, d.did = d.card.tree.copied(), built{}, nil
	onlyHarmless := d.rng.Intn(3) == 0
	harmless = true
	for range 1 + d.rng.Intn(3) {
		c := changes[d.rng.Intn(len(changes))]
		for onlyHarmless && !c.harmless {
			c = changes[d.rng.Intn(len(changes))]
		}
		c.do(d)
		harmless = harmless && c.harmless
		d.did = append(d.did, c.name)
	}
	return harmless
}

// drillScene is every card that there is to be changed.
func drillScene(t testing.TB) (drilled, all []visitCard) {
	ours, power := drillShop(t, "kittiwake", false), drillShop(t, "kittiwake", true)
	older := drillShop(t, "kittiwake", false)
	older.Plan.Steps = older.Plan.Steps[:4]
	drilled = append(cardsOf(t, ours, false), cardsOf(t, power, true)...)
	all = append(slices.Clone(drilled), cardsOf(t, drillShop(t, "morven-rose", false), false)...)
	return drilled, append(all, cardsOf(t, older, false)...)
}

// digestsOf are the releases that a shop's catalogue knows.
func digestsOf(s *manifest.Shop) map[string]string {
	all := map[string]string{}
	for _, m := range s.Models {
		for _, r := range m.Releases {
			for _, f := range r.Files {
				all[string(f.SHA256)] = m.ID + " " + string(r.Version)
			}
		}
	}
	return all
}

// whatDevicesSee reads a card as devices do; what was put behind folders' ends
// is known from the making of it, as go-diskfs stops there.
func whatDevicesSee(t testing.TB, c visitCard, root *node, card memoryDrive, start int64) *device {
	seen := &device{plan: c.plan, card: c.number, shop: c.shop, boat: c.vessel, names: digestsOf(c.shop)}
	require.NoError(t, seen.read(card, start, card.size))
	add := func(above string, n *node) {
		for _, k := range n.behind {
			seen.files = append(seen.files, behindOf(above, k)...)
		}
	}
	add("", root)
	root.each(func(p string, _, k *node) { add(p, k) })
	return seen
}

func behindOf(above string, n *node) (all []shown) {
	p := path.Join(above, n.name)
	all = append(all, shown{path: p, dir: n.dir, behind: true, sum: shoptest.Sum(n.content), size: int64(len(n.content))})
	for _, k := range append(slices.Clone(n.kids), n.behind...) {
		all = append(all, behindOf(p, k)...)
	}
	return all
}

// Of cards changed by their structure, those that are called good are such that
// every device finds exactly what its step is for, and nothing else that it
// could take; and none that devices would take rightly is called bad for what
// no device depends on.
func TestDevicesTakeWhatIsGood(t *testing.T) {
	drilled, all := drillScene(t)
	count := drillCards(t, 250)
	told := map[string]int{}
	const shards = 2
	for shard := range shards {
		rng := rand.New(rand.NewSource(int64(1 + shard)))
		for range count / shards {
			d := &drill{rng: rng, card: drilled[rng.Intn(len(drilled))], cards: all}
			harmless := d.next()
			card, start := build(t, d.root, d.how)
			r := judge(card, d.card.expected)
			trouble := whatDevicesSee(t, d.card, d.root, memoryDrive{card, card.Bytes()}, start).trouble(r)
			told[string(r.Verdict)]++
			if trouble != "" {
				told["not for this visit, by the devices"]++
			}
			switch {
			case r.Verdict == verify.Good && trouble != "":
				told["called good, and isn't"]++
				assert.Fail(t, "called good, and isn't", "%q on card %d: %s\n%s", d.did, d.card.number, trouble, toldOf(r))
			case r.Verdict == verify.Bad && trouble == "" && harmless:
				told["called bad for nothing"]++
				assert.Fail(t, "called bad for what no device depends on", "%q on card %d\n%s", d.did, d.card.number, toldOf(r))
			case r.Verdict == verify.Bad && trouble == "":
				told["bad by more than what devices take"]++
			}
		}
	}
	t.Logf("%d cards: %v", count, told)
	assert.Greater(t, told["good"], count/10)
	assert.Greater(t, told["bad"], count/3)
}

func toldOf(r verify.Report) string {
	text := told(r)
	return fmt.Sprintf("%.1500s", text)
}

// The model finds what is wrong with cards that were once called good: else
// nothing that it agrees with would prove anything.
func TestDevicesFindWhatIsWrong(t *testing.T) {
	drilled, all := drillScene(t)
	for name, c := range map[string]func(root *node){
		"two releases in one folder": func(root *node) {
			root.put("01-flybridge/3.5/plot12-4.0.upd", contentAt(drilled[0], "01-flybridge/4.0/plot12-4.0.upd"))
		},
		"a look-alike by its small letters": func(root *node) { root.put("\u212aelvin.upd", []byte("x")) },
		"a letter and its accent":           func(root *node) { root.put("01-flybridge/4.0/ska\u030ap.dat", []byte("x")) },
		"a program for a signature":         func(root *node) { root.put("_card/record.json.minisig", []byte("MZ")) },
		"a package behind the end":          func(root *node) { root.behind = []*node{{name: "new.upd", content: []byte("x")}} },
		"another's record": func(root *node) {
			root.remove(root.sub("_card"))
			root.kids = append(root.kids, all[len(drilled)].tree.copied().sub("_card"))
		},
	} {
		c0 := drilled[0]
		if strings.HasPrefix(name, "a look-alike") || strings.HasSuffix(name, "behind the end") { // of what the transponder takes from the root
			c0 = drilled[slices.IndexFunc(drilled, func(c visitCard) bool { return slices.Contains(c.payload, "kelvin.upd") })]
		}
		root := c0.tree.copied()
		card, start := build(t, root, built{})
		good := judge(card, c0.expected)
		require.Equal(t, verify.Good, good.Verdict, told(good))
		require.Empty(t, whatDevicesSee(t, c0, root, memoryDrive{card, card.Bytes()}, start).trouble(good))
		c(root)
		card, start = build(t, root, built{})
		assert.NotEmpty(t, whatDevicesSee(t, c0, root, memoryDrive{card, card.Bytes()}, start).trouble(good), name)
		assert.Equal(t, verify.Bad, judge(card, c0.expected).Verdict, name)
	}
}

func contentAt(c visitCard, want string) (content []byte) {
	c.tree.each(func(p string, _, k *node) {
		if p == want {
			content = k.content
		}
	})
	return content
}

// shopOfSmallCards takes cards of any size.
func shopOfSmallCards() map[string]string {
	all := changed("catalogue/solveld-beacon-1.yaml", "least: 4GB", "least: 20MB")
	for name, text := range changed("catalogue/fennick-plot-9.yaml", "least: 4GB", "least: 20MB") {
		all[name] = text
	}
	return all
}

// writtenCard is the first card of a vessel's plan, as the command writes it.
func writtenCard(t testing.TB, shop *manifest.Shop, id string) visitCard {
	layout, plan := corpusPlan(t, shop, id, shoptest.Small)
	made, err := sheet.Make(sheet.Input{Shop: shop, Vessel: shop.Vessel(id), Plan: plan, SeaTrial: "cardwright seatrial"})
	require.NoError(t, err)
	s := &scene{t: t, job: media.Job{
		Layout: layout, Card: layout.Cards[0], Packages: media.PackagesOf(shop), InstallOrder: []byte(sheet.Text(made)),
	}}
	s.write(shoptest.Small)
	e := s.planned()
	e.Aboard = &verify.Aboard{Shop: shop, Vessel: shop.Vessel(id), Plan: plan, Card: 1}
	c := visitCard{tree: &node{dir: true}, expected: e, plan: plan, shop: shop, vessel: shop.Vessel(id), number: 1}
	for _, f := range s.layout.Files() {
		content := make([]byte, f.Size)
		_, err := s.card.ReadAt(content, f.Offset)
		require.NoError(t, err)
		c.tree.put(f.Path, content)
	}
	for _, f := range layout.Cards[0].Files {
		c.payload = append(c.payload, f.Path)
	}
	for _, step := range plan.Steps {
		if step.Folder != "" {
			c.steps = append(c.steps, step.Folder)
		}
	}
	return c
}

// The real command judges changed cards in readers, for which loop drives
// stand, as they are judged in memory; and what it calls good, devices take.
func TestDevicesOnDrives(t *testing.T) {
	files := shopOfSmallCards()
	shop := corpusShopWith(t, files)
	command, err := builtCommand()
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, os.DirFS(corpusShop)))
	for name, text := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	ours := writtenCard(t, shop, "kittiwake")
	d := &drill{rng: rand.New(rand.NewSource(5)), card: ours, cards: []visitCard{ours}}
	verdicts, image := map[verify.Verdict]int{}, filepath.Join(dir, "card.img")
	for range min(100, drillCards(t, 3)) {
		d.next()
		card, start := build(t, d.root, d.how)
		content := make([]byte, builtBytes)
		_, err := card.ReadAt(content, 0)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(image, content, 0o600))
		want := judge(card, ours.expected)
		var got verify.Report
		loop := strings.TrimSpace(outside(t, "", "losetup", "-f", "--show", "-r", image))
		cmd := exec.Command(command, "--shop", dir, "verify", loop, "--for", "kittiwake", "--json")
		cmd.Env = append(os.Environ(), "XDG_CONFIG_HOME="+dir)
		out, err := cmd.Output()
		outside(t, "", "losetup", "-d", loop)
		var exit *exec.ExitError
		require.True(t, err == nil || errors.As(err, &exit), "%v", err)
		require.NoError(t, json.Unmarshal(out, &got), "%s", out)
		verdicts[got.Verdict]++
		notFromMedium := func(f verify.Finding) bool { return f.Kind == verify.NotFromMedium } // a loop drive answers from the image's cache
		read := slices.ContainsFunc(got.Findings, notFromMedium)
		got.Findings = slices.DeleteFunc(got.Findings, notFromMedium)
		assert.Equal(t, kindsOf(want), kindsOf(got), "%q", d.did)
		assert.True(t, got.Verdict == want.Verdict || read && want.Verdict == verify.Good && got.Verdict == verify.Unchecked, "%q: %s", d.did, toldOf(got))
		if got.Verdict != verify.Bad {
			assert.Empty(t, whatDevicesSee(t, ours, d.root, memoryDrive{card, builtBytes}, start).trouble(want), "%q: %s", d.did, toldOf(got))
		}
	}
	t.Logf("on drives: %v", verdicts)
}
