package verify

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"slices"
	"strings"

	"cardwright/manifest/digest"
	"cardwright/manifest/pattern"
	"cardwright/media"
)

// asDownloaded reports a package in the archive that it is downloaded in,
// where its device wants the files in it.
func (i *identifier) asDownloaded(it *identified, p pkg) {
	for _, file := range p.of.Files {
		if file.Name != p.source.Name || p.source.Member != "" {
			continue
		}
		for _, m := range file.Members {
			if slices.ContainsFunc(i.absent, func(a absence) bool { return a.SHA256 == m.SHA256 }) {
				it.diagnosis, it.expected = asDownloaded, "the files inside it, unpacked"
				i.instead(m.SHA256, "it is inside the archive "+it.Path)
			}
		}
	}
}

// Bounds on looking into an archive on a card.
const (
	maxZipMembers = 4096
	maxZipBytes   = 8 << 30 // unpacked, of all archives on a card
	maxZipRatio   = 1000    // unpacked to packed, of one member
)

// packed are the endings of archives (common practice, no source).
var packed = pattern.Of(`(?i)\.(zip|7z|rar|tar|gz|tgz|xz|bz2)$`)

// archive reports known packages inside an archive. Nothing is unpacked to
// disk; an archive past the bounds is reported as not opened.
func (i *identifier) archive(f *file) *identified {
	if f.at == nil || !strings.HasPrefix(f.head(), "PK") {
		return nil
	}
	return &identified{f, stillZipped, "the files inside it", i.inside(f)}
}

func (i *identifier) inside(f *file) string {
	archive, err := media.ReadArchive(io.NewSectionReader(f.at, 0, f.Size), f.Size)
	if err != nil {
		return "an archive that is damaged: " + err.Error()
	}
	if len(archive.File) > maxZipMembers {
		return fmt.Sprintf("an archive of %d members, which were not read", len(archive.File))
	}
	inside, left := i.unpack(archive, f.Path)
	text := "an archive"
	if len(inside) > 0 {
		text = "an archive with " + strings.Join(inside, ", ")
	}
	if left != "" {
		text += "; " + left
	}
	if slices.ContainsFunc(archive.File, func(m *zip.File) bool { return packed.MatchString(m.Name) }) {
		text += "; archives inside it were not opened"
	}
	return text
}

// unpack names the known packages in an archive. It unpacks only what could be
// one by its size: most of what bombs are made of isn't unpacked at all.
func (i *identifier) unpack(archive *zip.Reader, at string) (inside []string, left string) {
	sizes := i.known.sizes()
	for _, m := range archive.File {
		if !sizes[m.UncompressedSize64] {
			continue
		}
		i.unzipped += m.UncompressedSize64
		if m.UncompressedSize64/(m.CompressedSize64+1) > maxZipRatio || i.unzipped > maxZipBytes {
			return inside, "it would unpack to an absurd size, and was not read to its end"
		}
		sum, err := hashMember(i.ctx, m)
		if err != nil {
			return inside, "it could not be read to its end: " + err.Error()
		}
		for _, p := range i.known.byDigest[sum] {
			inside = append(inside, p.String())
			i.instead(sum, "it is inside the archive "+at)
		}
	}
	return inside, ""
}

func hashMember(ctx context.Context, m *zip.File) (digest.SHA256, error) {
	in, err := m.Open()
	if err != nil {
		return "", err
	}
	defer in.Close()
	sum := sha256.New()
	buffer := make([]byte, 64<<10)
	for n := uint64(0); n <= m.UncompressedSize64; {
		if err := ctx.Err(); err != nil {
			return "", err
		}
		got, err := in.Read(buffer)
		sum.Write(buffer[:got])
		n += uint64(got)
		if err == io.EOF {
			return digest.Sum(sum), nil
		}
		if err != nil {
			return "", err
		}
	}
	return "", fmt.Errorf("%s is longer than it says", m.Name)
}
