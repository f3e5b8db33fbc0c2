// Command launch starts cardwright.exe, which stands beside it, with the
// folders for settings and caches that the tests name. Wine puts its own in
// their place whenever a command of this system starts a program of Windows, but
// not when one program of Windows starts another.
package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

func main() {
	own, err := os.Executable()
	if err != nil {
		fail(err)
	}
	for theirs, ours := range map[string]string{"XDG_CONFIG_HOME": "APPDATA", "XDG_CACHE_HOME": "LOCALAPPDATA"} {
		if dir := os.Getenv(theirs); dir != "" {
			// Z: is this system's root
			if err := os.Setenv(ours, "Z:"+strings.ReplaceAll(dir, "/", `\`)); err != nil {
				fail(err)
			}
		}
	}
	cmd := exec.Command(filepath.Join(filepath.Dir(own), "cardwright.exe"), os.Args[1:]...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	err = cmd.Run()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		os.Exit(exit.ExitCode())
	}
	if err != nil {
		fail(err)
	}
}

func fail(err error) {
	fmt.Fprintln(os.Stderr, "launch:", err)
	os.Exit(99)
}
