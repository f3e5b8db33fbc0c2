package intake

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/media"
)

// archive is a zip file whose list of members was read within bounds.
type archive struct{ *zip.Reader }

// openArchive reads the list of a zip file's members.
func openArchive(file io.ReaderAt, size int64) (*archive, error) {
	z, err := media.ReadArchive(file, size)
	if err != nil {
		return nil, err
	}
	if len(z.File) > MaxMembers {
		return nil, fmt.Errorf("more than %d members", MaxMembers)
	}
	a := &archive{z}
	if err := a.overlapping(size); err != nil {
		return nil, err
	}
	return a, nil
}

// overlapping refuses archives whose members share bytes: no packer makes them, and
// a small one can unpack to petabytes.
func (a *archive) overlapping(size int64) error {
	type extent struct{ from, to int64 }
	extents := make([]extent, 0, len(a.File))
	for _, m := range a.File {
		from, err := m.DataOffset()
		if err != nil {
			return fmt.Errorf("member %q: %w", m.Name, err)
		}
		to := from + int64(min(m.CompressedSize64, 1<<62))
		if to > size {
			return fmt.Errorf("member %q ends past the end of the archive", m.Name)
		}
		extents = append(extents, extent{from, to})
	}
	slices.SortFunc(extents, func(a, b extent) int { return int(min(max(a.from-b.from, -1), 1)) })
	for i := 1; i < len(extents); i++ {
		if extents[i].from < extents[i-1].to {
			return errors.New("members that overlap")
		}
	}
	return nil
}

// unfit is why a member can't be a package, or "".
func unfit(m *zip.File) string {
	switch {
	case m.Mode()&os.ModeSymlink != 0:
		return "a link"
	case m.Mode().IsDir():
		return "a folder"
	case !m.Mode().IsRegular():
		return "not a plain file"
	case m.Flags&1 != 0:
		return "encrypted"
	case m.UncompressedSize64 > uint64(maxUnpacked):
		return fmt.Sprintf("%d bytes, more than a card holds", m.UncompressedSize64)
	}
	return ""
}

// named are the members of this name: by their whole path, or else by its last
// part.
func (a *archive) named(name string) (all []*zip.File) {
	for _, m := range a.File {
		if m.Name == name {
			all = append(all, m)
		}
	}
	if len(all) > 0 {
		return all
	}
	for _, m := range a.File {
		if path.Base(m.Name) == name && !m.Mode().IsDir() {
			all = append(all, m)
		}
	}
	return all
}

// memberDigest hashes a member. It must be as long as the archive says.
func memberDigest(ctx context.Context, m *zip.File, progress func(int64)) (digest.SHA256, error) {
	in, err := m.Open()
	if err != nil {
		return "", err
	}
	defer in.Close()
	sum := sha256.New()
	n, err := copyAll(ctx, sum, io.LimitReader(in, int64(m.UncompressedSize64)+1), progress)
	if err != nil {
		return "", err
	}
	if n != int64(m.UncompressedSize64) {
		return "", fmt.Errorf("%d bytes or more, where the archive says %d", n, m.UncompressedSize64)
	}
	return digest.Sum(sum), nil
}

// findPackage looks for a file of the catalogue among the members: first by size,
// then by digest.
func (a *archive) findPackage(ctx context.Context, want []entry, progress func(int64)) (*zip.File, []entry, error) {
	bySize := map[uint64][]entry{}
	for _, e := range want {
		bySize[uint64(e.file.Size)] = append(bySize[uint64(e.file.Size)], e)
	}
	left := int64(maxUnpacked)
	for _, m := range a.File {
		candidates := bySize[m.UncompressedSize64]
		if len(candidates) == 0 || unfit(m) != "" || m.UncompressedSize64 == 0 {
			continue
		}
		if left -= int64(m.UncompressedSize64); left < 0 {
			return nil, nil, fmt.Errorf("more than %d bytes to look through", int64(maxUnpacked))
		}
		sum, err := memberDigest(ctx, m, progress)
		if err != nil {
			return nil, nil, fmt.Errorf("reading member %q: %w", m.Name, err)
		}
		if same := withDigest(candidates, sum); len(same) > 0 {
			return m, same, nil
		}
	}
	return nil, nil, nil
}

// members hashes every file inside, for an archive that is unpacked onto the card.
func (a *archive) members(ctx context.Context, progress func(int64)) ([]digest.File, error) {
	if both := clash(membersOf(a.File)); both != "" {
		return nil, fmt.Errorf("members %s", both)
	}
	var all []digest.File
	left := int64(maxUnpacked)
	for _, m := range a.File {
		if m.Mode().IsDir() {
			continue
		}
		if why := unfit(m); why != "" {
			return nil, fmt.Errorf("member %q is %s", m.Name, why)
		}
		if p := manifest.Problem("Member.name", m.Name); p != nil {
			return nil, fmt.Errorf("member %s: %s", p.Found, p.What)
		}
		if left -= int64(m.UncompressedSize64); left < 0 {
			return nil, fmt.Errorf("more than %d bytes unpacked", int64(maxUnpacked))
		}
		sum, err := memberDigest(ctx, m, progress)
		if err != nil {
			return nil, fmt.Errorf("reading member %q: %w", m.Name, err)
		}
		all = append(all, digest.File{Name: m.Name, Size: int64(m.UncompressedSize64), SHA256: sum})
	}
	if len(all) == 0 {
		return nil, errors.New("an empty archive")
	}
	return all, nil
}
