package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strconv"
)

// side runs one side of a comparison.
type side func(ctx context.Context) (took, error)

// contest is something of ours beside one or several rivals.
type contest struct {
	what   string
	place  place
	start  side // once, before the first run; nil for none
	ours   side
	rivals []rival
	made   []string                   // files that a run makes; removed before the next
	kept   []string                   // files that start makes; removed at the end
	look   func(t took) (fact, error) // at each run of ours; nil for none
	memory bool                       // ours is the cardwright command, whose memory is told
}

// rival is the other side; ours may take at most `most` times its time.
type rival struct {
	name string
	most float64 // 0: no limit
	run  side
}

func (b *bench) contests() []contest {
	var all []contest
	for _, p := range b.places {
		all = append(all, b.noise(p), b.writing(p), b.assurance(p), b.verifying(p),
			b.smallFiles(p), b.preparingSmall(p), b.checking(p))
	}
	return append(all, b.fourCards(), b.fourImages())
}

// noise is a plain copy beside itself: on a machine without any the ratio
// would always be 1.
func (b *bench) noise(p place) contest {
	to := filepath.Join(p.dir, "copy")
	return contest{
		what: "noise: a plain copy", place: p, ours: b.copying(to), made: []string{to},
		rivals: []rival{{name: "itself", run: b.copying(to)}},
	}
}

func (b *bench) copying(to string) side {
	return b.side(append([]string{"copy", to}, b.big.files...)...)
}

// side is a side that is this program in another process.
func (b *bench) side(args ...string) side {
	return func(ctx context.Context) (took, error) {
		return measured(ctx, b.program, append([]string{"side"}, args...)...)
	}
}

// writing is format, write and hash, without reading back.
func (b *bench) writing(p place) contest {
	image, to := filepath.Join(p.dir, "card.img"), filepath.Join(p.dir, "copy")
	return contest{
		what: "format + write + hash", place: p, made: []string{image, to},
		ours:   b.side("write", b.big.dir, b.big.size, image),
		rivals: []rival{{name: "plain copy + hash", most: 1.10, run: b.copying(to)}},
	}
}

// preparing is the whole command: format, write, hash, read back, compare.
func (b *bench) preparing(s shop, images ...string) side {
	args := []string{"prepare", vessel, "--shop", s.dir, "--size", s.size, "--json"}
	for _, image := range images {
		args = append(args, "--to", image)
	}
	return func(ctx context.Context) (took, error) { return measured(ctx, b.cardwright, args...) }
}

// chain does the same by public tools: $1 is the image, $2 its size, $3 what
// hashes, $4 "disk" on a disk, $5 and on the packages. On a disk the image is
// synced, and its cache dropped before it is read back, as cardwright does.
const chain = `
image=$1 size=$2 hash=$3 place=$4; shift 4
truncate -s "$size" "$image"
mkfs.fat -F 32 "$image" >/dev/null
$hash "$@" | cut -c1-64 >"$image.want"
mcopy -i "$image" "$@" ::
if [ "$place" = disk ]; then sync "$image"; dd if="$image" iflag=nocache count=0 status=none; fi
for file; do mcopy -i "$image" "::${file##*/}" - | $hash | cut -c1-64; done >"$image.got"
cmp "$image.want" "$image.got"
`

func (b *bench) assurance(p place) contest {
	image := filepath.Join(p.dir, "card.img")
	tools := func(hash string) side {
		return script(chain, append([]string{image, b.big.card(), hash, p.name}, b.big.files...)...)
	}
	return contest{
		what: "prepare, all of it", place: p, made: []string{image, image + ".want", image + ".got"},
		ours: b.preparing(b.big, image), memory: true,
		rivals: []rival{
			{name: "mtools, sha256sum", most: 0.30, run: tools("sha256sum")},
			{name: "mtools, openssl", most: 1.00, run: tools("openssl dgst -sha256 -r")},
		},
		look: b.bytesWritten(b.big, p),
	}
}

func (b *bench) verifying(p place) contest {
	image := filepath.Join(p.dir, "card.img")
	raw := func(ctx context.Context) (took, error) {
		used, err := b.big.used()
		if err != nil {
			return took{}, err
		}
		return b.side("read", image, strconv.FormatInt(used, 10))(ctx)
	}
	return contest{
		what: "verify", place: p, start: b.preparing(b.big, image), kept: []string{image}, memory: true,
		ours: func(ctx context.Context) (took, error) {
			return measured(ctx, b.cardwright, "verify", image, "--for", vessel, "--shop", b.big.dir, "--json")
		},
		rivals: []rival{{name: "raw read + hash", most: 1.10, run: raw}},
	}
}

// tree copies folders into a fresh image: $1 is the image, $2 its size, $3
// "disk" on a disk, $4 and on the folders.
const tree = `
image=$1 size=$2 place=$3; shift 3
truncate -s "$size" "$image"
mkfs.fat -F 32 "$image" >/dev/null
mcopy -s -i "$image" "$@" ::
if [ "$place" = disk ]; then sync "$image"; fi
`

// smallFiles do what mcopy does, which reads nothing back: and hash besides.
func (b *bench) smallFiles(p place) contest {
	image := filepath.Join(p.dir, "card.img")
	return contest{
		what: fmt.Sprintf("write %d x 16 KiB", b.small.count), place: p, made: []string{image},
		ours:   b.side("write", b.small.dir, b.small.size, image),
		rivals: []rival{b.mcopy(p, image, 1.50)},
	}
}

// preparingSmall is the whole command beside the same. No limit: it also reads
// the catalogue, plans, and proves the card.
func (b *bench) preparingSmall(p place) contest {
	image := filepath.Join(p.dir, "card.img")
	return contest{
		what: fmt.Sprintf("prepare %d x 16 KiB", b.small.count), place: p, made: []string{image},
		ours: b.preparing(b.small, image), memory: true,
		rivals: []rival{b.mcopy(p, image, 0)},
		look:   b.bytesWritten(b.small, p),
	}
}

func (b *bench) mcopy(p place, image string, most float64) rival {
	args := append([]string{image, b.small.card(), p.name}, b.small.folders...)
	return rival{name: "mcopy, fresh image", most: most, run: script(tree, args...)}
}

func (b *bench) fourCards() contest {
	cards := func(n string) side { return b.side("cards", b.slow.dir, b.slow.size, n) }
	return contest{
		what: "four cards at once", place: place{name: "20 MB/s each"}, ours: cards("4"), look: b.readOnce,
		rivals: []rival{{name: "one card", most: 1.10, run: cards("1")}},
	}
}

// fourImages only shows what memory four cards at once take.
func (b *bench) fourImages() contest {
	p := b.places[0]
	var images []string
	for _, name := range []string{"a", "b", "c", "d"} {
		images = append(images, filepath.Join(p.dir, name+".img"))
	}
	return contest{what: "four images at once", place: p, made: images, ours: b.preparing(b.slow, images...), memory: true}
}
