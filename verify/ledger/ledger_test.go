package ledger_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	debian "pault.ag/go/debian/version"
	"pgregory.net/rapid"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/ledgertest"
)

// The judge of the canonical form is another implementation of RFC 8785.
func TestCanonicalFormIsThatOfRFC8785(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := statements.Draw(t, "statement")
		content, err := s.Canonical()
		require.NoError(t, err)
		judged, err := jcs.Transform(content)
		require.NoError(t, err)
		assert.Equal(t, string(judged), string(content))
	})
}

func TestParseReadsBackWhatCanonicalWrote(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := statements.Draw(t, "statement")
		content, err := s.Canonical()
		require.NoError(t, err)
		again, err := ledger.Parse(content)
		require.NoError(t, err)
		assert.Equal(t, s, again)
	})
}

func TestParseRefusesAnyOtherSpelling(t *testing.T) {
	s := statement()
	content, err := s.Canonical()
	require.NoError(t, err)
	text := string(content)
	for name, other := range map[string]string{
		"space":         strings.Replace(text, ":", ": ", 1),
		"trailing text": text + "{}",
		"line end":      text + "\n",
		"unknown key":   strings.Replace(text, `{"chain"`, `{"a":1,"chain"`, 1),
		"repeated key":  strings.Replace(text, `"format":1`, `"format":1,"format":1`, 1),
		"other case":    strings.Replace(text, `"format"`, `"Format"`, 1),
		"escape":        strings.Replace(text, "Hollin", `\u0048ollin`, 1),
		"number":        strings.Replace(text, `"seq":2`, `"seq":2.0`, 1),
		"empty field":   strings.Replace(text, `"kind"`, `"berth":"","kind"`, 1),
		"time zone":     strings.Replace(text, "08:00:00Z", "10:00:00+02:00", 1),
		"half a second": strings.Replace(text, "08:00:00Z", "08:00:00.5Z", 1),
		"not UTF-8":     strings.Replace(text, "Hollin", "H\xffllin", 1),
		"null":          "null",
		"nothing":       "",
		"deep":          strings.Repeat("[", 1000),
		"newer format":  strings.Replace(text, `"format":1`, `"format":2`, 1),
	} {
		t.Run(name, func(t *testing.T) {
			require.NotEqual(t, text, other)
			_, err := ledger.Parse([]byte(other))
			assert.Error(t, err)
		})
	}
}

func FuzzParse(f *testing.F) {
	s := statement()
	content, err := s.Canonical()
	require.NoError(f, err)
	f.Add(content)
	f.Fuzz(func(t *testing.T, content []byte) {
		s, err := ledger.Parse(content)
		if err != nil {
			return
		}
		again, err := s.Canonical()
		require.NoError(t, err)
		require.Equal(t, content, again, "what is accepted has one spelling")
	})
}

func statement() ledger.Statement {
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	return ledger.Statement{
		Chain: strings.Repeat("c", 32), Format: ledger.Format, Seq: 2, Prev: strings.Repeat("0", 64),
		Shop: "Hollin Quay Marine Electrics", Technician: "Ada", Writer: strings.Repeat("a", 64), Written: at,
		Entry: ledger.Entry{At: at, Kind: ledger.StepDone, Vessel: "kittiwake", Step: &ledger.Step{
			Device: ledger.Device{ID: "radar", Model: "fennick-sweep-2"}, Before: "1.6", After: "1.8",
		}},
	}
}

func key(t testing.TB) ed25519.PrivateKey {
	_, k, err := ed25519.GenerateKey(nil)
	require.NoError(t, err)
	return k
}

// The judge of the signature is OpenSSL (RFC 8032).
func TestOpenSSLVerifiesAnEvent(t *testing.T) {
	openssl, err := exec.LookPath("openssl")
	require.NoError(t, err, "install openssl: it judges the signatures")
	k := key(t)
	e, err := ledger.Sign(statement(), ledger.Key(k))
	require.NoError(t, err)
	dir := t.TempDir()
	der, err := x509.MarshalPKIXPublicKey(k.Public())
	require.NoError(t, err)
	file := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, data, 0o600))
		return path
	}
	public := file("key.pem", pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}))
	signature := file("signature", e.Signature)
	verify := func(message []byte) error {
		return exec.Command(openssl, "pkeyutl", "-verify", "-pubin", "-inkey", public, "-rawin",
			"-in", file("message", message), "-sigfile", signature).Run()
	}
	assert.NoError(t, verify(ledger.SignedMessage(e.ID)))
	other := e.ID
	other[0] ^= 1
	assert.Error(t, verify(ledger.SignedMessage(other)))

	sum, err := exec.Command("sha256sum", file("content", e.Content)).Output()
	require.NoError(t, err)
	assert.Equal(t, e.ID.String(), string(sum[:64]), "the id is the SHA-256 of the content")
}

type brokenSigner struct{ ledger.Key }

func (k brokenSigner) Sign(m []byte) ([]byte, error) {
	s, err := k.Key.Sign(m)
	s[3] ^= 1
	return s, err
}

