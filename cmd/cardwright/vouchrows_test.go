package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"encoding/hex"
	"errors"
	"io"
	"strings"

	"github.com/klauspost/compress/zstd"

	"cardwright/media/mediatest/shoptest"
)

const (
	makers = "maker"
	ours   = "ours"
	second = "second source"
)

const (
	unusable    = "a list beside it says nothing usable about this file: "
	notThatFile = "not the file that was published"
)

// list is a row's one list.
func beside(name, content string) []string { return []string{name, content} }

// vouchRows are the rows of TestWhoVouches. How tools write their lists is known
// from their manual pages and from their output; how people and shells change
// them is common practice, no source.
var vouchRows = []struct {
	of   string
	rows []vouchRow
}{
	{"forms", []vouchRow{
		{"text", beside("SHA256SUMS", "{sha256}  new.upd\n"), "", makers, "no known key has signed"},
		{"binary", beside("SHA256SUMS", "{sha256} *new.upd\n"), "", makers, ""},
		{"among others", beside("SHA256SUMS", "{of:x|sha256}  x.upd\n{sha256}  new.upd\n{of:y|sha256}  y.upd\n"), "", makers, ""},
		{"no end of line", beside("SHA256SUMS", "{sha256}  new.upd"), "", makers, ""},
		{"with a folder", beside("SHA256SUMS", "{sha256}  ./new.upd\n"), "", makers, ""},
		{"with folders", beside("SHA256SUMS", "{sha256}  releases/4.1/new.upd\n"), "", makers, ""},
		{"with Windows folders", beside("SHA256SUMS", `{sha256} *C:\build\out\new.upd`), "", makers, ""},
		{"escaped", []string{"a\\b.upd", published, "SHA256SUMS", `\{sha256}  a\\b.upd`}, `FILE=a\b.upd --name b.upd`, makers, ""},
		{"tag", beside("SHA256SUMS", "SHA256 (new.upd) = {sha256}\n"), "", makers, ""},
		{"tag of SHA-512", beside("sums.txt", "SHA512 (new.upd) = {sha512}\n"), "", makers, "SHA-512"},
		{"tag of OpenSSL", beside("sums.txt", "SHA2-256(new.upd)= {sha256}\n"), "", makers, ""},
		{"tag of older OpenSSL", beside("sums.txt", "SHA256(new.upd)= {sha256}\n"), "", makers, ""},
		{"tag in base 64", beside("sums.txt", "SHA256 (new.upd) = {base64 sha256}\n"), "", makers, ""},
		{"one space", beside("SHA256SUMS", "{sha256} new.upd\n"), "", makers, ""},
		{"three spaces", beside("SHA256SUMS", "{sha256}   new.upd\n"), "", makers, ""},
		{"tab", beside("SHA256SUMS", "{sha256}\tnew.upd\n"), "", makers, ""},
		{"tabs and spaces", beside("SHA256SUMS", "  {sha256} \t \t new.upd \t\n"), "", makers, ""},
		{"name first", beside("SHA256SUMS", "new.upd {sha256}\n"), "", makers, ""},
		{"name first, tab", beside("SHA256SUMS", "new.upd\t{sha256}\n"), "", makers, ""},
		{"name and colon", beside("SHA256SUMS", "new.upd: {sha256}\n"), "", makers, ""},
		{"name and equals", beside("SHA256SUMS", "new.upd = {sha256}\n"), "", makers, ""},
		{"kind and colon", beside("SHA256SUMS", "sha256:{sha256}  new.upd\n"), "", makers, ""},
		{"name, kind and colon", beside("checksums.txt", "new.upd sha256:{sha256}\n"), "", makers, ""},
		{"kind, name", beside("checksums.txt", "SHA256 new.upd {sha256}\n"), "", makers, ""},
		{"kind alone", beside("new.upd.sha256", "sha256:{sha256}\n"), "", makers, ""},
		{"digest alone", beside("new.upd.sha256", "{sha256}\n"), "", makers, ""},
		{"digest alone, for its stem", beside("new.sha256", "{sha256}\n"), "", makers, ""},
		{"capitals", beside("SHA256SUMS", "{upper sha256}  new.upd\n"), "", makers, ""},
		{"name in capitals", beside("SHA256SUMS", "{sha256}  NEW.UPD\n"), "", makers, ""},
		{"space behind the name", beside("SHA256SUMS", "{sha256}  new.upd   \n"), "", makers, ""},
		{"space in the name", beside("SHA256SUMS", "{sha256}  new .upd\n"), "", makers, ""},
		{"quotes", beside("SHA256SUMS", "{sha256}  \"new.upd\"\n"), "", makers, ""},
		{"as an address", beside("SHA256SUMS", "{sha256}  https://fennick.example/dl/new.upd?v=4.1\n"), "", makers, ""},
		{"address with spaces", []string{"plot 9.upd", published, "SHA256SUMS", "{sha256}  plot%209.upd\n"}, "FILE=plot%209.upd", makers, ""},
		{"name with spaces", []string{"plot 9 v4.upd", published, "SHA256SUMS", "{sha256}  plot 9 v4.upd\n"}, "FILE=plot%209%20v4.upd", makers, ""},
		{"name with spaces first", []string{"plot 9 v4.upd", published, "sums.txt", "plot 9 v4.upd  {sha256}\n"}, "FILE=plot%209%20v4.upd", makers, ""},
		{"comma", beside("sums.csv", "new.upd,{sha256}\n"), "", makers, ""},
		{"semicolon", beside("sums.csv", "{sha256};new.upd;31\n"), "", makers, ""},
		{"quoted cells", beside("sums.csv", "\"new.upd\",\"31\",\"{sha256}\"\n"), "", makers, ""},
		{"table with a head", beside("sums.csv", "file,size,sha256\nx.upd,1,{of:x|sha256}\nnew.upd,31,{sha256}\n"), "", makers, ""},
		{"table of three kinds", beside("sums.csv", "name;md5;sha1;sha256\nnew.upd;{md5};{sha1};{sha256}\n"), "", makers, ""},
		{"table with tabs", beside("sums.tsv", "SHA-256\tFile name\n{sha256}\tnew.upd\n"), "", makers, ""},
		{"table with bars", beside("checksums.md", "| file | sha256 |\n| --- | --- |\n| `new.upd` | `{sha256}` |\n"), "", makers, ""},
		{"columns of a hash tool", beside("hashes.txt", "\nAlgorithm       Hash                                                                   Path\n---------       ----                                                                   ----\nSHA256          {upper sha256}       C:\\Users\\tech\\Downloads\\new.upd\n\n"), "", makers, ""},
		{"columns with the name cut off", beside("hashes.txt", "\nAlgorithm       Hash                                                                   Path\n---------       ----                                                                   ----\nSHA256          {upper sha256}       C:\\Users\\tech\\Down...\n"), "", makers, ""},
		{"lines of a hash tool", beside("hashes.txt", "\n\nAlgorithm : SHA256\nHash      : {upper sha256}\nPath      : C:\\Users\\tech\\Downloads\\new.upd\n\n"), "", makers, ""},
		{"lines of two files", beside("hashes.txt", "Algorithm : SHA256\nHash      : {of:x|sha256}\nPath      : C:\\x.upd\n\nAlgorithm : SHA256\nHash      : {upper sha256}\nPath      : C:\\new.upd\n"), "", makers, ""},
		{"table that a shell exports", beside("hashes.csv", "#TYPE Example.FileHash\n\"Algorithm\",\"Hash\",\"Path\"\n\"SHA256\",\"{upper sha256}\",\"C:\\dl\\new.upd\"\n"), "", makers, ""},
		{"heading before the digest", beside("new.upd.txt", "SHA256 hash of new.upd:\n{sha256}\nDone: the command completed successfully.\n"), "", makers, ""},
		{"heading, digest in bytes", beside("hash.txt", "SHA256 hash of file new.upd:\n{two sha256}\nDone.\n"), "", makers, ""},
		{"groups of digits", beside("new.upd.sha256", "new.upd: {four sha256}\n"), "", makers, ""},
		{"groups on two lines", beside("sums.txt", "new.upd:    MD5 = {two md5}\nnew.upd: SHA256 = "+folded("{four sha256}", 54, "                  ")+"\n"), "", makers, ""},
		{"SHA-512 folded by a narrow window", beside("hashes.txt", "Algorithm : SHA512\nHash      : "+folded("{upper sha512}", 83, "            ")+"\nPath      : C:\\new.upd\n"), "", makers, ""},
		{"bytes with colons", beside("new.upd.sha256", strings.ReplaceAll(filledIn("{two sha256}"), " ", ":")+"\n"), "", makers, ""},
		{"record of keys", beside("checksums.yaml", "files:\n  - name: x.upd\n    sha256: {of:x|sha256}\n  - name: new.upd\n    sha256: {sha256}\n"), "", makers, ""},
		{"record, digest first", beside("checksums.txt", "sha256: {of:x|sha256}\nfile: x.upd\n\nsha256: {sha256}\nfile: new.upd\n"), "", makers, ""},
		{"heading and kinds", beside("checksums.md", "## x.upd\n\n- MD5: {of:x|md5}\n- SHA-256: {of:x|sha256}\n\n## new.upd\n\n- MD5: {md5}\n- SHA-256: {sha256}\n"), "", makers, ""},
		{"JSON", beside("checksums.json", `{"files":[{"name":"x.upd","sha256":"{of:x|sha256}"},{"name":"new.upd","size":31,"sha256":"{sha256}"}]}`), "", makers, ""},
		{"JSON by name", beside("checksums.json", `{"new.upd": "{sha256}", "x.upd": "{of:x|sha256}"}`), "", makers, ""},
		{"JSON by name and kind", beside("checksums.json", `{"new.upd": {"md5": "{md5}", "sha256": "{sha256}"}}`), "", makers, ""},
		{"JSON with an algorithm", beside("release.json", `[{"url":"https://fennick.example/new.upd","checksum":{"algorithm":"sha-256","value":"{sha256}"}}]`), "", makers, ""},
		{"Metalink", beside("new.meta4", `<?xml version="1.0" encoding="UTF-8"?><metalink xmlns="urn:ietf:params:xml:ns:metalink"><file name="new.upd"><size>31</size><hash type="sha-256">{sha256}</hash></file></metalink>`), "", makers, ""},
		{"XML with attributes", beside("checksums.xml", `<files><file name="x.upd" sha256="{of:x|sha256}"/><file name="new.upd" sha256="{sha256}"/></files>`), "", makers, ""},
		{"size between", beside("sums.txt", "{sha256}  31  new.upd\n{of:x|sha256}  1  x.upd\n"), "", makers, ""},
		{"size before", beside("sums.txt", "        31  {sha256}  new.upd\n"), "", makers, ""},
		{"deep hash table", beside("hashes.txt", "%%%% HASHES-1.0\n%%%% size,md5,sha256,filename\n## made by a tool\n31,{md5},{sha256},/home/build/new.upd\n"), "", makers, ""},
		{"sentence", beside("checksum.txt", "The SHA-256 of new.upd is {sha256}.\n"), "", makers, ""},
		{"remarks", beside("SHA256SUMS", "# Fennick, release 4.1\n# check with sha256sum -c\n\n{sha256}  new.upd\n"), "", makers, ""},
		{"remark with a digest", beside("SHA256SUMS", "# {not sha256}  new.upd\n{sha256}  new.upd\n"), "", makers, ""},
		{"clear-signed", beside("SHA256SUMS.asc", "-----BEGIN PGP SIGNED MESSAGE-----\nHash: SHA512\n\n{sha256}  new.upd\n- -- \n-----BEGIN PGP SIGNATURE-----\n\niQIzBAEBCgAdFiEE\n-----END PGP SIGNATURE-----\n"), "", makers, "OpenPGP signature in SHA256SUMS.asc can't be checked here"},
		{"sections of kinds", beside("checksums.txt", "MD5\n{md5}  new.upd\n\nSHA-256\n{sha256}  new.upd\n\nBLAKE3:\n{blake3}  new.upd\n"), "", makers, ""},
		{"in the middle of a letter", beside("new.upd.txt", "Dear customer,\n\nplease find our new.upd at the usual place.\n\n  SHA-256: {sha256}\n\nRegards, Fennick\n"), "", makers, ""},
	}},
	{"encodings", []vouchRow{
		{"UTF-8 with a mark", beside("SHA256SUMS", "\ufeff{sha256}  new.upd\n"), "", makers, ""},
		{"UTF-16 LE with a mark", beside("SHA256SUMS", wide("\ufeff{sha256}  new.upd\r\n", true)), "", makers, ""},
		{"UTF-16 BE with a mark", beside("SHA256SUMS", wide("\ufeff{sha256}  new.upd\r\n", false)), "", makers, ""},
		{"UTF-16 LE without", beside("SHA256SUMS", wide("{sha256}  new.upd\r\n", true)), "", makers, ""},
		{"UTF-16 BE without", beside("SHA256SUMS", wide("{sha256}  new.upd\n", false)), "", makers, ""},
		{"UTF-16, columns", beside("hashes.txt", wide("\ufeff\r\nAlgorithm : SHA256\r\nHash      : {upper sha256}\r\nPath      : C:\\new.upd\r\n", true)), "", makers, ""},
		{"UTF-16, digest alone", beside("new.upd.sha256", wide("\ufeff{sha256}\r\n", true)), "", makers, ""},
		{"CR LF", beside("SHA256SUMS", "{of:x|sha256}  x.upd\r\n{sha256}  new.upd\r\n"), "", makers, ""},
		{"CR", beside("SHA256SUMS", "{of:x|sha256}  x.upd\r{sha256}  new.upd\r"), "", makers, ""},
		{"Latin letters", []string{"Kärte.upd", published, "SHA256SUMS", "{sha256}  K\xe4rte.upd\n"}, "FILE=Kärte.upd", makers, ""},
		{"accents apart", []string{"Kärte.upd", published, "SHA256SUMS", "{sha256}  Ka\u0308rte.upd\n"}, "FILE=Kärte.upd", makers, ""},
		{"hard spaces", beside("SHA256SUMS", "{sha256}\u00a0\u00a0new.upd\n"), "", makers, ""},
		{"letters that can't be seen", beside("SHA256SUMS", "\u200b{sha256}  new.upd\u200b\n"), "", makers, ""},
		{"end of file of old systems", beside("SHA256SUMS", "{sha256}  new.upd\r\n\x1a"), "", makers, ""},
	}},
	{"contradictions", []vouchRow{
		{"text", beside("SHA256SUMS", "{not sha256}  new.upd\n"), "", "", notThatFile},
		{"tag", beside("SHA256SUMS", "SHA256 (new.upd) = {not sha256}\n"), "", "", notThatFile},
		{"UTF-16", beside("SHA256SUMS", wide("\ufeff{not sha256}  new.upd\r\n", true)), "", "", notThatFile},
		{"tab", beside("SHA256SUMS", "{not sha256}\tnew.upd\n"), "", "", notThatFile},
		{"capitals", beside("SHA256SUMS", "{not sha256}  NEW.UPD\n"), "", "", notThatFile},
		{"stray space", beside("SHA256SUMS", "{not sha256}  new.upd \n"), "", "", notThatFile},
		{"name and colon", beside("SHA256SUMS", "new.upd: {not sha256}\n"), "", "", notThatFile},
		{"kind and colon", beside("new.upd.sha256", "sha256:{not sha256}\n"), "", "", notThatFile},
		{"CSV", beside("sums.csv", "file,sha256\nnew.upd,{not sha256}\n"), "", "", notThatFile},
		{"columns", beside("hashes.txt", "SHA256          {not sha256}       C:\\new.upd\n"), "", "", notThatFile},
		{"lines of a hash tool", beside("hashes.txt", "Algorithm : SHA256\nHash      : {not sha256}\nPath      : C:\\new.upd\n"), "", "", notThatFile},
		{"CR", beside("SHA256SUMS", "{of:x|sha256}  x.upd\r{not sha256}  new.upd\r"), "", "", notThatFile},
		{"web page", beside("SHA256SUMS", "<!DOCTYPE html><html><body><table><tr><td>new.upd</td><td>{not sha256}</td></tr></table></body></html>"), "", "", notThatFile},
		{"own list", beside("new.upd.sha256", "{not sha256}\n"), "", "", notThatFile},
		{"own list under another name", beside("new.upd.sha256", "{not sha256}  build/plot.upd\n"), "", "", notThatFile},
		{"own list in capitals", beside("NEW.UPD.SHA256", "{not sha256}\n"), "", "", notThatFile},
		{"lower-case shared list", beside("sha256sums", "{not sha256}  new.upd\n"), "", "", notThatFile},
		{"checksums.sha256", beside("checksums.sha256", "{not sha256}  new.upd\n"), "", "", notThatFile},
		{"by content", beside("letter.txt", "new.upd has the SHA-256 {not sha256}\n"), "", "", notThatFile},
		{"JSON", beside("release.json", `{"name":"new.upd","sha256":"{not sha256}"}`), "", "", notThatFile},
		{"Metalink", beside("new.meta4", `<metalink xmlns="urn:ietf:params:xml:ns:metalink"><file name="new.upd"><hash type="sha-256">{not sha256}</hash></file></metalink>`), "", "", notThatFile},
		{"clear-signed", beside("SHA256SUMS.asc", "-----BEGIN PGP SIGNED MESSAGE-----\nHash: SHA512\n\n{not sha256}  new.upd\n-----BEGIN PGP SIGNATURE-----\n\niQIz\n-----END PGP SIGNATURE-----\n"), "", "", notThatFile},
		{"MD5", beside("new.upd.md5", "{not md5}  new.upd\n"), "", "", notThatFile},
		{"SHA-1", beside("SHA1SUMS", "{not sha1}  new.upd\n"), "", "", notThatFile},
		{"CRC-32", beside("new.sfv", "; made by a tool\nnew.upd {not crc32}\n"), "", "", notThatFile},
		{"right SHA-256, wrong MD5", beside("sums.txt", "new.upd MD5 {not md5}\nnew.upd SHA256 {sha256}\n"), "", "", notThatFile},
		{"right MD5, wrong SHA-256", beside("sums.txt", "MD5 (new.upd) = {md5}\nSHA256 (new.upd) = {not sha256}\n"), "", "", notThatFile},
		{"two lists, one wrong", []string{"SHA256SUMS", "{sha256}  new.upd\n", "MD5SUMS", "{not md5}  new.upd\n"}, "", "", notThatFile},
		{"BLAKE2b", beside("b2sums.txt", "{not blake2b}  new.upd\n"), "", "", notThatFile},
		{"no kind told", beside("checksums.txt", "{not sha512}  new.upd\n"), "", "", "SHA-512 or BLAKE2b-512 or SHA3-512"},
		{"--digests", []string{"elsewhere/list.txt", "{not sha256}  new.upd\n"}, "--digests elsewhere/list.txt", "", notThatFile},
		{"list signed by the maker", []string{"SHA256SUMS", "{not sha256}  new.upd\n", "SHA256SUMS.minisig", sign(makersKey, "{not sha256}  new.upd\n")}, keyed, "", notThatFile},
		{"--sha256", nil, "--sha256 {not sha256} --from maker", "", "not the file with this digest"},
	}},
	{"kinds", []vouchRow{
		{"SHA-384", beside("SHA384SUMS", "{sha384}  new.upd\n"), "", makers, "SHA-384"},
		{"SHA-512", beside("SHA512SUMS", "{sha512}  new.upd\n"), "", makers, "SHA-512"},
		{"SHA-512/256 by its tag", beside("sums.txt", "SHA512-256(new.upd)= {sha512-256}\n"), "", makers, "SHA-512/256"},
		{"SHA3-256 by its name", beside("new.upd.sha3-256", "{sha3-256}  new.upd\n"), "", makers, "SHA3-256"},
		{"SHA3-256 by its tag", beside("sums.txt", "SHA3-256 (new.upd) = {sha3-256}\n"), "", makers, "SHA3-256"},
		{"SHA3-256, not told", beside("checksums.txt", "{sha3-256}  new.upd\n"), "", makers, "SHA3-256"},
		{"SHA3-384, not told", beside("checksums.txt", "{sha3-384}  new.upd\n"), "", makers, "SHA3-384"},
		{"SHA3-512 by its name", beside("SHA3-512SUMS", "{sha3-512}  new.upd\n"), "", makers, "SHA3-512"},
		{"SHA3-512, not told", beside("checksums.txt", "{sha3-512}  new.upd\n"), "", makers, "SHA3-512"},
		{"BLAKE2b by the name of its tool", beside("b2sums.txt", "{blake2b}  new.upd\n"), "", makers, "BLAKE2b-512"},
		{"BLAKE2b by its name", beside("new.upd.blake2b", "{blake2b}\n"), "", makers, "BLAKE2b-512"},
		{"BLAKE2b by its tag", beside("sums.txt", "BLAKE2b (new.upd) = {blake2b}\n"), "", makers, "BLAKE2b-512"},
		{"BLAKE2b by OpenSSL's tag", beside("sums.txt", "BLAKE2B-512(new.upd)= {blake2b}\n"), "", makers, "BLAKE2b-512"},
		{"BLAKE2b-256 by its tag", beside("sums.txt", "BLAKE2b-256 (new.upd) = {blake2256}\n"), "", makers, "BLAKE2b-256"},
		{"BLAKE2b, not told", beside("checksums.txt", "{blake2b}  new.upd\n"), "", makers, "BLAKE2b-512"},
		{"BLAKE2b called SHA-512", beside("SHA512SUMS", "{blake2b}  new.upd\n"), "", makers, "BLAKE2b-512"},
		{"BLAKE2s, not told", beside("checksums.txt", "{blake2s}  new.upd\n"), "", makers, "BLAKE2s-256"},
		{"BLAKE3 by the name of its tool", beside("B3SUMS", "{blake3}  new.upd\n"), "", makers, "BLAKE3"},
		{"BLAKE3 by its tag", beside("sums.txt", "BLAKE3 (new.upd) = {blake3}\n"), "", makers, "BLAKE3"},
		{"BLAKE3, not told", beside("new.upd.sum", "{blake3}\n"), "", makers, "BLAKE3"},
		{"SHA-224", beside("new.upd.sha224", "{sha224}\n"), "", makers, "SHA-224"},
		{"MD5 shows an accident", beside("new.upd.md5", "{md5}  new.upd\n"), "", ours, "the MD5 in new.upd.md5 matches: that kind of digest shows an accident, not an attack"},
		{"MD5, alone", beside("new.upd.md5", "{md5}\n"), "", ours, "not an attack"},
		{"MD5 by its tag", beside("MD5SUMS", "MD5 (new.upd) = {md5}\n"), "", ours, "not an attack"},
		{"SHA-1", beside("new.upd.sha1", "{sha1} *new.upd\n"), "", ours, "the SHA-1 in new.upd.sha1 matches"},
		{"RIPEMD-160", beside("sums.txt", "RMD160 (new.upd) = {rmd160}\n"), "", ours, "RIPEMD-160"},
		{"CRC-32", beside("new.sfv", "; made by a tool\nnew.upd {upper crc32}\n"), "", ours, "the CRC-32 in new.sfv matches"},
		{"MD5 and SHA-256", beside("sums.txt", "MD5 (new.upd) = {md5}\nSHA256 (new.upd) = {sha256}\n"), "", makers, ""},
		{"a kind that isn't known", beside("sums.txt", "WHIRLPOOL (new.upd) = {not sha512}\n"), "", ours, "its digest can't be computed here: Whirlpool"},
		{"a kind that isn't known, by its name", beside("new.upd.whirlpool", "{not sha512}\n"), "", ours, "can't be computed here: Whirlpool"},
		{"another name for right bytes", beside("SHA256SUMS", "{sha256}  plot9-4.1.upd\n"), "", "", "take it in under that name with --name plot9-4.1.upd"},
		{"another name, BLAKE2b", beside("checksums.txt", "{blake2b}  plot9-4.1.upd\n"), "", "", "--name plot9-4.1.upd"},
		{"another name, taken under it", beside("SHA256SUMS", "{sha256}  plot9-4.1.upd\n"), "--name plot9-4.1.upd", makers, ""},
		{"another name in its own list", beside("new.upd.sha256", "{sha256}  build/plot.upd\n"), "", makers, "new.upd.sha256 calls it build/plot.upd"},
	}},
	{"nothing usable", []vouchRow{
		{"an empty list", beside("SHA256SUMS", ""), "", ours, unusable + "SHA256SUMS: empty"},
		{"a list of spaces", beside("SHA256SUMS", " \r\n\r\n"), "", ours, unusable + "SHA256SUMS: empty"},
		{"a mark alone", beside("SHA256SUMS", "\xff\xfe"), "", ours, unusable + "SHA256SUMS: empty"},
		{"a web page", beside("SHA256SUMS", "<!DOCTYPE html>\n<html><body>Please sign in</body></html>\n"), "", ours, unusable + "SHA256SUMS: a web page instead of a list"},
		{"a web page in UTF-16", beside("SHA256SUMS", wide("\ufeff<html><body>Sign in</body></html>", true)), "", ours, "a web page instead of a list"},
		{"a web page that has the digest", beside("SHA256SUMS", "<html><body><pre>{sha256}  new.upd</pre></body></html>"), "", ours, "a web page instead of a list"},
		{"bytes", beside("SHA256SUMS", "\x00\x01\x02PK\x03\x04\x00\x00\x00"), "", ours, unusable + "SHA256SUMS: not a text"},
		{"an error in JSON", beside("SHA256SUMS", `{"error":"not found"}`), "", ours, unusable + "SHA256SUMS: there is no digest in it"},
		{"an error in XML", beside("SHA256SUMS", "<?xml version=\"1.0\"?>\n<Error><Code>AccessDenied</Code></Error>"), "", ours, unusable + "SHA256SUMS: there is no digest in it"},
		{"404", beside("SHA256SUMS", "404: Not Found\n"), "", ours, "there is no digest in it"},
		{"other files", beside("SHA256SUMS", "{of:x|sha256}  x.upd\n{of:y|sha256}  y.upd\n"), "", ours, unusable + "SHA256SUMS: it only names x.upd, y.upd"},
		{"a digest that was cut off", beside("SHA256SUMS", "{md5}1234567  new.upd\n"), "", ours, "it names the file, without a digest that can be read"},
		{"its name alone", beside("new.upd.sha256", "new.upd\n"), "", ours, "it names the file, without a digest that can be read"},
		{"another file's digest, no name", beside("sha256.txt", "{of:x|sha256}\n"), "", ours, unusable + "sha256.txt: its digests have no names"},
		{"a long line", beside("SHA256SUMS", strings.Repeat("x", 20_000)+"\n"), "", ours, "it has lines of more than 16384 bytes"},
		{"lower case", beside("sha256sums", ""), "", ours, unusable + "sha256sums: empty"},
		{"checksums.sha256", beside("checksums.sha256", "{of:x|sha256}  x.upd\n"), "", ours, unusable + "checksums.sha256"},
		{"own list, empty", beside("new.upd.sha256", "\n"), "", ours, unusable + "new.upd.sha256: empty"},
		{"named by the user", beside("mine.txt", "{of:x|sha256}  x.upd\n"), "--digests mine.txt", "", "a list that says nothing usable about this file"},
		{"another file's own list", []string{"x.upd", "x", "x.upd.sha256", "{of:x|sha256}  x.upd\n"}, "", ours, ""},
		{"a letter about something else", beside("letter.txt", "{of:x|sha256}  x.upd\n"), "", ours, ""},
	}},
	{"only the maker", []vouchRow{
		{"nothing", nil, "", ours, ""},
		{"--from x", nil, "--from x", ours, ""},
		{"--from x with a digest", nil, "--sha256 {sha256} --from x", second, ""},
		{"--from the maker's forum", nil, "--sha256 {sha256} --from maker's%20forum", second, ""},
		{"--from maker", nil, "--sha256 {sha256} --from maker", makers, ""},
		{"--from maker without a digest", nil, "--from maker", ours, "nothing vouches for it"},
		{"two folders", beside("SHA256SUMS", "{sha256}  eu/new.upd\n{not sha256}  us/new.upd\n"), "", ours, "without the folder none of them counts"},
		{"two folders, the same digest", beside("SHA256SUMS", "{sha256}  eu/new.upd\n{sha256}  us/new.upd\n"), "", makers, ""},
		{"two folders, neither right", beside("SHA256SUMS", "{of:x|sha256}  eu/new.upd\n{not sha256}  us/new.upd\n"), "", "", notThatFile},
		{"two digests for one name", beside("SHA256SUMS", "{sha256}  new.upd\n{not sha256}  new.upd\n"), "", ours, "none of them counts"},
		{"two folders, in the right one", []string{"eu/new.upd", published, "SHA256SUMS", "{sha256}  eu/new.upd\n{not sha256}  us/new.upd\n"}, "FILE=eu/new.upd --digests SHA256SUMS", makers, ""},
		{"two folders, in the wrong one", []string{"us/new.upd", published, "SHA256SUMS", "{sha256}  eu/new.upd\n{not sha256}  us/new.upd\n"}, "FILE=us/new.upd --digests SHA256SUMS", "", notThatFile},
		{"beside an older one", beside("SHA256SUMS", "{sha256}  new.upd\n{not sha256}  old/new.upd\n"), "", makers, ""},
		{"two in capitals", beside("SHA256SUMS", "{sha256}  new.upd\n{not sha256}  NEW.UPD\n"), "", makers, ""},
		{"zip listed right", []string{"a.zip", zipped("p.upd", published), "SHA256SUMS", listOf("a.zip", zipped("p.upd", published))}, "FILE=a.zip --member p.upd", makers, ""},
		{"zip listed right, member contradicted", []string{"a.zip", zipped("p.upd", published), "SHA256SUMS", listOf("a.zip", zipped("p.upd", published)) + "{not sha256}  p.upd\n"}, "FILE=a.zip --member p.upd", "", notThatFile},
		{"zip listed right, member contradicted by MD5", []string{"a.zip", zipped("p.upd", published), "SHA256SUMS", listOf("a.zip", zipped("p.upd", published)), "p.upd.md5", "{not md5}  p.upd\n"}, "FILE=a.zip --member p.upd", "", notThatFile},
		{"zip not listed, member right", []string{"a.zip", zipped("p.upd", published), "SHA256SUMS", "{sha256}  p.upd\n"}, "FILE=a.zip --member p.upd", makers, ""},
		{"zip not listed, member right by BLAKE2b", []string{"a.zip", zipped("p.upd", published), "checksums.txt", "{blake2b}  p.upd\n"}, "FILE=a.zip --member p.upd", makers, "BLAKE2b-512"},
		{"zip contradicted, member right", []string{"a.zip", zipped("p.upd", published), "SHA256SUMS", "{not sha256}  a.zip\n{sha256}  p.upd\n"}, "FILE=a.zip --member p.upd", "", notThatFile},
		{"unpacked zip, a file inside contradicted", []string{"a.zip", zipped("b/p.upd", published), "SHA256SUMS", listOf("a.zip", zipped("b/p.upd", published)) + "{not sha256}  b/p.upd\n"}, "FILE=a.zip --unpack", "", notThatFile},
		{"unpacked zip, files inside right", []string{"a.zip", zipped("b/p.upd", published), "SHA256SUMS", listOf("a.zip", zipped("b/p.upd", published)) + "{sha256}  b/p.upd\n"}, "FILE=a.zip --unpack", makers, ""},
		{"files inside right don't vouch for a zip", []string{"a.zip", zipped("b/p.upd", published), "SHA256SUMS", "{sha256}  b/p.upd\n"}, "FILE=a.zip --unpack", ours, unusable},
		{"own list of a zip names its member", []string{"a.zip", zipped("p.upd", published), "a.zip.sha256", "{sha256}  p.upd\n"}, "FILE=a.zip --member p.upd", makers, ""},
		{"another release's list", []string{"SHA256SUMS", "{of:x|sha256}  new-4.0.upd\n"}, "", ours, unusable},
	}},
	{"signatures", []vouchRow{
		{"by the maker", beside("new.upd.minisig", sign(makersKey, published)), keyed, makers, ""},
		{"by the maker, name in capitals", beside("NEW.UPD.MINISIG", sign(makersKey, published)), keyed, makers, ""},
		{"by the maker, called .sig", beside("new.upd.sig", sign(makersKey, published)), keyed, makers, ""},
		{"by somebody else", beside("new.upd.minisig", sign(strangersKey, published)), keyed, "", "which isn't the maker's"},
		{"for other bytes", beside("new.upd.minisig", sign(makersKey, other)), keyed, "", "by the maker's key, for other bytes"},
		{"broken", beside("new.upd.minisig", "untrusted comment: x\n"), keyed, "", "no signature in it"},
		{"empty", beside("new.upd.minisig", ""), keyed, "", "no signature in it"},
		{"missing", nil, keyed, ours, "Fennick's key is known, but there is no signature by it"},
		{"missing, with a list", beside("SHA256SUMS", "{sha256}  new.upd\n"), keyed, second, "SHA256SUMS is not signed by Fennick's key: it doesn't count as the maker's"},
		{"missing, told with a list too", beside("SHA256SUMS", "{sha256}  new.upd\n"), keyed, second, "Fennick's key is known, but there is no signature by it"},
		{"missing, digest from the maker", nil, keyed + " --sha256 {sha256} --from maker", makers, "Fennick's key is known, but there is no signature by it"},
		{"of the list", []string{"SHA256SUMS", "{sha256}  new.upd\n", "SHA256SUMS.minisig", sign(makersKey, "{sha256}  new.upd\n")}, keyed, makers, ""},
		{"of a UTF-16 list", []string{"SHA256SUMS", wide("\ufeff{sha256}  new.upd\r\n", true), "SHA256SUMS.minisig", sign(makersKey, wide("\ufeff{sha256}  new.upd\r\n", true))}, keyed, makers, ""},
		{"of the list, by somebody else", []string{"SHA256SUMS", "{sha256}  new.upd\n", "SHA256SUMS.minisig", sign(strangersKey, "{sha256}  new.upd\n")}, keyed, "", "which isn't the maker's"},
		{"of a changed list", []string{"SHA256SUMS", "{sha256}  new.upd\n\n", "SHA256SUMS.minisig", sign(makersKey, "{sha256}  new.upd\n")}, keyed, "", "for other bytes"},
		{"of a list of MD5", []string{"MD5SUMS", "{md5}  new.upd\n", "MD5SUMS.minisig", sign(makersKey, "{md5}  new.upd\n")}, keyed, ours, "not an attack"},
		{"key not known", beside("new.upd.minisig", sign(makersKey, published)), "", ours, "was not checked: no key of Fennick is known"},
		{"key not known, with a list", []string{"SHA256SUMS", "{sha256}  new.upd\n", "SHA256SUMS.minisig", sign(makersKey, "{sha256}  new.upd\n")}, "", makers, "SHA256SUMS.minisig was not checked"},
		{"key given", beside("new.upd.minisig", sign(makersKey, published)), "--signing-key MAKERSKEY", makers, ""},
		{"key given again", beside("new.upd.minisig", sign(makersKey, published)), keyed + " --signing-key MAKERSKEY", makers, ""},
		{"another key given", beside("new.upd.minisig", sign(strangersKey, published)), keyed + " --signing-key STRANGERSKEY", "", "not the key that the catalogue has for Fennick"},
		{"another key given, and the maker's signature", beside("new.upd.minisig", sign(makersKey, published)), keyed + " --signing-key STRANGERSKEY", "", "not the key that the catalogue has"},
		{"key replaced with why", beside("new.upd.minisig", sign(strangersKey, published)), keyed + " --signing-key STRANGERSKEY --replace-key lost%20theirs", makers, ""},
		{"key replaced, signature by the old one", beside("new.upd.minisig", sign(makersKey, published)), keyed + " --signing-key STRANGERSKEY --replace-key lost%20theirs", "", "which isn't the maker's"},
		{"OpenPGP beside it", beside("new.upd.asc", "-----BEGIN PGP SIGNATURE-----\n\niQIzBAEB\n-----END PGP SIGNATURE-----\n"), "", ours, "new.upd.asc beside it is an OpenPGP signature, which can't be checked here"},
		{"OpenPGP in bytes", beside("new.upd.sig", "\x89\x02\x33\x04\x00\x01\x0a\x00\x1d"), "", ours, "an OpenPGP signature, which can't be checked here"},
		{"OpenPGP of the list", []string{"SHA256SUMS", "{sha256}  new.upd\n", "SHA256SUMS.asc", "-----BEGIN PGP SIGNATURE-----\n\niQIz\n-----END PGP SIGNATURE-----\n"}, "", makers, "SHA256SUMS.asc beside it is an OpenPGP signature"},
		{"SSH", beside("new.upd.sig", "-----BEGIN SSH SIGNATURE-----\nU1NIU0lH\n-----END SSH SIGNATURE-----\n"), "", ours, "an SSH signature, which can't be checked here"},
		{"X.509", beside("new.upd.p7s", "\x30\x82\x01\x00\x06\x09"), "", ours, "new.upd.p7s beside it is a signature, which can't be checked here"},
		{"digest called .sig", beside("new.upd.sig", "{not sha256}  new.upd\n"), "", "", notThatFile},
		{"of another file", beside("x.upd.minisig", sign(makersKey, "x")), keyed, ours, "Fennick's key is known, but there is no signature by it"},
	}},
	{"not a package", []vouchRow{
		{"zeros", beside("new.upd", strings.Repeat("\x00", 5000)), "", "", "a file of nothing but the byte 00"},
		{"one byte over and over", beside("new.upd", strings.Repeat("\xff", 5000)), "", "", "a file of nothing but the byte FF"},
		{"a tail of zeros", beside("new.upd", random(9000)+strings.Repeat("\x00", 4096)), "", "", "zeros from byte 9000 to the end at 13096"},
		{"half of it zeros", beside("new.upd", random(100)+strings.Repeat("\x00", 100)), "", "", "a file that ends in zeros"},
		{"a few zeros at its end", beside("new.upd", random(9000)+strings.Repeat("\x00", 32)), "", ours, ""},
		{"zeros within", beside("new.upd", random(900)+strings.Repeat("\x00", 9000)+random(900)), "", ours, ""},
		{"zeros that the maker lists", []string{"new.upd", strings.Repeat("\x00", 500), "SHA256SUMS", listOf("new.upd", strings.Repeat("\x00", 500))}, "", makers, ""},
		{"zeros whose digest was got elsewhere", beside("new.upd", strings.Repeat("\x00", 500)), "--from yard --sha256 " + shoptest.Sum(make([]byte, 500)), second, ""},
		{"zeros of which the list has the MD5", []string{"new.upd", strings.Repeat("\x00", 500), "MD5SUMS", "{of:x|md5}  x.upd\n"}, "", "", "a file of nothing but"},
		{"web page", beside("new.upd", "<!DOCTYPE html>\n<html><body>Sign in</body></html>"), "", "", "a web page, not a package"},
		{"web page in capitals", beside("new.upd", "<HTML><HEAD><TITLE>404</TITLE>"), "", "", "a web page, not a package"},
		{"web page with a mark", beside("new.upd", "\ufeff<html>"), "", "", "a web page, not a package"},
		{"web page after spaces", beside("new.upd", strings.Repeat("\r\n \t", 900)+"<html><body>"), "", "", "a web page, not a package"},
		{"web page after a remark", beside("new.upd", "<!-- "+strings.Repeat("a remark ", 200)+"-->\n<!-- more -->\n<html><body>"), "", "", "a web page, not a package"},
		{"web page after an XML declaration", beside("new.upd", "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!DOCTYPE html PUBLIC \"-//W3C//DTD XHTML 1.0 Strict//EN\" \"x\">\n<html>"), "", "", "a web page, not a package"},
		{"web page in UTF-16", beside("new.upd", wide("\ufeff<!DOCTYPE html><html>", true)), "", "", "a web page, not a package"},
		{"web page in UTF-16 without a mark", beside("new.upd", wide("<html><head><title>Sign in</title>", false)), "", "", "a web page, not a package"},
		{"a part of a web page", beside("new.upd", "<h1>403 Forbidden</h1>"), "", "", "a web page, not a package"},
		{"a script that leads on", beside("new.upd", "<script>location='https://fennick.example/login'</script>"), "", "", "a web page, not a package"},
		{"a page as a page", []string{"notes.html", "<html><body>Release notes</body></html>"}, "FILE=notes.html", ours, ""},
		{"error in XML", beside("new.upd", "<?xml version=\"1.0\"?>\n<Error><Code>AccessDenied</Code></Error>"), "", "", "an XML reply, not a package"},
		{"error in XML, bare", beside("new.upd", "<Error><Code>NoSuchKey</Code></Error>"), "", "", "an XML reply"},
		{"error in JSON", beside("new.upd", `{"error":{"code":404,"message":"Not Found"}}`), "", "", "a JSON reply, not a package"},
		{"error in JSON with a mark, spread out", beside("new.upd", "\ufeff\r\n{\r\n  \"status\": 403\r\n}\r\n"), "", "", "a JSON reply"},
		{"list in JSON", beside("new.upd", "[]"), "", "", "a JSON reply"},
		{"JSON in UTF-16", beside("new.upd", wide("\ufeff{\"message\": \"expired\"}", false)), "", "", "a JSON reply"},
		{"long JSON", beside("new.upd", `{"a": ["`+strings.Repeat("x", 200)+`"`+strings.Repeat(`,"yyyyyyyy"`, 9000)+`]}`), "", "", "a JSON reply"},
		{"JSON as JSON", []string{"routes.json", `{"routes": [1, 2, 3]}`}, "FILE=routes.json", ours, ""},
		{"error in words", beside("new.upd", "404: Not Found"), "", "", "an error message"},
		{"error in words, longer", beside("new.upd", "Access denied. Your session has expired.\n"), "", "", "an error message"},
		{"answer with its head", beside("new.upd", "HTTP/1.1 302 Found\r\nLocation: /login\r\n\r\n"), "", "", "a saved web page"},
		{"web page saved with its pictures", beside("new.upd", "From: <Saved by a browser>\r\nMIME-Version: 1.0\r\nContent-Type: multipart/related\r\n"), "", "", "a saved web page"},
		{"a link", beside("new.upd", "[InternetShortcut]\r\nURL=https://fennick.example/new.upd\r\n"), "", "", "a link to a download"},
		{"plain text", beside("new.upd", "unlock,4.1,0x3f\nfound=1\n"), "", ours, ""},
		{"text that begins like JSON", beside("new.upd", "[radar]\nrange=24\n"), "", ours, ""},
		{"cut tar.gz", []string{"new.tar.gz", cutTo(200, gzipped(tarred(random(600))))}, "FILE=new.tar.gz", "", "a gzip file without its end"},
		{"cut gzip under another name", beside("new.upd", cutTo(200, gzipped(random(600)))), "", "", "a gzip file without its end"},
		{"cut tar", []string{"new.tar", cutTo(900, tarred(random(600)))}, "FILE=new.tar", "", "a tar archive without its end"},
		{"cut 7z", []string{"new.7z", "7z\xbc\xaf\x27\x1c\x00\x04" + "crc." + "\xe8\x03\x00\x00\x00\x00\x00\x00" + "\x20\x00\x00\x00\x00\x00\x00\x00" + "crc." + random(500)}, "FILE=new.7z", "", "a 7z archive without its end"},
		{"cut rar", []string{"new.rar", "Rar!\x1a\x07\x01\x00" + random(500)}, "FILE=new.rar", "", "a rar archive without its end"},
		{"cut ISO", []string{"new.iso", disc(100, 40)}, "FILE=new.iso", "", "a disc image without its end"},
		{"whole ISO", []string{"new.iso", disc(40, 40)}, "FILE=new.iso", ours, ""},
		{"cut xz", []string{"new.xz", cutTo(80, xzFile)}, "FILE=new.xz", "", "an xz file without its end"},
		{"cut bzip2", []string{"new.bz2", cutTo(60, bzip2File)}, "FILE=new.bz2", "", "a bzip2 file without its end"},
		{"cut zstd", []string{"new.zst", cutTo(300, zstdFile(random(900)))}, "FILE=new.zst", "", "a zstd file without its end"},
		{"cut squashfs", beside("new.img", "hsqs"+strings.Repeat("\x01", 36)+"\x00\x10\x00\x00\x00\x00\x00\x00"+random(500)), "FILE=new.img", "", "a squashfs image without its end"},
		{"cut boot image", beside("new.img", "\x27\x05\x19\x56"+random(8)+"\x00\x00\x10\x00"+random(500)), "FILE=new.img", "", "a boot image without its end"},
		{"cut zip", []string{"new.zip", cutTo(60, zipped("p.upd", published))}, "FILE=new.zip", "", "an archive without its end"},
		{"encrypted zip", []string{"new.zip", encrypted(zipped("p.upd", published))}, "FILE=new.zip", "", "an encrypted zip archive"},
		{"encrypted zip for a device that opens archives", []string{"new.zip", encrypted(zipped("p.upd", published))}, "OPENS FILE=new.zip", "", "an encrypted archive"},
		{"cut tar.gz for a device that opens archives", []string{"new.tar.gz", cutTo(200, gzipped(tarred(random(600))))}, "OPENS FILE=new.tar.gz", "", "a gzip file without its end"},
		{"whole tar.gz for a device that opens archives", []string{"new.tar.gz", gzipped(tarred(random(600)))}, "OPENS FILE=new.tar.gz", ours, ""},
		{"whole tar for a device that opens archives", []string{"new.tar", tarred(random(600))}, "OPENS FILE=new.tar", ours, ""},
		{"whole xz for a device that opens archives", []string{"new.xz", xzFile}, "OPENS FILE=new.xz", ours, ""},
		{"whole bzip2 for a device that opens archives", []string{"new.bz2", bzip2File}, "OPENS FILE=new.bz2", ours, ""},
		{"whole zstd for a device that opens archives", []string{"new.zst", zstdFile(random(900))}, "OPENS FILE=new.zst", ours, ""},
		{"whole 7z", []string{"new.7z", "7z\xbc\xaf\x27\x1c\x00\x04" + "crc." + "\x00\x01\x00\x00\x00\x00\x00\x00" + "\x20\x00\x00\x00\x00\x00\x00\x00" + "crc." + random(288)}, "FILE=new.7z", "", "unpack it, and"},
		{"whole rar", []string{"new.rar", "Rar!\x1a\x07\x01\x00" + random(500) + "\x1d\x77\x56\x51\x03\x05\x04\x00"}, "FILE=new.rar", "", "unpack it, and"},
		{"whole tar.gz", []string{"new.tar.gz", gzipped(tarred(random(600)))}, "FILE=new.tar.gz", "", "unpack it, and"},
		{"whole tar.gz that the maker lists", []string{"new.tar.gz", gzipped(tarred(random(600))), "SHA256SUMS", listOf("new.tar.gz", gzipped(tarred(random(600))))}, "FILE=new.tar.gz", "", "unpack it, and"},
	}},
}

