package verify_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/keys"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

func newKey(t testing.TB) keys.Key {
	key, err := keys.New(filepath.Join(t.TempDir(), "key"))
	require.NoError(t, err)
	return key
}

// signedScene is a good card, signed.
func signedScene(t testing.TB, shop *shoptest.Shop, key keys.Key) *scene {
	s := &scene{t: t, shop: shop, job: shop.Job(1)}
	s.job.Sign = key.Sign
	s.write(shoptest.Small)
	return s
}

// byItself is what a card signed by one of these keys says of itself.
func byItself(trusted ...keys.Key) *verify.Expected {
	e := &verify.Expected{FromRecord: true}
	for _, k := range trusted {
		e.Trusts = append(e.Trusts, &manifest.Trust{Shop: "Hollin Quay Marine Electrics", Key: k.Public()})
	}
	return e
}

// A card that a trusted shop signed is judged by its own record; by a record
// that nobody trusted has signed, nothing is.
func TestSignedCards(t *testing.T) {
	ours, theirs := newKey(t), newKey(t)
	shop := shoptest.Kittiwake(t, t.TempDir())
	s, unsigned := signedScene(t, shop, ours), sceneOf(t, shop, 1, shoptest.Small)

	r := judge(s.card, byItself(theirs, ours))
	assert.Equal(t, verify.Good, r.Verdict, told(r))
	require.Len(t, found(r, verify.Signed), 1)
	assert.Contains(t, found(r, verify.Signed)[0].Found, "Hollin Quay Marine Electrics")
	assert.Equal(t, len(s.job.Card.Files), r.Counts.FilesMatching)

	r = judge(s.card, byItself(theirs))
	assert.Equal(t, verify.Unchecked, r.Verdict, told(r))
	assert.Len(t, found(r, verify.SignerUnknown), 1)
	assert.Len(t, found(r, verify.NothingExpected), 1)

	r = judge(unsigned.card, byItself(ours))
	assert.Equal(t, verify.Unchecked, r.Verdict, told(r))
	assert.Len(t, found(r, verify.Unsigned), 1)

	must := s.planned()
	must.Trusts, must.Signed = byItself(ours).Trusts, true
	assert.Equal(t, verify.Good, judge(s.card, must).Verdict)
	assert.Equal(t, verify.Bad, judge(unsigned.card, must).Verdict)
	must.Trusts = byItself(theirs).Trusts
	assert.Equal(t, verify.Bad, judge(s.card, must).Verdict)
}

// A signed card's own record shows what was done to it.
func TestSignedCardsThatWereAltered(t *testing.T) {
	key := newKey(t)
	s := signedScene(t, shoptest.Kittiwake(t, t.TempDir()), key)
	dir := hand(t)
	other := shoptest.Kittiwake(t, t.TempDir())
	other.Vessel.Name = "Morven Rose"
	require.NoError(t, os.WriteFile(filepath.Join(dir, "other.minisig"), []byte(contentOf(t, signedScene(t, other, key), media.SignaturePath)), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "renamed.json"),
		[]byte(strings.Replace(contentOf(t, s, media.RecordPath), `"Kittiwake"`, `"Morven Rose"`, 1)), 0o600))
	for name, c := range map[string]struct {
		hand    []string
		kind    verify.Kind
		verdict verify.Verdict
	}{
		"a file added":               {[]string{"mcopy", "photo.jpg", "::"}, verify.ExtraFile, verify.Bad},
		"a file deleted":             {[]string{"mdel", "::" + plot}, verify.MissingFile, verify.Bad},
		"a file exchanged":           {[]string{"mcopy", "-o", "short.bin", "::" + plot}, verify.SizeDiffers, verify.Bad},
		"another install order":      {[]string{"mcopy", "-o", "order.txt", "::_card/install-order.txt"}, verify.OrderAltered, verify.Bad},
		"the sums emptied":           {[]string{"mcopy", "-o", "empty", "::_card/SHA256SUMS"}, verify.SumsAltered, verify.Bad},
		"the record altered":         {[]string{"mcopy", "-o", "renamed.json", "::_card/record.json"}, verify.SumsAltered, verify.Bad},
		"another record's signature": {[]string{"mcopy", "-o", "other.minisig", "::_card/record.json.minisig"}, verify.SignerUnknown, verify.Unchecked},
		"no signature":               {[]string{"mdel", "::_card/record.json.minisig"}, verify.Unsigned, verify.Unchecked},
		"the signature emptied":      {[]string{"mcopy", "-o", "empty", "::_card/record.json.minisig"}, verify.Unsigned, verify.Unchecked},
		"no record":                  {[]string{"mdel", "::_card/record.json"}, verify.NothingExpected, verify.Unchecked},
	} {
		r := judge(s.byHand(dir, c.hand), byItself(key))
		assert.Equal(t, c.verdict, r.Verdict, "%s: %s", name, told(r))
		assert.NotEmpty(t, found(r, c.kind), "%s: %s", name, told(r))
	}
}

