package media_test

import (
	"context"
	"io"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/mediatest"
	"cardwright/verify"
)

// judged is a target whose judge is the one of the command.
func judged(job media.Job, m media.Medium) media.Target {
	return media.Target{Medium: m, Judge: func(ctx context.Context, read io.ReaderAt, r media.Record, digest string) error {
		expected := verify.Expected{Record: r, Alone: job.Card.Alone, Digest: digest, Limits: job.Card.Limits}
		return notGood(verify.Card(ctx, read, m.Bytes(), &expected, nil))
	}}
}

type notGoodError struct{ report verify.Report }

func (e *notGoodError) Error() string { return "the card is " + string(e.report.Verdict) }

func notGood(r verify.Report) error {
	if r.Verdict == verify.Good {
		return nil
	}
	return &notGoodError{r}
}

// write writes one card with the command's judge.
func write(_ testing.TB, job media.Job, m mediatest.Medium) media.Outcome {
	return job.Write(context.Background(), []media.Target{judged(job, m)})[0]
}

// written writes a card that must turn out good.
func written(t testing.TB, job media.Job, bytes int64) (*mediatest.Memory, media.Outcome) {
	m := mediatest.NewMemory(bytes)
	o := write(t, job, m)
	require.NoError(t, o.Err)
	return m, o
}

// look judges the bytes on a medium against an outcome.
func look(m mediatest.Medium, job media.Job, o media.Outcome) verify.Report {
	expected := verify.Expected{Record: o.Record, Alone: job.Card.Alone, Digest: o.Digest, Limits: job.Card.Limits}
	return verify.Card(context.Background(), m, m.Bytes(), &expected, nil)
}

// accept judges a folder good without looking.
func accept(context.Context, media.Record) error { return nil }

// allocated is how much memory was ever asked for.
func allocated() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.TotalAlloc
}
