//go:build linux

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// environments are what a command may be started in, as a shell's words before
// it: $DIR is an empty folder, "$@" the command.
var environments = map[string]string{
	"as usual":                 `exec "$@"`,
	"no HOME, no XDG":          `unset HOME XDG_CONFIG_HOME XDG_CACHE_HOME XDG_DATA_HOME XDG_RUNTIME_DIR; exec "$@"`,
	"no HOME, XDG relative":    `unset HOME; XDG_CONFIG_HOME=here XDG_CACHE_HOME=here XDG_DATA_HOME=./here exec "$@"`,
	"HOME relative":            `unset XDG_CONFIG_HOME; HOME=here exec "$@"`,
	"XDG no folder":            `export XDG_CONFIG_HOME=/dev/null XDG_CACHE_HOME=/dev/null; exec "$@"`,
	"XDG in proc":              `export XDG_CONFIG_HOME=/proc/none XDG_CACHE_HOME=/proc; exec "$@"`,
	"empty PATH":               `export PATH=; exec "$@"`,
	"no PATH":                  `unset PATH; exec "$@"`,
	"no TERM":                  `unset TERM; exec "$@"`,
	"dumb TERM":                `export TERM=dumb COLUMNS=1 LINES=0; exec "$@"`,
	"odd LANG":                 `export LANG=xx_YY.UTF-7 LC_ALL=klingon LANGUAGE=:; exec "$@"`,
	"no TMPDIR":                `export TMPDIR=/nowhere/at/all; exec "$@"`,
	"odd TZ":                   `export TZ=Nowhere/Odd; exec "$@"`,
	"TZ a file":                `export TZ=:/etc/passwd; exec "$@"`,
	"TZ far off":               `export TZ=Pacific/Kiritimati; exec "$@"`,
	"stdin closed":             `exec "$@" <&-`,
	"stdout closed":            `exec "$@" >&-`,
	"stderr closed":            `exec "$@" 2>&-`,
	"all closed":               `exec "$@" <&- >&- 2>&-`,
	"stdin a folder":           `exec "$@" </`,
	"umask 077":                `umask 077; exec "$@"`,
	"umask 777":                `umask 777; exec "$@"`,
	"working folder gone":      `mkdir "$DIR/gone" && cd "$DIR/gone" && rmdir "$DIR/gone" && exec "$@"`,
	"working folder read-only": `cd /proc && exec "$@"`,
	"nothing set":              `exec env -i "$@"`,
	"few files may be open":    `ulimit -n 32; exec "$@"`,
}

// A command ends with the code of its answer wherever it was started: what the
// environment lacks may cost a note in the ledger or a signature, which is reported.
func TestExitCodesInEveryEnvironment(t *testing.T) {
	command := commandFile(t)
	build := builds(t)[0]
	shop := shopOf(t, build) // with a ledger and, in the usual settings, a key
	unpacked(t, filepath.Join(build, "ledger.db.gz"), filepath.Join(shop, "ledger.db"))
	trustOwnKey(t, shop)
	// Its radar's step failed: nothing is planned before somebody read it. The file is of before the visit.
	require.Equal(t, exitDone, cardwright(t, "record", "kittiwake", "--read", "radar=1.6", "--read", "helm=3.1", "--yes", "--shop", shop).code)
	require.Equal(t, exitDone, cardwright(t, "ledger", "withdraw", "fennick-plot-9", "3.1", "--why", "old", "--yes", "--shop", shop).code) // brings the ledger up to date
	dir := t.TempDir()
	good := unpacked(t, filepath.Join(build, "signed.img.gz"), filepath.Join(dir, "good.img"))
	bad := unpacked(t, filepath.Join(build, "unsigned.img.gz"), filepath.Join(dir, "bad.img"))
	rotten, err := os.OpenFile(bad, os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = rotten.WriteAt(make([]byte, 8<<20), 4<<20) // the file system, and what it leads to
	require.NoError(t, err)
	require.NoError(t, rotten.Close())
	unsigned := unpacked(t, filepath.Join(build, "unsigned.img.gz"), filepath.Join(dir, "unsigned.img"))

	for name, c := range map[string]struct {
		code int
		args []string
	}{
		"a good card":     {exitDone, []string{"verify", good, "--for", "kittiwake"}},
		"a bad card":      {exitNo, []string{"verify", bad, "--for", "kittiwake"}},
		"an unknown card": {exitUnchecked, []string{"verify", unsigned}},
		"a JSON reply":    {exitNo, []string{"verify", bad, "--for", "kittiwake", "--json"}},
		"a plan":          {exitDone, []string{"plan", "kittiwake"}},
		"a sheet":         {exitDone, []string{"sheet", "kittiwake"}},
		"a new card":      {exitDone, []string{"prepare", "kittiwake", "--to", "NEW", "--size", "64MB"}},
		"the readers":     {exitDone, []string{"readers"}},
		"the shop":        {exitDone, []string{"shop", "check", "kittiwake"}},
		"the packages":    {exitDone, []string{"package", "check"}},
		"a vessel's past": {exitDone, []string{"audit", "vessel", "kittiwake"}},
		"the ledger":      {exitDone, []string{"audit", "check"}},
		"a spelling":      {exitUsage, []string{"plan", "kittywake"}},
		"help":            {exitDone, []string{"verify", "--help"}},
	} {
		for where, words := range environments {
			t.Run(name+", "+where, func(t *testing.T) {
				args := append([]string(nil), c.args...)
				for i := range args {
					if args[i] == "NEW" {
						args[i] = filepath.Join(t.TempDir(), "new.img")
					}
				}
				cmd := exec.Command("/bin/sh", append([]string{"-c", words, "sh", command}, append(args, "--shop", shop)...)...)
				cmd.Env = append(os.Environ(), "DIR="+t.TempDir())
				cmd.Dir = dir
				said, err := cmd.CombinedOutput()
				if cmd.ProcessState == nil {
					t.Fatal(err)
				}
				assert.Equal(t, c.code, cmd.ProcessState.ExitCode(), "%s", said)
			})
		}
	}
}
