package verify

import (
	"bytes"
	"context"
	"errors"
	"io"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func fileOf(content []byte, ending error) *file {
	return &file{open: func() (io.ReadCloser, error) {
		in := io.Reader(bytes.NewReader(content))
		if ending != nil {
			in = io.MultiReader(in, iotest.ErrReader(ending))
		}
		return io.NopCloser(in), nil
	}}
}

func TestReadAheadGivesEveryFileWhole(t *testing.T) {
	failure := errors.New("the card doesn't answer")
	rapid.Check(t, func(t *rapid.T) {
		sizes := rapid.SliceOfN(rapid.OneOf(
			rapid.IntRange(0, 9000),
			rapid.IntRange(batchBytes-leastRead-1, batchBytes+1),
			rapid.IntRange(0, 3*batchBytes),
		), 0, 8).Draw(t, "sizes")
		var files []*file
		var want [][]byte
		var endings []error
		for i, n := range sizes {
			content := bytes.Repeat([]byte{byte(i + 1)}, n)
			ending := rapid.SampledFrom([]error{nil, nil, failure}).Draw(t, "ending")
			files, want, endings = append(files, fileOf(content, ending)), append(want, content), append(endings, ending)
		}
		done, got := 0, []byte{}
		readAhead(context.Background(), files, func(p part) {
			got = append(got, p.bytes...)
			if p.last {
				require.True(t, bytes.Equal(want[done], got), "file %d of %d bytes", done, len(want[done]))
				require.Equal(t, endings[done], p.err)
				done, got = done+1, got[:0]
			}
		})
		require.Equal(t, len(files), done)
		require.Empty(t, got)
	})
}

func TestReadAheadGoesOnAfterAFileThatCannotBeOpened(t *testing.T) {
	failure := errors.New("no such file")
	shut := &file{open: func() (io.ReadCloser, error) { return nil, failure }}
	var errs []error
	readAhead(t.Context(), []*file{shut, fileOf([]byte("content"), nil)}, func(p part) { errs = append(errs, p.err) })
	assert.Equal(t, []error{failure, nil}, errs)
}

func TestReadAheadEndsWithItsContext(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	endless := &file{open: func() (io.ReadCloser, error) { return io.NopCloser(zeros{}), nil }}
	readAhead(ctx, []*file{endless, endless}, func(p part) {
		assert.False(t, p.last)
		stop()
	})
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { return len(p), nil }
