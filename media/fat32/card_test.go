package fat32

import (
	"testing"
)

func demoFiles() []File {
	return []File{
		file("_card/record.json", 4321),
		file("_card/SHA256SUMS", 900),
		file("_card/install-order.txt", 2048),
		file("01-flybridge/plot12-4.0-12.upd", 3*mib+17),
		file("01-flybridge/a/b.bin", 512),
		file("02-radar/foo.html", 100),
		file("02-radar/foo.htm", 101),
		file("02-radar/empty.bin", 0),
		file("02-radar/日本語 ファイル.dat", 33),
		file("02-radar/naïve, [but] = +fine; really.txt", 70000),
		file("03-deep/a/b/c/d/e/f/g/h/README.TXT", 5),
	}
}

func TestQuick(t *testing.T) {
	card, l := image(t, Spec{Bytes: nominal(4), Label: "KITTIWAKE", VolumeID: 0x1234ABCD, Made: made, Files: demoFiles()})
	judgeFsck(t, card, l)
	judgeMtools(t, card, l)
	t.Log(run(t, sfdisk, "-d", card))
	t.Log(run(t, mdir, "-i", mtoolsImage(card), "-/", "::/"))
	t.Logf("%+v", l.Geometry())
}
