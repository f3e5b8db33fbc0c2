package manifest

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	plot  = "catalogue/plot.yaml"
	sweep = "catalogue/sweep.yaml"
	boat  = "vessels/kittiwake.yaml"
)

// seeded is one mistake put into the small shop, and what must be said of it:
// one thing, in the right place.
type seeded struct {
	name     string
	file     string
	old, new string
	at       string // line:column
	what     string
	found    string // part of it
	expected string // part of it
	hint     string // all of it
}

// structural mistakes are refused by the schemas too.
var structural = []seeded{
	{"unknown key in the shop", "shop.yaml", "shop:", "ledgr: a.db\nshop:", "1:1", "unknown key", `"ledgr"`, "one of shop, packages, ledger", "ledger"},
	{"unknown key of a model", plot, "maker: Fennick", "maker: Fennick\ncolour: white", "3:1", "unknown key", `"colour"`, "one of model, maker", ""},
	{"unknown key of a file", plot, "{name: plot12.upd,", "{name: plot12.upd, mode: 7,", "16:28", "unknown key", `"mode"`, "name, size, sha256", ""},
	{"key in capitals", plot, "maker:", "Maker:", "2:1", "unknown key", `"Maker"`, "maker", "maker"},
	{"merge key", plot, "maker:", "<<: {}\nmaker:", "2:1", "unknown key", `"<<"`, "maker", ""},
	{"missing key of a device", boat, "    version: 1.6\n", "", "14:5", "missing key", "no version", "version that the device shows", ""},
	{"missing key of card rules", plot, "  least: 4GB\n", "", "6:3", "missing key", "no least", "smallest card", ""},
	{"missing key in braces", plot, ", size: 412345678", "", "16:9", "missing key", "no size", "size in bytes", ""},
	{"text for a mapping", plot, "{model: fennick-sweep-2, version: \">= 1.8\", by: end}", "radar", "25:9", "wrong kind of value", `"radar"`, "keys and values: model, version, by", ""},
	{"mapping for text", boat, "name: Kittiwake", "name: {first: Kittiwake}", "2:7", "wrong kind of value", "keys and values", "text", ""},
	{"text for a list", plot, "[version shown, heading against course]", "version shown", "29:12", "wrong kind of value", `"version shown"`, "a list", ""},
	{"list for text", boat, "[flybridge, helm]", "[[flybridge], helm]", "17:15", "wrong kind of value", "a list", "text", ""},
	{"number for text", boat, "name: Kittiwake", "name: 1984", "2:7", "wrong kind of value", `"1984" without quotes`, "text", `put quotes round it: "1984"`},
	{"true for text", boat, "name: Kittiwake", "name: true", "2:7", "wrong kind of value", `"true" without quotes`, "text", ""},
	{"nothing for text", boat, "name: Kittiwake", "name:", "2:6", "wrong kind of value", "nothing", "text", "leave the key out when there is nothing to say"},
	{"nothing for a list", plot, "passes_on: [fennick-sweep-2]", "passes_on:", "11:11", "wrong kind of value", "nothing", "a list", "leave the key out when there is nothing to say"},
	{"word for true or false", plot, "way_back: false", "way_back: never", "27:15", "wrong kind of value", `"never"`, "true or false", ""},
	{"yes", plot, "way_back: false", "way_back: yes", "27:15", "wrong kind of value", `"yes"`, "true or false", "true"},
	{"quoted false", plot, "way_back: false", `way_back: "false"`, "27:15", "wrong kind of value", `"false"`, "true or false", "leave the quotes out"},
	{"word for a number", plot, "minutes: 20", "minutes: twenty", "26:14", "wrong kind of value", `"twenty"`, "from 0 to 1440", ""},
	{"quoted number", plot, "minutes: 20", `minutes: "20"`, "26:14", "wrong kind of value", `"20"`, "from 0 to 1440", ""},
	{"negative number", plot, "minutes: 20", "minutes: -1", "26:14", "wrong kind of value", "-1", "from 0 to 1440", ""},
	{"number too large", plot, "minutes: 20", "minutes: 1441", "26:14", "wrong kind of value", "1441", "from 0 to 1440", ""},
	{"wrong kind of device", plot, "kind: chart display", "kind: chart plotter", "4:7", "unknown word", `"chart plotter"`, "one of chart display, radar", ""},
	{"misspelt kind", sweep, "kind: radar", "kind: rader", "4:7", "unknown word", `"rader"`, "radar", "radar"},
	{"misspelt check", plot, "heading against course]", "heading agianst course]", "29:28", "unknown word", "agianst", "version shown, settings and waypoints", "heading against course"},
	{"wrong file system", plot, "[fat32]", "[fat32, ntfs]", "8:25", "unknown word", `"ntfs"`, "fat32, exfat, fat16", ""},
	{"wrong slot", plot, "slot: microSD", "slot: micro-SD", "9:9", "unknown word", `"micro-SD"`, "microSD, SD", "microSD"},
	{"wrong settings", plot, "settings: kept", "settings: ketp", "28:15", "unknown word", `"ketp"`, "kept, lost", "kept"},
	{"wrong by", plot, "by: end", "by: ende", "25:57", "unknown word", `"ende"`, "start, end", "end"},
	{"wrong unpack", plot, "unpack: zip", "unpack: tar", "20:17", "unknown word", `"tar"`, "zip", ""},
	{"wrong folders", boat, "name: Kittiwake", "name: Kittiwake\nfolders: models", "3:10", "unknown word", `"models"`, "device, model", "model"},
	{"id in capitals", boat, "vessel: kittiwake", "vessel: Kittiwake", "1:9", "not an id", `"Kittiwake"`, "lower-case letters, digits and hyphens", ""},
	{"id too long", boat, "vessel: kittiwake", "vessel: " + strings.Repeat("a", 41), "1:9", "not an id", "aaa", "at most 40", ""},
	{"id that begins with a hyphen", boat, "vessel: kittiwake", "vessel: -kittiwake", "1:9", "not an id", `"-kittiwake"`, "letter or digit at either end", ""},
	{"version in words", boat, "version: 1.6", "version: newest", "16:14", "not a version", `"newest" does not begin with a digit`, "as the device shows it", ""},
	{"unknown in the catalogue", sweep, `version: "1.8"`, "version: unknown", "6:14", "not a version", `"unknown" does not begin with a digit`, "as the device shows it", ""},
	{"version with a space", boat, "version: 1.6", "version: 1.6 beta", "16:14", "not a version", `the character ' '`, "as the device shows it", ""},
	{"range without a comparison", plot, `over: ">= 3.0"`, `over: "3.0"`, "23:11", "not a range of versions", `"3.0" is not a bound`, `">= 1.8"`, `">= 3.0"`},
	{"hold with a wrong sign", boat, "hold: < 5", `hold: "=> 5"`, "9:11", "not a range of versions", `"> 5"`, `">= 1.8"`, ""},
	{"need of any version", plot, `version: ">= 1.8"`, `version: ""`, "25:43", "empty value", `""`, `">= 1.8"`, ""},
	{"size with a space", plot, "least: 4GB", "least: 4 GB", "6:10", "not a size", `"4 GB"`, "412345678, 4GB, 4GiB", "4GB"},
	{"size with underscores", plot, "size: 1000", "size: 1_000 bytes", "18:15", "not a size", `"1_000 bytes"`, "412345678", ""},
	{"size in other letters", plot, "least: 4GB", "least: 4gib", "6:10", "not a size", `"4gib"`, "4GiB", "4GiB"},
	{"size with a fraction", plot, "least: 4GB", "least: 4.5GB", "6:10", "not a size", `"4.5GB"`, "a whole number", ""},
	{"size below nothing", plot, "size: 1000", "size: -1", "18:15", "not a size", `"-1"`, "a whole number", ""},
	{"day without zeros", plot, "2025-05-19", "2025-5-19", "31:15", "not a day", `"2025-5-19"`, "2026-03-02", "2025-05-19"},
	{"day in words", plot, "2025-05-19", "19 May 2025", "31:15", "not a day", `"19 May 2025"`, "2026-03-02", "2025-05-19"},
	{"day that may be two", plot, "2025-05-19", "02/03/2026", "31:15", "not a day", `"02/03/2026"`, "2026-03-02", "2026-03-02 for 2 March 2026, or 2026-02-03 for 3 February 2026"},
	{"day with dots", plot, "2025-05-19", "2.3.2026", "31:15", "not a day", `"2.3.2026"`, "2026-03-02", "2026-03-02"},
	{"digest too short", sweep, emptyDigest, "e3b0", "9:51", "not a SHA-256", `"e3b0"`, "64 hex digits", ""},
	{"MMSI too short", boat, `"200000001"`, `"20000000"`, "3:34", "not an MMSI", `"20000000"`, "9 digits", ""},
	{"IMO number too long", boat, `"1234567"`, `"IMO1234567"`, "3:17", "not an IMO number", `"IMO1234567"`, "7 digits", ""},
	{"absolute name", sweep, "sweep2.img", "/sweep2.img", "9:16", "not a name for a file on a card", `"/sweep2.img"`, "a path such as", ""},
	{"relative folder", plot, "folder: any", "folder: update", "10:11", "not a folder on a card", `"update"`, "any, or a path", ""},
	{"empty name", boat, "name: Kittiwake", `name: ""`, "2:7", "empty value", `""`, "the vessel's name", ""},
}

