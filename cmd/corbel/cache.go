package main

import (
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"corbel/rules/store"
)

// cacheFlags say where measurements are kept for later runs.
type cacheFlags struct {
	dir string
	off bool
}

func (f *cacheFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.dir, "cache", "", "`FOLDER` that keeps measurements for later runs; CORBEL_CACHE or the user's cache folder by default")
	c.Flags().BoolVar(&f.off, "no-cache", false, "keep nothing between runs")
}

// open returns the store, or nil: without a folder everything is measured anew.
func (f *cacheFlags) open() *store.Store {
	if f.off {
		return nil
	}
	dir := f.dir
	if dir == "" {
		dir = os.Getenv("CORBEL_CACHE")
	}
	if dir == "" {
		if user, err := os.UserCacheDir(); err == nil {
			dir = filepath.Join(user, "corbel")
		}
	}
	if dir == "" {
		return nil
	}
	return store.Later(dir, store.Build, 0)
}
