package ledger_test

import (
	"crypto/ed25519"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
)

// An event in a form that came later is reported as such, if it is signed; with any
// byte changed it isn't.
func TestEventOfANewerBuild(t *testing.T) {
	_, private, err := ed25519.GenerateKey(nil)
	require.NoError(t, err)
	key, newer := ledger.Key(private), strconv.Itoa(ledger.Newest+1)
	content := []byte(`{"came_later":"a thing","format":` + newer + `,"writer":"` + ledger.Writer(key.Public()) + `"}`)
	sign := func(content []byte) (ledger.ID, []byte) {
		id := ledger.IDOf(content)
		signature, err := key.Sign(ledger.SignedMessage(id))
		require.NoError(t, err)
		return id, signature
	}
	id, signature := sign(content)
	_, err = ledger.Verify(id, content, signature)
	assert.ErrorIs(t, err, ledger.ErrNewer)

	_, err = ledger.Verify(id, []byte(strings.Replace(string(content), "thing", "thong", 1)), signature)
	assert.ErrorIs(t, err, ledger.ErrDigest)
	forged := []byte(strings.Replace(string(content), "thing", "thong", 1))
	_, err = ledger.Verify(ledger.IDOf(forged), forged, signature)
	assert.ErrorIs(t, err, ledger.ErrSignature)

	older := []byte(strings.Replace(string(content), `"format":`+newer, `"format":1`, 1))
	id, signature = sign(older)
	_, err = ledger.Verify(id, older, signature)
	assert.ErrorIs(t, err, ledger.ErrNotCanonical)

	for _, text := range []string{`{"heads":{"format":2,"heads":"elsewhere"}}`, `{"heads":{"format":2,"heads":[]}}`} {
		_, err = ledger.ReadHeads(strings.NewReader(text))
		assert.ErrorIs(t, err, ledger.ErrNewer)
	}
}
