package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
)

// versionText says which build this is: its version, commit, Go and system.
func versionText() string {
	version, commit := "unknown", "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		if info.Main.Version != "" {
			version = info.Main.Version
		}
		for _, s := range info.Settings {
			switch {
			case s.Key == "vcs.revision":
				commit = s.Value
			case s.Key == "vcs.modified" && s.Value == "true":
				commit += ", with changes"
			}
		}
	}
	return fmt.Sprintf("cardwright %s\ncommit     %s\nbuilt with %s\nfor        %s/%s\n", version, commit, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}