// semantic mistakes are beyond what a schema says.
var semantic = []seeded{
	{"key given twice", plot, "maker: Fennick", "maker: Fennick\nmaker: Solveld", "3:1", "key given twice", `"maker" again`, "the first is in line 2", ""},
	{"IMO number with a wrong digit", boat, `"1234567"`, `"1234568"`, "3:17", "not an IMO number", "whose check digit would be 7", "7 digits", ""},
	{"day that isn't", plot, "2025-05-19", "2025-02-29", "31:15", "not a day", `"2025-02-29"`, "2026-03-02", ""},
	{"day that a card can't hold", plot, "2025-05-19", "1979-12-31", "31:15", "not a day", "1980 to 2107", "2026-03-02", ""},
	{"size beyond all cards", plot, "size: 1000", "size: 99999999TB", "18:15", "not a size", "more than 1000TB", "a whole number", ""},
	{"version too long", boat, "version: 1.6", "version: " + strings.Repeat("4", 65), "16:14", "not a version", "65 characters", "as the device shows it", ""},
	{"pattern with an error", plot, "passes_on: [fennick-sweep-2]", "passes_on: [fennick-sweep-2]\nversion_from: '(a))'", "12:15", "not a pattern with one group", `"(a))", with an error in it: unexpected )`, "a regular expression (RE2)", ""},
	{"pattern with two groups", plot, "passes_on: [fennick-sweep-2]", "passes_on: [fennick-sweep-2]\nversion_from: '(a)(b)'", "12:15", "not a pattern with one group", `"(a)(b)", with 2 groups`, "a regular expression (RE2)", ""},
	{"pattern whose brackets are text", plot, "passes_on: [fennick-sweep-2]", "passes_on: [fennick-sweep-2]\nversion_from: '\\(a\\)'", "12:15", "not a pattern with one group", `with 0 groups`, "a regular expression (RE2)", ""},
	{"anchor", boat, "name: Kittiwake", "name: &n Kittiwake", "2:7", "not accepted here", `"&n"`, "no anchors, aliases or tags", ""},
	{"tag", boat, "name: Kittiwake", "name: !!str Kittiwake", "2:7", "not accepted here", `"!!str"`, "no anchors, aliases or tags", ""},
	{"tag of a stranger", boat, "name: Kittiwake", "name: !boat Kittiwake", "2:7", "not accepted here", `"!boat"`, "no anchors, aliases or tags", ""},
	{"alias to nothing", boat, "name: Kittiwake", "name: *n", "2:7", "not readable as YAML", "a YAML alias", "no anchors, aliases or tags", ""},
	{"second document", boat, "vessel: kittiwake", "vessel: kittiwake\nname: Kittiwake\ndevices: [{id: a, model: fennick-plot-12, version: 1}]\n---\nvessel: other", "4:1", "not accepted here", "a second document", "one document", ""},
	{"list for the whole file", boat, smallShop[boat], "- vessel: kittiwake", "1:1", "wrong kind of value", "a list", "keys and values: vessel, name", ""},
	{"empty file", boat, smallShop[boat], "# nothing\n", "1:1", "not readable as YAML", "an empty file", "key: value", ""},
	{"list for a key", boat, "name: Kittiwake", "name: Kittiwake\n? [a, b]\n: c", "3:3", "unknown key", "a list", "vessel, name", ""},
	{"bracket not closed", boat, "[flybridge, helm]", "[flybridge, helm", "18:1", "not readable as YAML", "brackets that are not closed", "[a, b]", ""},
	{"quotation mark not closed", plot, `over: ">= 3.0"`, `over: '>= 3.0"`, "32:1", "not readable as YAML", "a quotation mark that is not closed", "a closing quotation mark", ""},
	{"range without quotes", plot, `over: ">= 3.0"`, "over: >= 3.0", "23:12", "not readable as YAML", "a value that begins with > or |", "a range in quotes", `put quotes around it, as in ">= 3.0"`},
	{"tab", boat, "    serial: 00231", "\tserial: 00231", "7:1", "not readable as YAML", "a tab in the indentation", "indented with spaces", "put spaces in place of the tab"},
	{"colon in text", boat, "name: Kittiwake", "name: Kittiwake: the boat", "2:16", "not readable as YAML", "a second colon", "key: value", "put quotes around a value that holds a colon and a space"},
	{"nested too deep", boat, "name: Kittiwake", "name: " + strings.Repeat("[", maxDepth+1), "2:19", "not readable as YAML", "more than 12 deep", "at most 12", ""},
	{"list too long", plot, "[fennick-sweep-2]", "[" + strings.Repeat("a,", MaxEntries+1) + "]", "11:12", "list too long", "2001 entries", "at most 2000", ""},
	{"too many values", plot, "[fennick-sweep-2]", "[" + strings.Repeat("a,", maxBreaks) + "]", "11:", "too much in the file", "more than 20000 commas", "at most 20000", ""},

	{"control character", boat, "Kittiwake\n", "Kitti\x1b[2Jwake\n", "2:12", "character refused", "the control character U+001B", "characters that can be seen", typeAgain},
	{"carriage return", boat, "Kittiwake\n", "Kitti\rwake\n", "2:12", "character refused", "the control character U+000D", "characters that can be seen", typeAgain},
	{"escape in quotes", boat, "name: Kittiwake", `name: "Kitti\x1b[2Jwake"`, "2:7", "character refused", "the control character U+001B, in", "one line of text", ""},
	{"direction changed", boat, "name: Kittiwake", "name: Kitti\u202Ewake", "2:12", "character refused", "U+202E, which changes the direction", "characters that can be seen", typeAgain},
	{"direction changed in a comment", boat, "name: Kittiwake", "name: Kittiwake # \u2066", "2:19", "character refused", "U+2066, which changes the direction", "characters that can be seen", typeAgain},
	{"zero width", boat, "name: Kittiwake", "name: Kitti\u200Bwake", "2:12", "character refused", "U+200B, which can't be seen", "characters that can be seen", typeAgain},
	{"filler", boat, "name: Kittiwake", "name: Kitti\u3164wake", "2:12", "character refused", "U+3164, which can't be seen", "characters that can be seen", typeAgain},
	{"byte order mark inside", boat, "name: Kittiwake", "name: Kitti\uFEFFwake", "2:12", "character refused", "U+FEFF, which can't be seen", "characters that can be seen", typeAgain},
	{"space that isn't one", boat, "name: Kittiwake", "name: Kittiwake\u00A0II", "2:16", "character refused", "U+00A0, which only looks like a space", "characters that can be seen", typeAgain},
	{"not UTF-8", boat, "name: Kittiwake", "name: Kitti\xE9wake", "2:12", "character refused", "the byte 0xE9, which is not UTF-8", "text in UTF-8", typeAgain},
	{"Latin-1", boat, "name: Kittiwake", "name: Kitti\xE9w\xE0ke", "2:12", "not text in UTF-8", "2 bytes that are not UTF-8, the first 0xE9, as in a file saved in Latin-1", "text in UTF-8", utf8Again},
	{"emoji in halves", boat, "name: Kittiwake", "name: Kitti\xed\xa0\xbd\xed\xb8\x80wake", "2:12", "character refused", "written as two halves (surrogates)", "text in UTF-8", typeAgain},
	{"emoji in two escapes", boat, "name: Kittiwake", `name: "Kitti\uD83D\uDE00wake"`, "2:15", "not readable as YAML", `a character in two escapes, \uD83D\uDE00`, "its one escape", `\U0001F600, or 😀 itself`},
	{"UTF-16", boat, smallShop[boat], utf16Of(smallShop[boat], "\xff\xfe", 0), "1:1", "not text in UTF-8", "text in UTF-16", "text in UTF-8", utf8Again},
	{"UTF-16 without a mark", boat, smallShop[boat], utf16Of(smallShop[boat], "", 1), "1:1", "not text in UTF-8", "text in UTF-16", "text in UTF-8", utf8Again},
	{"zeros", boat, smallShop[boat], strings.Repeat("\x00", 4096), "1:1", "not text in UTF-8", "4096 zero bytes and no text", "text in UTF-8", "put a copy of the file in its place"},
	{"tail of zeros", boat, "devices:", strings.Repeat("\x00", 4096), "4:1", "not text in UTF-8", "zero bytes in place of text", "text in UTF-8", "put a copy of the file in its place"},
	{"old line ends", boat, smallShop[boat], strings.ReplaceAll(smallShop[boat], "\n", "\r"), "1:18", "line ends of an old kind", "CR", "LF", "save it again with one of those"},
	{"tab in a value", boat, "name: Kittiwake", `name: "Kitti\twake"`, "2:7", "character refused", "the control character U+0009", "one line of text", ""},
	{"two lines", boat, "name: Kittiwake", "name: |\n  Kitti\n  wake", "2:7", "character refused", "a line end", "one line of text", "write >- in place of |, and no empty lines"},

	{"model given twice", sweep, "model: fennick-sweep-2", "model: fennick-plot-12", "1:8", "model given twice", `"fennick-plot-12" again`, "catalogue/plot.yaml:1:8", ""},
	{"release given twice", plot, "version: 3.1-40", `version: "1.010"`, "30:14", "release given twice", `"1.010"`, `"1.10" is in line 13`, ""},
	{"check explained twice", plot, "passes_on:", "checks:\n  - {check: compass swing, text: a}\n  - {check: compass swing, text: b}\npasses_on:", "13:13", "check given twice", `"compass swing" again`, "catalogue/plot.yaml:12:13", ""},
	{"device given twice", boat, "id: helm", "id: flybridge", "11:9", "device given twice", `"flybridge" again`, "vessels/kittiwake.yaml:5:9", ""},
	{"needs a model that isn't", plot, "{model: fennick-sweep-2,", "{model: fennick-sweep-5,", "25:17", "no such model", `"fennick-sweep-5"`, "the id of a model in the catalogue", "fennick-sweep-2"},
	{"passes on to a model that isn't", plot, "passes_on: [", "passes_on: [solveld-fix-2, ", "11:13", "no such model", `"solveld-fix-2"`, "the id of a model in the catalogue", ""},
	{"device of a model that isn't", boat, "model: fennick-sweep-2", "model: fennick-swep-4", "15:12", "no such model", `"fennick-swep-4"`, "the id of a model in the catalogue", "fennick-sweep-2"},
	{"through a device that isn't", boat, "[flybridge, helm]", "[flybridge, hlem]", "17:26", "no such device", `"hlem"`, "one of flybridge, helm", "helm"},
	{"through itself", boat, "[flybridge, helm]", "[flybridge, radar]", "17:26", "device passes on to itself", `"radar"`, "another device aboard", ""},
	{"through one that doesn't pass on", plot, "passes_on: [fennick-sweep-2]\n", "", "vessels/kittiwake.yaml:17:15 vessels/kittiwake.yaml:17:26", "device does not pass updates on", "a fennick-plot-12", "fennick-sweep-2 in passes_on", ""},
	{"chain", boat, "  - id: helm\n    model: fennick-plot-12\n", "  - id: helm\n    model: fennick-plot-12\n    through: flybridge\n", "13:14 18:26", "", "", "", ""},
	{"ring", boat, "    version: unknown\n", "    version: unknown\n    through: radar\n", "14:14 18:26", "chain of devices", "which is itself updated through", "a card slot of its own", ""},
	{"host without a slot", plot, smallShop[plot][strings.Index(smallShop[plot], "card:"):strings.Index(smallShop[plot], "passes_on:")], "", "vessels/kittiwake.yaml:17:15 vessels/kittiwake.yaml:17:26", "", "", "", ""},
	{"passed on what can't be updated", sweep, "kind: radar", "kind: radar\nroute: none", "5:8", "update of a device that can't be updated", `"none", and radar is updated through flybridge`, "another route", ""},
	{"a route that is none of them", sweep, "kind: radar", "kind: radar\nroute: programm", "5:8", "unknown word", `"programm"`, "cable, program, maker, none", "program"},
	{"where to go back to, and no way back", plot, "way_back: false", "way_back: false\n    back_to: \">= 3.0\"", "28:14", "a way back that isn't there", "back_to without way_back: true", "way_back: true", ""},
	{"what going back loses, and no way back", plot, "    way_back: false\n", "    back_settings: lost\n", "27:20", "a way back that isn't there", "back_settings without way_back: true", "way_back: true", ""},
	{"hold without a reason", boat, "    hold_why: the owner's wish\n", "", "9:11", "hold without a reason", "no hold_why", "hold_why", ""},
	{"reason without a hold", boat, "    hold: < 5\n", "", "9:15", "reason without a hold", "no hold", "hold: the range", ""},
	{"no devices", boat, smallShop[boat][strings.Index(smallShop[boat], "devices:"):], "devices: []\n", "4:10", "no devices", "an empty list", "the equipment aboard", ""},
	{"least above most", plot, "most: 32GB", "most: 2GB", "6:10", "smallest card above largest", "least 4GB", "at most 2GB", ""},

	{"file of 4 GiB", plot, "size: 412345678", "size: 4GiB", "16:34", "file too large for FAT32", "4294967296 bytes", "cards of fennick-plot-12 are FAT32", ""},
	{"member of 4 GiB", plot, "size: 400", "size: 4294967296", "22:38", "file too large for FAT32", "4294967296 bytes", "at most 4294967295 bytes", ""},
	{"passed on file of 4 GiB", sweep, "size: 9437184", "size: 5GB", "9:34", "file too large for FAT32", "5000000000 bytes", "cards of fennick-plot-12 are FAT32", ""},
	{"zip without members", plot, "        members:\n          - {name: more/a.bin, size: 400, sha256: " + emptyDigest + "}\n", "", "20:17", "archive without members", "no members", "name, size and sha256", ""},
	{"members without unpack", plot, "        unpack: zip\n", "", "21:11", "members of a file that is not unpacked", "no unpack", "unpack: zip", ""},
	{"same name twice", plot, "name: more/a.bin", "name: plot12.upd", "22:20", "names that clash on a card", `"plot12.upd"`, `line 16 has "plot12.upd"`, ""},
	{"names that differ in case", plot, "name: more/a.bin", "name: PLOT12.UPD", "22:20", "names that clash on a card", `"PLOT12.UPD"`, `line 16 has "plot12.upd"`, ""},
	{"file and folder of one name", plot, "name: more/a.bin", "name: Plot12.upd/a.bin", "22:20", "names that clash on a card", `"Plot12.upd/a.bin"`, `line 16 has "plot12.upd"`, ""},
	{"touched file that isn't one", plot, "    over:", "    touch: plot13.upd\n    over:", "23:12", "no such file in the release", `"plot13.upd"`, "one of plot12.upd, more/a.bin", "plot12.upd"},
	{"name that starts itself", sweep, "sweep2.img", "AUTORUN.INF", "9:16", "not a name for a file on a card", "start by themselves", "a path such as", ""},
	{"step up", sweep, "sweep2.img", "a/../../b.img", "9:16", "not a name for a file on a card", `".." in it`, "a path such as", ""},
	{"backslash", sweep, "sweep2.img", `a\b.img`, "9:16", "not a name for a file on a card", `the character '\\'`, "a path such as", ""},
	{"character illegal on FAT", sweep, "sweep2.img", "a?.img", "9:16", "not a name for a file on a card", `the character '?'`, "a path such as", ""},
	{"drive letter", sweep, "sweep2.img", "c:b.img", "9:16", "not a name for a file on a card", `the character ':'`, "a path such as", ""},
	{"trailing dot", sweep, "sweep2.img", "a./b.img", "9:16", "not a name for a file on a card", "ends in a dot", "a path such as", ""},
	{"trailing space", sweep, "sweep2.img", `"a.img "`, "9:16", "not a name for a file on a card", "ends in a space", "a path such as", ""},
	{"port of Windows", sweep, "sweep2.img", "update/NUL.img", "9:16", "not a name for a file on a card", "a port or a console", "a path such as", ""},
	{"name too long", sweep, "sweep2.img", strings.Repeat("a", 256), "9:16", "not a name for a file on a card", "longer than 255", "a path such as", ""},
	{"our record's folder", sweep, "sweep2.img", "_CARD/record.json", "9:16", "not a name for a file on a card", "the card's own record", "a path such as", ""},
	{"folder that steps up", plot, "folder: any", "folder: /a/../b", "10:11", "not a folder on a card", `".." in it`, "any, or a path", ""},
	{"folder with a slash at its end", plot, "folder: any", "folder: /update/", "10:11", "not a folder on a card", "an empty name in it", "any, or a path", ""},
	{"id that Windows takes for a port", sweep, "model: fennick-sweep-2", "model: aux", "1:8", "not an id", "a port or a console", "lower-case letters", ""},
	{"packages outside", "shop.yaml", "shop:", "packages: ../p\nshop:", "1:11", "not a folder below the shop folder", `".." in it`, "a relative path", ""},
	{"ledger outside", "shop.yaml", "shop:", "ledger: /var/ledger.db\nshop:", "1:9", "not a place for the ledger", "/var/ledger.db", "postgres://", ""},
}

