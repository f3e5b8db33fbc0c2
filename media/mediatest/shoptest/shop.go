// Package shoptest sets up small shops for tests: a few models, one vessel,
// package files made on the spot, and the plan whose cards are laid out and
// written.
package shoptest

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/media"
)

// Small is the size in bytes of a card that every device of New reads, hardly
// more than the smallest that FAT32 can have.
const Small = 48 << 20

// Shop is a shop with one vessel and the plan of its visit.
type Shop struct {
	*manifest.Shop
	Vessel *manifest.Vessel
	Plan   order.Plan

	t require.TestingT
}

// File is a package file of a step.
type File struct {
	Name    string
	Content []byte
	Members []File // of a zip archive; Content is then what Archive made

	onlyNamed int64 // its size, where it has no content
}

// New is a shop without models, its vessel without devices. dir is where
// package files are written; with "" they are only named.
func New(t require.TestingT, dir string) *Shop {
	return &Shop{
		t:      t,
		Shop:   &manifest.Shop{Name: "Hollin Quay Marine Electrics", Dir: dir, Packages: "packages"},
		Vessel: &manifest.Vessel{ID: "kittiwake", Name: "Kittiwake", Folders: manifest.FoldersByDevice},
		Plan:   order.Plan{Format: order.Format, Vessel: "kittiwake", Steps: []order.Step{}},
	}
}

// AnyCard are the rules of a device that reads every card of at most 32 GB.
func AnyCard() *manifest.CardRules {
	return &manifest.CardRules{Least: 1e6, Most: 32e9, FileSystems: []string{"fat32"}, Slot: "microSD", Folder: manifest.AnyFolder}
}

// Model adds a model with these card rules; nil is a model without a slot.
func (s *Shop) Model(id string, rules *manifest.CardRules) *manifest.Model {
	m := &manifest.Model{ID: id, Maker: "Fennick", Name: id, Kind: "chart display", Card: rules}
	s.Models = append(s.Models, m)
	return m
}

// Device adds a device.
func (s *Shop) Device(id, model string) *manifest.Device {
	d := &manifest.Device{ID: id, Model: model, Place: "wheelhouse", Version: "1.0"}
	s.Vessel.Devices = append(s.Vessel.Devices, d)
	return d
}

// Step adds the step that puts a release of these files on a device, through
// another one or "". The release joins the catalogue, and its files the
// package folder.
func (s *Shop) Step(device, to, through string, files ...File) {
	d := s.Vessel.Device(device)
	require.NotNil(s.t, d, device)
	m := s.model(d.Model)
	release := &manifest.Release{
		Version: version.V(to), Variant: d.Variant,
		Released: manifest.Date{Time: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)},
	}
	step := order.Step{
		Number: len(s.Plan.Steps) + 1, Device: device, Model: d.Model, From: d.Version, To: release.Version,
		Through: through, Minutes: 10,
	}
	for _, f := range files {
		release.Files = append(release.Files, f.inCatalogue())
		if len(f.Members) == 0 {
			step.Files = append(step.Files, f.inPlan())
		}
		for _, member := range f.Members {
			step.Files = append(step.Files, member.inPlan())
		}
		s.keep(filepath.Join(m.ID, to, filepath.FromSlash(f.Name)), f.Content)
	}
	if m.Release(release.Version, d.Variant) == nil {
		m.Releases = append(m.Releases, release)
	}
	s.Plan.Steps = append(s.Plan.Steps, step)
}

// model is the model with this id.
func (s *Shop) model(id string) *manifest.Model {
	m := s.Shop.Model(id)
	require.NotNil(s.t, m, id)
	return m
}

func (s *Shop) keep(path string, content []byte) {
	if s.Dir == "" {
		return
	}
	path = filepath.Join(s.Dir, s.Packages, path)
	require.NoError(s.t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(s.t, os.WriteFile(path, content, 0o644))
}

func (f File) inCatalogue() *manifest.File {
	c := &manifest.File{Name: f.Name, Size: manifest.Size(f.size()), SHA256: f.sum()}
	for _, m := range f.Members {
		c.Unpack = "zip"
		c.Members = append(c.Members, &manifest.Member{Name: m.Name, Size: manifest.Size(m.size()), SHA256: m.sum()})
	}
	return c
}

func (f File) inPlan() digest.File {
	return digest.File{Name: f.Name, Size: f.size(), SHA256: f.sum()}
}

func (f File) size() int64 { return max(f.onlyNamed, int64(len(f.Content))) }

func (f File) sum() digest.SHA256 {
	if f.onlyNamed > 0 {
		return digest.Of(fmt.Appendf(nil, "%s %d %d", f.Name, f.onlyNamed, f.Content))
	}
	return digest.Of(f.Content)
}

// Named is a file that is laid out but never read: its bytes are nowhere.
func Named(name string, size int64, seed byte) File {
	return File{Name: name, Content: []byte{seed}, onlyNamed: size}
}

// Make is a file of that many bytes, which follow from its name and seed.
func Make(name string, size int64, seed byte) File {
	content := make([]byte, size)
	key := sha256.Sum256(append([]byte{seed}, name...))
	rand.NewChaCha8(key).Read(content)
	return File{Name: name, Content: content}
}

// Archive is a zip archive of files.
func Archive(t require.TestingT, name string, members ...File) File {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, m := range members {
		w, err := z.Create(m.Name)
		require.NoError(t, err)
		_, err = w.Write(m.Content)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return File{Name: name, Content: out.Bytes(), Members: members}
}

// Sum is the digest of content as text.
func Sum(content []byte) string { return string(digest.Of(content)) }

// InstallOrder is a text that goes on cards as their install order.
const InstallOrder = "Install order, as planned\n\n1. flybridge\n"

// Lay lays the cards out.
func (s *Shop) Lay(sizes ...int64) (media.Layout, order.Plan) {
	layout, plan, err := media.Lay(s.Shop, s.Vessel, s.Plan, sizes...)
	require.NoError(s.t, err)
	return layout, plan
}

// Job is the writing of card n, counted from 1.
func (s *Shop) Job(n int, sizes ...int64) media.Job {
	layout, _ := s.Lay(sizes...)
	require.GreaterOrEqual(s.t, len(layout.Cards), n)
	return media.Job{
		Layout: layout, Card: layout.Cards[n-1], Packages: media.PackagesOf(s.Shop), InstallOrder: []byte(InstallOrder),
	}
}

// Kittiwake is a shop whose vessel needs one small card: files that end on a
// MiB, within one, in a folder, in an archive, and an empty one, for three
// devices of which one has no slot.
func Kittiwake(t require.TestingT, dir string) *Shop {
	s := New(t, dir)
	s.Model("fennick-plot-12", AnyCard())
	s.Model("fennick-sweep-2", nil)
	s.Model("solveld-course-3", AnyCard())
	s.Device("flybridge", "fennick-plot-12")
	s.Device("radar", "fennick-sweep-2").Through = []string{"flybridge"}
	s.Device("pilot", "solveld-course-3")
	s.Step("flybridge", "4.0-12", "", Make("plot12.upd", 3<<20+17, 1), Make("notes.txt", 0, 1))
	s.Step("radar", "1.8", "flybridge", Make("sweep/firmware.img", 2<<20, 1), Make("sweep/table.bin", 1, 1))
	s.Step("pilot", "5.2", "", Archive(t, "course.zip", Make("course/main.bin", 700_001, 1), Make("course/rudder.bin", 4096, 1)))
	return s
}
