package verify_test

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/fat32"
	"cardwright/media/mediatest"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

// scene is a good card and what it should hold.
type scene struct {
	t       testing.TB
	shop    *shoptest.Shop
	job     media.Job
	card    *mediatest.Memory
	layout  *fat32.Layout
	outcome media.Outcome
}

func newScene(t testing.TB) *scene {
	return sceneOf(t, shoptest.Kittiwake(t, t.TempDir()), 1, shoptest.Small)
}

// sceneOf writes card n of a shop's plan.
func sceneOf(t testing.TB, shop *shoptest.Shop, n int, bytes int64) *scene {
	s := &scene{t: t, shop: shop, job: shop.Job(n, bytes)}
	s.write(bytes)
	return s
}

func (s *scene) write(bytes int64) {
	var err error
	s.card = mediatest.NewMemory(bytes)
	s.layout, err = s.job.Prepare(bytes)
	require.NoError(s.t, err)
	s.outcome = s.job.Write(context.Background(), []media.Target{{
		Medium: s.card,
		Judge:  func(context.Context, io.ReaderAt, media.Record, string) error { return nil },
	}})[0]
	require.NoError(s.t, s.outcome.Err)
}

// written is what the writer knows of the card.
func (s *scene) written() *verify.Expected {
	return &verify.Expected{Record: s.outcome.Record, Alone: s.job.Card.Alone, Digest: s.outcome.Digest, Limits: s.job.Card.Limits}
}

// planned is what the plan alone says of the card, long after it was written.
func (s *scene) planned() *verify.Expected {
	e := verify.ForCard(s.job.Layout, s.job.Card, s.job.InstallOrder, s.job.Packages)
	return &e
}

// copy is another card with the same bytes.
func (s *scene) copy() *mediatest.Memory {
	m := mediatest.NewMemory(s.card.Bytes())
	s.card.Stretches(func(off int64, data []byte) {
		_, err := m.WriteAt(data, off)
		require.NoError(s.t, err)
	})
	return m
}

func (s *scene) flip(m *mediatest.Memory, at int64, mask byte) {
	b := make([]byte, 1)
	_, err := m.ReadAt(b, at)
	require.NoError(s.t, err)
	b[0] ^= mask
	_, err = m.WriteAt(b, at)
	require.NoError(s.t, err)
}

// place is where a file of the card begins, and size how long it is.
func (s *scene) place(path string) int64 { return s.placed(path).Offset }

func (s *scene) size(path string) int64 { return s.placed(path).Size }

func (s *scene) placed(path string) fat32.Placed {
	for _, f := range s.layout.Files() {
		if f.Path == path {
			return f
		}
	}
	s.t.Fatalf("%s is not on the card", path)
	return fat32.Placed{}
}

// payload are the files of the card that have bytes, and where they are.
func (s *scene) payload() (files []fat32.Placed) {
	for _, f := range s.layout.Files()[:len(s.job.Card.Files)] {
		if f.Size > 0 {
			files = append(files, f)
		}
	}
	return files
}

func judge(m mediatest.Medium, e *verify.Expected) verify.Report {
	return verify.Card(context.Background(), m, m.Bytes(), e, nil)
}

// found are the findings of one kind.
func found(r verify.Report, kind verify.Kind) (all []verify.Finding) {
	for _, f := range r.Findings {
		if f.Kind == kind {
			all = append(all, f)
		}
	}
	return all
}

func told(r verify.Report) string {
	text := string(r.Verdict)
	for _, f := range r.Findings {
		text += fmt.Sprintf("\n%s %s %q: expected %s, found %s", f.Severity, f.Kind, f.Path, f.Expected, f.Found)
	}
	return text
}

// byHand has a person change the card with mtools: each command's last
// arguments are paths on the card. dir holds what is to be copied onto it.
func (s *scene) byHand(dir string, commands ...[]string) *mediatest.Memory {
	path := filepath.Join(s.t.TempDir(), "card.img")
	f, err := os.Create(path)
	require.NoError(s.t, err)
	require.NoError(s.t, f.Truncate(s.card.Bytes()))
	s.card.Stretches(func(off int64, data []byte) {
		_, err := f.WriteAt(data, off)
		require.NoError(s.t, err)
	})
	require.NoError(s.t, f.Close())
	for _, c := range commands {
		args := append([]string{"-i", path + "@@4M"}, c[1:]...)
		cmd := exec.Command(c[0], args...)
		cmd.Dir, cmd.Env = dir, append(os.Environ(), "MTOOLSRC=/dev/null", "MTOOLS_SKIP_CHECK=1")
		out, err := cmd.CombinedOutput()
		require.NoErrorf(s.t, err, "%q: %s (make test installs mtools)", c, out)
	}
	content, err := os.ReadFile(path)
	require.NoError(s.t, err)
	m := mediatest.NewMemory(s.card.Bytes())
	_, err = m.WriteAt(content, 0)
	require.NoError(s.t, err)
	return m
}

// hand is a folder with files to copy onto cards.
func hand(t testing.TB) string {
	dir := t.TempDir()
	for name, content := range map[string][]byte{
		"short.bin": make([]byte, 100), "order.txt": []byte("Install order\n\n1. Do it all at once\n"), "empty": nil,
		"big.bin": make([]byte, media.MaxRecordBytes+1), "photo.jpg": shoptest.Make("photo.jpg", 12345, 1).Content,
	} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), content, 0o600))
	}
	return dir
}
