package media_test

import (
	"context"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/mediatest"
)

// aFullCard is a card of 8 MiB with bytes here and there.
func aFullCard(t *testing.T) *mediatest.Memory {
	card := mediatest.NewMemory(8 << 20)
	for _, at := range []int64{0, 1<<20 - 3, 2 << 20, 4<<20 - 512} {
		_, err := card.WriteAt([]byte("bytes of a customer"), at)
		require.NoError(t, err)
	}
	return card
}

// A copy holds the same bytes, and blocks of zeros are not written.
func TestSaveCopiesACard(t *testing.T) {
	card, saved := aFullCard(t), mediatest.NewMemory(8<<20)
	var done int64
	require.NoError(t, media.Save(context.Background(), card, saved, func(_ media.Phase, n int64) { done += n }))
	want, got := make([]byte, 8<<20), make([]byte, 8<<20)
	for m, into := range map[*mediatest.Memory][]byte{card: want, saved: got} {
		_, err := m.ReadAt(into, 0)
		require.NoError(t, err)
	}
	assert.Equal(t, want, got)
	assert.Equal(t, int64(16<<20), done)
	assert.Less(t, saved.Counts().BytesWritten, int64(8<<20), "a block of zeros was written")
}

// A copy that differs is reported as the copy's fault, not the card's.
func TestSaveReadsTheCopyBack(t *testing.T) {
	err := media.Save(context.Background(), aFullCard(t), mediatest.TornWrite(mediatest.NewMemory(8<<20), 1, 100), nil)
	require.ErrorAs(t, err, new(*media.Misread))
	assert.EqualError(t, err, "what was read back differs: the saved copy of the card: save it to another disk")
}

// Whatever can't be read, written or measured alike is an error.
func TestSaveFails(t *testing.T) {
	broken := errors.New("broken")
	blank := func() mediatest.Medium { return mediatest.NewMemory(8 << 20) }
	assert.ErrorIs(t, media.Save(context.Background(), mediatest.ReadError(aFullCard(t), 3<<20, broken), blank(), nil), broken)
	assert.ErrorIs(t, media.Save(context.Background(), aFullCard(t), mediatest.WriteError(blank(), 2<<20, broken), nil), broken)
	assert.ErrorContains(t, media.Save(context.Background(), aFullCard(t), mediatest.NewMemory(4<<20), nil), "it holds 8388608 bytes, the copy 4194304")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	assert.ErrorIs(t, media.Save(ctx, aFullCard(t), blank(), nil), context.Canceled)
}