func contentOf(t testing.TB, s *scene, path string) string {
	content := make([]byte, s.size(path))
	_, err := s.card.ReadAt(content, s.place(path))
	require.NoError(t, err)
	return string(content)
}

// No bit of a signed card's files can be flipped so that it is still good by
// its own word.
func TestAnyFlippedBitOfASignedCard(t *testing.T) {
	key := newKey(t)
	s := signedScene(t, shoptest.Kittiwake(t, t.TempDir()), key)
	expected := byItself(key)
	rapid.Check(t, func(t *rapid.T) {
		path := rapid.SampledFrom([]string{
			media.RecordPath, media.SignaturePath, media.SumsPath, media.InstallOrderPath, plot, "03-pilot/course/rudder.bin",
		}).Draw(t, "file")
		m := s.copy()
		s.flip(m, s.place(path)+rapid.Int64Range(0, s.size(path)-1).Draw(t, "byte"), 1<<rapid.IntRange(0, 7).Draw(t, "bit"))
		r := judge(m, expected)
		require.NotEqual(t, verify.Good, r.Verdict, told(r))
	})
}

// A signed install order in other words than today's is no fault of the card;
// the same without a signature is.
func TestInstallOrderInOtherWords(t *testing.T) {
	key := newKey(t)
	s := signedScene(t, shoptest.Kittiwake(t, t.TempDir()), key)
	e := s.planned()
	text := []byte("Install order, in the words of a later edition\n")
	e.Record.InstallOrder = media.NewRecordFile(media.InstallOrderPath, text)
	assert.Equal(t, verify.Bad, judge(s.card, e).Verdict)
	e.Trusts = byItself(key).Trusts
	r := judge(s.card, e)
	assert.Equal(t, verify.Good, r.Verdict, told(r))
	assert.Len(t, found(r, verify.OtherWording), 1)
}

// A signed card of a plan that isn't today's is reported as such.
func TestSupersededCards(t *testing.T) {
	key := newKey(t)
	shop := shoptest.New(t, t.TempDir())
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	shop.Device("flybridge", "fennick-plot-12")
	shop.Step("flybridge", "4.0-12", "", shoptest.Make("plot12.upd", 1000, 1))
	var err error
	shop.Plan, err = order.Make(shop.Shop, shop.Vessel)
	require.NoError(t, err)
	shop.Vessels = append(shop.Vessels, shop.Vessel)
	s := signedScene(t, shop, key)
	e := byItself(key)
	e.Aboard = &verify.Aboard{Shop: shop.Shop}
	r := judge(s.card, e)
	assert.Equal(t, verify.Good, r.Verdict, told(r))
	assert.Empty(t, found(r, verify.Superseded))
	shop.Vessel.Devices[0].Version = "4.0-12"
	r = judge(s.card, e)
	assert.Equal(t, verify.Good, r.Verdict, told(r))
	assert.Len(t, found(r, verify.Superseded), 1)
}

