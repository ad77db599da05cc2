package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"corbel/rules"
)

func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Say the version, and what it was built from",
		Args:  arguments(0, 0),
		RunE: func(*cobra.Command, []string) error {
			info, _ := debug.ReadBuildInfo()
			_, err := fmt.Fprint(a.out, versionText(info))
			return err
		},
	}
}

// commit is set by the release tool, whose builds don't see the repository.
var commit string

// versionText says the version on the first line and the build on the second.
func versionText(info *debug.BuildInfo) string {
	built := []string{runtime.Version(), runtime.GOOS + "/" + runtime.GOARCH}
	if info != nil {
		if at := revision(info.Settings); at != "" {
			built = append([]string{"commit " + at}, built...)
		}
	}
	return fmt.Sprintf("corbel %s\nbuilt from %s\n", rules.Version, strings.Join(built, ", "))
}

// revision is the commit a build was made from, and whether more than that
// commit went in.
func revision(settings []debug.BuildSetting) string {
	at, changed := commit, ""
	for _, s := range settings {
		switch {
		case s.Key == "vcs.revision" && at == "":
			at = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = " with changes"
		}
	}
	if at == "" {
		return ""
	}
	return at[:min(len(at), 12)] + changed
}