type refusingSigner struct{ ledger.Key }

func (k refusingSigner) Sign([]byte) ([]byte, error) { return nil, errors.New("card removed") }

func TestSignRefusesASignatureThatDoesNotVerify(t *testing.T) {
	_, err := ledger.Sign(statement(), brokenSigner{ledger.Key(key(t))})
	assert.ErrorIs(t, err, ledger.ErrSignature)
	_, err = ledger.Sign(statement(), refusingSigner{ledger.Key(key(t))})
	assert.ErrorContains(t, err, "card removed")
}

func TestManyAreSignedAtOnce(t *testing.T) {
	drafts := func(signer ledger.Signer) (events []ledger.Event) {
		for n := range 50 {
			s := statement()
			s.Seq = int64(n + 1)
			if n > 0 {
				s.Prev = events[n-1].ID.String()
			} else {
				s.Prev = ""
			}
			e, err := ledger.Draft(s, signer.Public())
			require.NoError(t, err)
			events = append(events, e)
		}
		return events
	}
	sound := ledger.Key(key(t))
	events := drafts(sound)
	require.NoError(t, ledger.SignAll(events, sound))
	for _, e := range events {
		_, err := ledger.Verify(e.ID, e.Content, e.Signature)
		require.NoError(t, err)
	}
	assert.ErrorIs(t, ledger.SignAll(drafts(sound), brokenSigner{sound}), ledger.ErrSignature)

	// A key whose public half is another's.
	torn := ledger.Key(slices.Concat(key(t).Seed(), ledgertest.Key("another").Public()))
	assert.ErrorIs(t, ledger.SignAll(drafts(torn), torn), ledger.ErrSignature)
	require.NoError(t, ledger.SignAll(nil, sound))
}

func TestVerifyFindsEveryFlippedBit(t *testing.T) {
	e, err := ledger.Sign(statement(), ledger.Key(key(t)))
	require.NoError(t, err)
	for _, part := range [][]byte{e.Content, e.Signature} {
		for i := range part {
			part[i] ^= 0x04
			_, err := ledger.Verify(e.ID, e.Content, e.Signature)
			assert.Error(t, err, "byte %d", i)
			part[i] ^= 0x04
		}
	}
	id := e.ID
	id[31] ^= 1
	_, err = ledger.Verify(id, e.Content, e.Signature)
	assert.ErrorIs(t, err, ledger.ErrDigest)
}

func TestVerifyRefusesAnotherWritersSignature(t *testing.T) {
	e, err := ledger.Sign(statement(), ledger.Key(key(t)))
	require.NoError(t, err)
	forged, err := ledger.Key(key(t)).Sign(ledger.SignedMessage(e.ID))
	require.NoError(t, err)
	_, err = ledger.Verify(e.ID, e.Content, forged)
	assert.ErrorIs(t, err, ledger.ErrSignature)
}

// Equal keys for equal versions and only for those, as our comparison and
// another implementation of Debian Policy §5.6.12 judge them.
func TestVersionKeysAreEqualWhereVersionsAre(t *testing.T) {
	check := func(t require.TestingT, a, b version.V) {
		equal := ledger.VersionKey(a) == ledger.VersionKey(b)
		require.Equal(t, version.Compare(a, b) == 0, equal, "%s and %s: %s, %s", a, b, ledger.VersionKey(a), ledger.VersionKey(b))
		da, err := debian.Parse(string(a))
		require.NoError(t, err)
		db, err := debian.Parse(string(b))
		require.NoError(t, err)
		require.Equal(t, debian.Compare(da, db) == 0, equal, "%s and %s", a, b)
	}
	for _, pair := range [][2]version.V{
		{"1.01", "1.1"},
		{"1.8", "1.8-0"},
		{"1.0", "1."},
		{"1.0a", "1.a"},
		{"0:1", "1"},
		{"1.8", "1.8.0"},
		{"1.9", "1.10"},
		{"1.a", "1.a0"},
		{"1.2-00", "1.2"},
		{"1.0~", "1.0~0"},
	} {
		check(t, pair[0], pair[1])
	}
	small := rapid.StringMatching(`(0:)?[01](\.0?[01]?|a0?|~0?){0,2}(-0?[0a]0?)?`)
	rapid.Check(t, func(t *rapid.T) {
		a, errA := version.Parse(small.Draw(t, "a"))
		b, errB := version.Parse(small.Draw(t, "b"))
		if errA == nil && errB == nil {
			check(t, a, b)
		}
	})
}

func TestOrdComparesByTimeFirst(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := statements.Draw(t, "a"), statements.Draw(t, "b")
		oa := ledger.Ord(a.Entry.At, &a, ledger.ID{1})
		ob := ledger.Ord(b.Entry.At, &b, ledger.ID{2})
		require.Len(t, oa, ledger.OrdSize)
		if c := a.Entry.At.Compare(b.Entry.At); c != 0 {
			assert.Equal(t, c, bytes.Compare(oa, ob))
		} else {
			assert.NotEqual(t, oa, ob)
		}
	})
}

func TestEveryKindHasItsBodyAndNoOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := entries.Draw(t, "entry")
		require.NoError(t, e.Validate())
		e.Kind = rapid.SampledFrom(ledger.Kinds).Filter(func(k ledger.Kind) bool { return k != e.Kind }).Draw(t, "other kind")
		err := e.Validate()
		text, _ := json.Marshal(e)
		if err == nil { // the kinds of one body may be exchanged
			bodies := map[string]string{
				"card p": "card", "card v": "card", "step d": "step", "step f": "step", "step p": "step", "check ": "check",
				"card l": "card_fate", "card h": "card_fate", "card d": "card_fate", "device": "device_change", "vessel": "vessel_change",
			}
			assert.Contains(t, string(text), `"`+bodies[string(e.Kind)[:6]]+`":`)
		}
	})
}

func TestValidateNamesWhatWasFoundAndExpected(t *testing.T) {
	good := statement().Entry
	for name, c := range map[string]struct {
		spoil func(*ledger.Entry)
		want  string
	}{
		"control character":  {func(e *ledger.Entry) { e.Berth = "C\x1b[2J" }, "berth: found the character U+001B, expected text that can be seen"},
		"direction change":   {func(e *ledger.Entry) { e.Step.Note = "a\u202eb" }, "step.note: found the character U+202E"},
		"line end in a word": {func(e *ledger.Entry) { e.Berth = "C\n14" }, "berth: found the character U+000A"},
		"long word":          {func(e *ledger.Entry) { e.Step.Device.Place = strings.Repeat("x", 129) }, "step.device.place: found 129 bytes, expected at most 128"},
		"no vessel":          {func(e *ledger.Entry) { e.Vessel = "" }, "vessel: found nothing, expected a vessel's id"},
		"no version after":   {func(e *ledger.Entry) { e.Step.After = "" }, `step.after: found "", expected a version`},
		"a v before":         {func(e *ledger.Entry) { e.Step.After = "v1.8" }, `step.after: found "v1.8", expected "1.8"`},
		"clock never set":    {func(e *ledger.Entry) { e.At = time.Unix(0, 0).UTC() }, "at: found the year 1970, expected 1990 to 2199; is the clock set?"},
		"local time":         {func(e *ledger.Entry) { e.At = e.At.In(time.FixedZone("x", 3600)) }, "expected whole seconds in UTC"},
		"bad digest":         {func(e *ledger.Entry) { e.Step.Card = "1234" }, `step.card: found "1234", expected 64 lower-case hex digits`},
		"unknown kind":       {func(e *ledger.Entry) { e.Kind = "step undone" }, `kind: found "step undone", expected a kind of event`},
		"negative minutes":   {func(e *ledger.Entry) { e.Step.Minutes = -1 }, "step.minutes: found -1, expected 0 to 10080"},
		"too many devices": {func(e *ledger.Entry) {
			*e = ledger.Entry{At: e.At, Vessel: "k", Kind: ledger.VesselTakenOn, TakenOn: &ledger.TakenOn{Name: "K", Devices: make([]ledger.Fitted, 1001)}}
		}, "taken_on.devices: found 1001, expected 0 to 1000"},
		"device twice": {func(e *ledger.Entry) {
			f := ledger.Fitted{Device: ledger.Device{ID: "radar", Model: "m"}, Version: "1"}
			*e = ledger.Entry{At: e.At, Vessel: "k", Kind: ledger.VesselTakenOn, TakenOn: &ledger.TakenOn{Name: "K", Devices: []ledger.Fitted{f, f}}}
		}, `taken_on.devices[1].device.id: found "radar" again, expected each id once`},
		"correction in a correction": {func(e *ledger.Entry) {
			c := ledger.Entry{At: e.At, Vessel: "k", Kind: ledger.Correction, Correction: &ledger.Correcting{Of: strings.Repeat("0", 64), Why: "w"}}
			*e = ledger.Entry{At: e.At, Vessel: "k", Kind: ledger.Correction, Correction: &ledger.Correcting{Of: strings.Repeat("0", 64), Why: "w", Instead: &c}}
		}, "correction.instead.kind: found \"correction\""},
		"correction without a reason": {func(e *ledger.Entry) {
			*e = ledger.Entry{At: e.At, Vessel: "k", Kind: ledger.Correction, Correction: &ledger.Correcting{Of: strings.Repeat("0", 64), Why: " "}}
		}, "correction.why: found nothing, expected a reason, in a few words"},
		"correction under another vessel": {func(e *ledger.Entry) {
			instead := *e
			*e = ledger.Entry{At: e.At, Vessel: "k", Kind: ledger.Correction, Correction: &ledger.Correcting{Of: strings.Repeat("0", 64), Why: "w", Instead: &instead}}
		}, `correction.instead.vessel: found "kittiwake", expected the vessel that the correction is noted for, "k"`},
	} {
		t.Run(name, func(t *testing.T) {
			e := good
			step := *good.Step
			e.Step = &step
			c.spoil(&e)
			assert.ErrorContains(t, e.Validate(), c.want)
		})
	}
}
