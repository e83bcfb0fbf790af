package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
)

// version may be set at link time: -ldflags "-X main.version=1.2.3".
var version string

// resolveVersion returns the version set at link time, else that of the
// module, else the revision it was built from.
func resolveVersion() string {
	if version != "" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return s.Value[:12]
		}
	}
	return "devel"
}

type versionCmd struct{}

// Run prints the version and what built it.
func (versionCmd) Run(s *streams) error {
	fmt.Fprintf(s.out, "lightwell %s %s %s/%s\n", resolveVersion(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
	return nil
}