const utf8Again = "save it again as UTF-8: editors ask for the encoding under Save as"

// utf16Of is a text of plain letters with two bytes each, the zero first or
// second.
func utf16Of(text, mark string, zero int) string {
	wide := mark
	for _, c := range []byte(text) {
		pair := []byte{c, 0}
		wide += string([]byte{pair[zero], pair[1-zero]})
	}
	return wide
}

const typeAgain = "delete it, and type the word again by hand"

func TestEachMistakeIsToldOnceInItsPlace(t *testing.T) {
	for _, s := range append(append([]seeded{}, structural...), semantic...) {
		t.Run(s.name, func(t *testing.T) {
			ms := mistakes(t, write(t, changed(t, s.file, s.old, s.new)))
			places := strings.Fields(s.at)
			require.Len(t, ms, len(places), "%v", ms)
			for i, m := range ms {
				at := places[i]
				if !strings.Contains(at, "/") {
					at = s.file + ":" + at
				}
				assert.True(t, strings.HasPrefix(m.At.String()+":", strings.TrimSuffix(at, ":")+":"), "at %s, expected %s", m.At, at)
				if s.what == "" {
					continue
				}
				assert.Equal(t, s.what, m.What)
				assert.Contains(t, m.Found, s.found)
				assert.Contains(t, m.Expected, s.expected)
				assert.Equal(t, s.hint, m.Advice)
			}
		})
	}
}