// A known package for a variant that no device aboard is.
func TestPackageOfAnotherVariant(t *testing.T) {
	shop := shoptest.Kittiwake(t, t.TempDir())
	s := sceneOf(t, shop, 1, shoptest.Small)
	north := shoptest.Make("north.upd", 5000, 1)
	shop.Models[0].Releases = append(shop.Models[0].Releases, &manifest.Release{
		Version: "4.0-12", Variant: "north",
		Files: []*manifest.File{{Name: north.Name, Size: 5000, SHA256: digest.Of(north.Content)}},
	})
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, north.Name), north.Content, 0o600))
	e := s.planned()
	_, plan := shop.Lay()
	e.Aboard = &verify.Aboard{Shop: shop.Shop, Vessel: shop.Vessel, Plan: plan, Card: 1}
	r := judge(s.byHand(dir, []string{"mcopy", "north.upd", "::"}), e)
	assert.Equal(t, verify.Bad, r.Verdict)
	all := found(r, verify.OtherVariant)
	require.Len(t, all, 1, told(r))
	assert.Equal(t, "north.upd", all[0].Path)
}

// The list of kinds is closed, and each kind in it is looked for by a test of
// this package: a kind that no card brings about is none.
func TestEveryKindHasATest(t *testing.T) {
	text, err := os.ReadFile("findingkinds.go")
	require.NoError(t, err)
	declared := regexp.MustCompile(`(?m)^\t(\w+) +Kind += "([a-z-]+)"`).FindAllStringSubmatch(string(text), -1)
	require.Len(t, declared, len(verify.Kinds))
	files, err := filepath.Glob("*_test.go")
	require.NoError(t, err)
	var tests strings.Builder
	for _, f := range files {
		content, err := os.ReadFile(f)
		require.NoError(t, err)
		tests.Write(content)
	}
	for _, d := range declared {
		assert.Contains(t, verify.Kinds, verify.Kind(d[2]))
		if !regexp.MustCompile(`verify\.` + d[1] + `\b|"(stop|warn|note) ` + d[2] + `[" ]`).MatchString(tests.String()) {
			t.Errorf("no test holds a card to %s", d[1])
		}
	}
}

// Something in the signature's place that can be none is reported, and no card is
// good with it.
func TestNoSignatureInItsPlace(t *testing.T) {
	s := newScene(t)
	for _, c := range [][]string{{"mcopy", "big.bin", "::" + media.SignaturePath}, {"mmd", "::" + media.SignaturePath}} {
		r := judge(s.byHand(hand(t), c), s.planned())
		assert.Equal(t, verify.Bad, r.Verdict, told(r))
		assert.Len(t, found(r, verify.SignerUnknown), 1, told(r))
	}
}

// A vessel that was renamed has the cards that she had: her name on one is an earlier
// one, whether it is signed or not, and nothing else about it may differ.
func TestCardsOfAVesselThatWasRenamed(t *testing.T) {
	key := newKey(t)
	s := signedScene(t, shoptest.Kittiwake(t, t.TempDir()), key)
	e := s.planned()
	e.Record = e.Record.Named("Kitty Wake")
	for _, trusts := range [][]*manifest.Trust{nil, byItself(key).Trusts} {
		e.Trusts = trusts
		r := judge(s.card, e)
		assert.Equal(t, verify.Good, r.Verdict, told(r))
		if f := found(r, verify.EarlierName); assert.Len(t, f, 1) {
			assert.Equal(t, "Kitty Wake", f[0].Expected)
			assert.Equal(t, "Kittiwake", f[0].Found)
		}
	}
	e.Record.Label = "KW 1OF1"
	assert.Equal(t, verify.Good, judge(s.card, e).Verdict, "the label goes with the name")
	e.Record.Shop = "Another"
	assert.Equal(t, verify.Bad, judge(s.card, e).Verdict)
}