// folded breaks a text in two, as narrow windows do.
func folded(text string, at int, indent string) string {
	text = filledIn(text)
	return text[:at] + "\n" + indent + text[at:]
}

// zipped is an archive with one file in it.
func zipped(name, content string) string {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	w, err := z.Create(name)
	if err == nil {
		_, err = io.WriteString(w, content)
	}
	if err = errors.Join(err, z.Close()); err != nil {
		panic(err)
	}
	return out.String()
}

// listOf is the line of a list for a file.
func listOf(name, content string) string { return shoptest.Sum([]byte(content)) + "  " + name + "\n" }

// random is content in which nothing is to be found.
func random(size int64) string { return string(shoptest.Make("x", size, 1).Content) }

func cutTo(size int, content string) string { return content[:size] }

func must(err error) {
	if err != nil {
		panic(err)
	}
}

func gzipped(content string) string {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	_, err := io.WriteString(z, content)
	must(errors.Join(err, z.Close()))
	return out.String()
}

func tarred(content string) string {
	var out bytes.Buffer
	z := tar.NewWriter(&out)
	err := z.WriteHeader(&tar.Header{Name: "p.upd", Size: int64(len(content)), Mode: 0o644, Format: tar.FormatUSTAR})
	if err == nil {
		_, err = io.WriteString(z, content)
	}
	must(errors.Join(err, z.Close()))
	return out.String()
}