// The schemas are judged by a general validator, santhosh-tekuri/jsonschema.
func TestSchemasRefuseStructuralMistakes(t *testing.T) {
	for name, text := range smallShop {
		require.NoError(t, judge(t, kindOf(name), []byte(text)), name)
	}
	for _, s := range structural {
		files := changed(t, s.file, s.old, s.new)
		assert.Error(t, judge(t, kindOf(s.file), []byte(files[s.file])), s.name)
	}
}

func kindOf(file string) string {
	switch {
	case strings.HasPrefix(file, "catalogue/"):
		return "model"
	case strings.HasPrefix(file, "vessels/"):
		return "vessel"
	}
	return "shop"
}

// What must be let through: each looks like a mistake of the tables above.
func TestNoMistake(t *testing.T) {
	for _, s := range []struct{ name, file, old, new string }{
		{"versions of other variants", plot, "version: 3.1-40", "version: 1.10\n    variant: eu"},
		{"4 GiB less one", plot, "size: 412345678", "size: 4294967295"},
		{"4 GiB where a card may be exFAT", plot, "[fat32]\n", "[fat32, exfat]\n"},
		{"a zip of 4 GiB whose members are smaller", plot, "size: 1000", "size: 4GiB"},
		{"digest in capitals", sweep, emptyDigest, strings.ToUpper(emptyDigest)},
		{"empty words", plot, "settings: kept", `settings: ""`},
		{"v before a version", sweep, `"1.8"`, "v1.8"},
		{"no slot, no through", boat, "    through: [flybridge, helm]\n", ""},
		{"no slot, no through, no files", sweep, smallShop[sweep][strings.Index(smallShop[sweep], "    files:"):], ""},
		{"name with letters of another alphabet", sweep, "sweep2.img", "Ægir Ölüdeniz.img"},
		{"root of the card", plot, "folder: any", "folder: /"},
		{"name of 255", sweep, "sweep2.img", strings.Repeat("a", 255)},
		{"postgres ledger", "shop.yaml", "shop:", "ledger: postgres://bench/ledger\nshop:"},
		{"empty numbers", boat, `imo: "1234567", mmsi: "200000001"`, `imo: "", mmsi: ""`},
		{"numbers without quotes", boat, `imo: "1234567", mmsi: "200000001"`, `imo: 1234567, mmsi: 200000001`},
		{"empty hold", boat, "    hold: < 5\n    hold_why: the owner's wish\n", "    hold: \"\"\n    hold_why: \"\"\n"},
	} {
		t.Run(s.name, func(t *testing.T) {
			files := changed(t, s.file, s.old, s.new)
			if s.name == "4 GiB where a card may be exFAT" {
				files[plot] = strings.Replace(files[plot], "size: 412345678", "size: 4GiB", 1)
			}
			if s.name == "no slot, no through, no files" {
				files[boat] = strings.Replace(files[boat], "    through: [flybridge, helm]\n", "", 1)
			}
			_, err := Load(write(t, files))
			assert.NoError(t, err)
			assert.NoError(t, judge(t, kindOf(s.file), []byte(files[s.file])), "schema")
		})
	}
}
