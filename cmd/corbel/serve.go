package main

import (
	"context"
	"fmt"
	"log/slog"
	"net"

	"github.com/spf13/cobra"

	"corbel/lsp"
	"corbel/rules"
)

// serveFlags are the options of serve.
type serveFlags struct {
	listen  string
	jobs    int
	verbose bool
	bounds  boundFlags
	cache   cacheFlags
}

func (a *app) serveCommand() *cobra.Command {
	var f serveFlags
	c := &cobra.Command{
		Use:   "serve",
		Short: "Serve findings to an editor (Language Server Protocol)",
		Long: "Speaks the Language Server Protocol on standard input and output, or to editors of this machine with --listen.\n" +
			"An editor starts it by itself; by hand it only waits.",
		Args: arguments(0, 0),
		RunE: func(c *cobra.Command, _ []string) error { return a.serve(c.Context(), f) },
	}
	c.Flags().StringVar(&f.listen, "listen", "", "serve editors at this local `ADDRESS` instead: 127.0.0.1:PORT or unix:PATH")
	c.Flags().IntVar(&f.jobs, "jobs", 0, "parts measured at once; 0 is one a core")
	f.bounds.add(c)
	c.Flags().BoolVar(&f.verbose, "verbose", false, "log to stderr")
	f.cache.add(c)
	return c
}

func (a *app) serve(ctx context.Context, f serveFlags) error {
	r, err := f.bounds.options()
	if err != nil {
		return err
	}
	// New limits are judged while they are typed, so that whole measurements are
	// wanted.
	r.Jobs, r.Disk, r.Surface = f.jobs, f.cache.open(), true
	level := slog.LevelError
	if f.verbose {
		level = slog.LevelDebug
	}
	o := lsp.Options{
		Version: rules.Version,
		Log:     slog.New(slog.NewTextHandler(a.err, &slog.HandlerOptions{Level: level})),
		Rules:   r,
	}
	if f.listen == "" {
		a.code = lsp.Serve(ctx, a.in, a.out, o)
		return nil
	}
	ready := func(at net.Addr) { fmt.Fprintf(a.err, "corbel: serving at %s\n", at) }
	if err := lsp.Listen(ctx, f.listen, ready, o); err != nil && ctx.Err() == nil {
		return fmt.Errorf("serve at %q: %w", f.listen, err)
	}
	return nil
}