func zstdFile(content string) string {
	z, err := zstd.NewWriter(nil)
	must(err)
	return string(z.EncodeAll([]byte(content), nil))
}

// disc is a disc image that says it has so many blocks, and has others.
func disc(says byte, blocks int) string {
	image := []byte(random(int64(blocks) * 2048))
	copy(image[0x8000:], "\x01CD001\x01")
	copy(image[0x8000+80:], []byte{says, 0, 0, 0, 0, 0, 0, says})
	copy(image[0x8000+128:], []byte{0, 8, 8, 0})
	return string(image)
}

// encrypted sets the flag of encryption in an archive of one file, in both heads
// of it (APPNOTE.TXT 6.3.9 §4.3.7, §4.3.12).
func encrypted(archive string) string {
	changed := []byte(archive)
	changed[6] |= 1
	changed[bytes.Index(changed, []byte("PK\x01\x02"))+8] |= 1
	return string(changed)
}

// The published bytes as the tools xz 5.4 and bzip2 1.0.8 pack them.
var xzFile, bzip2File = fromHex("fd377a585a000004e6d6b4460200210116000000742fe5a301001e612072656c656173652074686174206e6f626f647920686173207365656e0a0000d6a5a562e37930e30001371fea18893d1fb6f37d010000000004595a"),
	fromHex("425a68393141592653596c9c0aef00000351800010400036459c2020002227946869e9a840000eb72eb7e22e3561caa3055950007f1772453850906c9c0aef")

func fromHex(digits string) string {
	content, err := hex.DecodeString(digits)
	must(err)
	return string(content)
}
