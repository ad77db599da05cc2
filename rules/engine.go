package rules

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/semaphore"

	"corbel/mesh"
	"corbel/rules/store"
	"corbel/spec"
)

// Options steer an Engine. The zero Options are good for the command line.
type Options struct {
	// ReadFile gives the bytes of a text file: an editor's buffer first. The
	// engine does not change them. A file on disk must lie in root, if that is not
	// empty. Nil is ReadText up to MaxTextBytes.
	ReadFile func(root, path string) ([]byte, error)
	// Now is the day that waivers are held against; nil is time.Now.
	Now func() time.Time
	// Jobs is how many parts may be measured at once; 0 is the number of cores. A part
	// has two measurements made at once while a place is free.
	Jobs int
	// Memory is the budget in bytes: a quarter of it for what is kept, the rest
	// for what is being measured. A mesh that does not fit is refused, and parts
	// wait for each other where they fit only one by one. 0 is DefaultMemory.
	Memory int64
	// Progress is told the stage that a part has reached and the share done.
	// It is called from many goroutines and must return at once.
	Progress func(path, stage string, share float64)
	// Checks names the checks to run; nil is all. "spec" always runs.
	Checks map[string]bool
	// Measure resolves walls and gaps beyond what the limits ask for, where that
	// takes seconds.
	Measure bool
	// Disk keeps measurements for later runs; nil keeps none. Where there is
	// one, a report may come without its mesh.
	Disk *store.Store
	// Surface gives every report its mesh and whole measurements, which answer
	// for limits other than the part's: for pictures.
	Surface bool
	// Root bounds the files that specs and shop files may name, and where they may
	// lie themselves once links are followed; empty is no bound.
	Root string
	// RootOf gives the bound for one spec or shop file where Root is empty; nil is
	// no bound.
	RootOf func(path string) string

	MaxTextBytes int64         // largest spec or shop file; 0 = DefaultMaxTextBytes
	MaxTime      time.Duration // for one part, from when it has its turn; 0 is no bound
	// Load bounds meshes; what it does not say has the defaults of package mesh.
	// Its unit counts for nothing.
	Load mesh.LoadOptions
}

// Defaults of Options.
const (
	DefaultMemory       = 8 << 30
	DefaultMaxTextBytes = 1 << 20
	DefaultMaxTime      = 30 * time.Minute // for who wants a bound; ten million facets took 2 minutes on two quiet cores, 11 on busy ones
)

// keptShare is the part of memory for what is kept: one in so many.
const keptShare = 4

// textMemory is the budget for parsed texts. They have one of their own: every
// key that is typed in an editor makes a new text, and must push out older ones
// rather than a mesh.
const textMemory = 32 << 20

// Engine checks parts and keeps what it measured. It is safe for many goroutines.
type Engine struct {
	o      Options
	cache  *cache
	disk   *store.Store
	texts  *cache              // parsed specs and shop files
	jobs   *semaphore.Weighted // parts being measured
	memory *semaphore.Weighted // bytes of meshes being measured
	counts counters
	after  func(time.Duration, func()) *time.Timer // time.AfterFunc; tests put another clock here

	mu    sync.Mutex            // guards files
	files map[string]fileRecord // mesh files seen, by absolute path
}

type counters struct {
	SpecParses, ShopParses, MeshLoads, MeshHashes, Judgements atomic.Int64
	mu                                                        sync.Mutex // guards measurements
	measurements                                              map[Need]int
}

// New makes an engine.
func New(o Options) *Engine {
	if o.MaxTextBytes <= 0 {
		o.MaxTextBytes = DefaultMaxTextBytes
	}
	if o.ReadFile == nil {
		o.ReadFile = func(root, path string) ([]byte, error) { return ReadText(root, path, o.MaxTextBytes) }
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Jobs <= 0 {
		o.Jobs = runtime.GOMAXPROCS(0)
	}
	if o.Memory <= 0 {
		o.Memory = DefaultMemory
	}
	if o.Progress == nil {
		o.Progress = func(string, string, float64) {}
	}
	e := &Engine{o: o, disk: o.Disk, cache: newCache(o.Memory / keptShare), texts: newCache(textMemory), jobs: semaphore.NewWeighted(int64(o.Jobs)),
		files: map[string]fileRecord{}, counts: counters{measurements: map[Need]int{}}}
	e.after = time.AfterFunc
	e.memory = semaphore.NewWeighted(e.working())
	return e
}

// Part checks one part spec. Everything that is wrong is in the report: there
// is no error beside it. Where ctx ends first, Err says so and the rest is partial.
func (e *Engine) Part(ctx context.Context, path string, mode Mode) *PartReport {
	r := newReport(path)
	r.Deps = []string{absolute(path)}
	text, err := e.parsePart(path)
	if err != nil {
		r.fail("spec", "Part spec "+quoted(path)+" can't be read: "+err.Error()+".")
		return r
	}
	r.Spec = text.file
	r.Findings = problemFindings(path, text.problems)
	e.judge(ctx, r, mode)
	return r
}

// MeshOptions say how a bare mesh is to be looked at.
type MeshOptions struct {
	Unit              string
	Up                mesh.Vec // zero is +z
	Process, Material string   // empty process is PBF-LB/M
	Machine           string
}

// Mesh checks a bare mesh as if a spec named it. The shop is the nearest one
// upward, as for a spec.
func (e *Engine) Mesh(ctx context.Context, path string, how MeshOptions, mode Mode) *PartReport {
	r := newReport(path)
	r.Spec, r.Bare = bareSpec(path, how), true
	e.judge(ctx, r, mode)
	return r
}

// bareSpec is the spec of a mesh that has none.
func bareSpec(path string, how MeshOptions) *spec.Part {
	set := func(v string) spec.Value[string] { return spec.Value[string]{V: v, Set: v != ""} }
	p := &spec.Part{File: path, Doc: &spec.Doc{}}
	p.Name = set(strings.TrimSuffix(filepath.Base(path), filepath.Ext(path)))
	p.Process, p.Material, p.Machine = set(how.Process), set(how.Material), set(how.Machine)
	if how.Process == "" {
		p.Process = set(LaserPBF)
	}
	p.Use = set("general")
	p.Mesh.File, p.Mesh.Units = set(filepath.Base(path)), set(how.Unit)
	if how.Up != (mesh.Vec{}) {
		p.Orientation.Up = spec.Value[spec.Vec3]{V: spec.Vec3(how.Up), Set: true}
	}
	return p
}

// Defaults returns the shop and the limits of a process, material and machine
// without a part. shop is a file, or empty for the nearest one upward.
func (e *Engine) Defaults(shop, process, material, machine string) *PartReport {
	set := func(v string) spec.Value[string] { return spec.Value[string]{V: v, Set: v != ""} }
	p := &spec.Part{File: "limits", Doc: &spec.Doc{}, Process: set(process), Material: set(material), Machine: set(machine), Shop: set(shop)}
	r := newReport(p.File)
	r.Spec, r.Bare = p, true
	e.judge(context.Background(), r, Text)
	return r
}

// ShopFile checks a shop file: its text, what it extends, its names.
func (e *Engine) ShopFile(ctx context.Context, path string) *ShopReport {
	r := &ShopReport{Path: path, Shop: newShop(), Err: ctx.Err()}
	c, err := e.shopChain(path)
	r.Deps = c.deps
	if err != nil {
		r.Failures = append(r.Failures, Failure{"shop", "Shop file " + quoted(path) + " can't be read: " + err.Error() + "."})
		return r
	}
	r.File = c.files[len(c.files)-1]
	r.Shop = newShop(c.files...)
	for _, p := range c.problems {
		if p.file == r.File {
			r.Findings = append(r.Findings, problemFindings(path, []spec.Problem{p.Problem})...)
		}
	}
	r.Findings = append(r.Findings, shopNameFindings(r.File, r.Shop)...)
	r.Findings = append(r.Findings, shopSense(r.File, r.Shop)...)
	finish(r.Findings)
	return r
}

func quoted(path string) string { return "\"" + path + "\"" }

func newReport(path string) *PartReport {
	return &PartReport{Path: path, Status: Checked, Complete: true, Shop: newShop(), Limits: &Limits{}, Measured: &Measured{}}
}

func (r *PartReport) fail(what, why string) {
	r.Status = Unchecked
	r.Failures = append(r.Failures, Failure{what, why})
}

// judge does everything that follows the text: shop, limits, mesh, checks.
func (e *Engine) judge(ctx context.Context, r *PartReport, mode Mode) {
	outer := ctx
	ctx, stop := e.timed(ctx)
	defer stop()
	subject, src, readable := e.prepare(ctx, r, mode)
	defer src.close()
	judged := map[string]bool{}
	w := newWaivers(r.Spec, r.Shop.Policy(), e.o.Now())
	switch {
	case mode == Text || !readable:
		r.Complete = r.Complete && !readable
	case !r.Spec.Process.Set:
		r.fail("checks", "No process is given, so no limit applies and the mesh was not judged.")
	default:
		if err := e.measure(ctx, r, subject, src, mode); err != nil && ctx.Err() == nil {
			r.fail("mesh", "Mesh "+quoted(r.Spec.Mesh.File.V)+" can't be measured: "+err.Error()+".")
		}
		if outer.Err() != nil {
			break // nobody waits for what would be judged of a part of it
		}
		subject.Info, subject.Mesh = r.Info, r.Mesh
		e.runChecks(r, subject, w, judged)
	}
	r.Findings = append(r.Findings, w.findings(judged)...)
	if late(ctx) {
		r.fail("time", e.sayLate("checked"))
	}
	r.Judged = judgedNames(judged)
	r.Cautions = cautionsOf(r)
	if judged[Powder.Name] {
		r.Unseen = unseen(subject, judged)
	}
	finish(r.Findings)
	r.Err = outer.Err()
}

// judgedNames lists the checks that ran; that of the text always has.
func judgedNames(judged map[string]bool) []string {
	var out []string
	for _, c := range checks {
		if c == Spec || judged[c.Name] {
			out = append(out, c.Name)
		}
	}
	return out
}

// prepare finds the shop, the limits and the mesh of a part: all that comes
// before measuring. It reports whether there is a mesh to judge; the source is
// to be closed.
func (e *Engine) prepare(ctx context.Context, r *PartReport, mode Mode) (*Subject, *source, bool) {
	part := r.Spec
	shop, findings, failures, deps := e.shopOf(part)
	r.Shop = shop
	r.Deps = append(r.Deps, deps...)
	r.Findings = append(r.Findings, findings...)
	for _, f := range failures {
		r.fail(f.What, f.Why)
	}
	limits, findings := resolveLimits(shop, part)
	r.Limits = limits
	r.Findings = append(r.Findings, findings...)
	r.Findings = append(r.Findings, nameFindings(part, shop)...)

	subject := &Subject{Spec: part, Shop: shop, Limits: limits, Measured: r.Measured}
	src, readable := e.meshOf(ctx, r, mode)
	subject.Info = r.Info
	return subject, src, readable
}

// meshOf finds the mesh that the spec names and reports whether there is one
// to judge. In Text mode it only looks whether the file is there.
func (e *Engine) meshOf(ctx context.Context, r *PartReport, mode Mode) (*source, bool) {
	part := r.Spec
	file := part.Mesh.File
	if !file.Set {
		if mode != Text {
			r.fail("mesh", "No mesh is named, so only the text was checked.")
		}
		return nil, false
	}
	r.MeshPath = Beside(part.File, file.V)
	r.Deps = append(r.Deps, absolute(r.MeshPath))
	bad := func(check, key string, at spec.Range, message, help string, fixes ...spec.Fix) (*source, bool) {
		f := specFinding(part, Error, key, at, message, help)
		f.Check, f.Fixes = check, fixes
		// The text's own problem with that name says enough.
		if !slices.ContainsFunc(r.Findings, func(o Finding) bool { return o.Level == Error && o.Where == f.Where }) {
			r.Findings = append(r.Findings, f)
		}
		if mode != Text {
			r.fail("mesh", bareHelp(r, message, help))
		}
		return nil, false
	}
	if err := within(e.root(part.File), r.MeshPath); err != nil {
		return bad(Spec.Name, "mesh.file", file.At, "Mesh file "+quoted(file.V)+" can't be read: "+err.Error()+".", "Keep the mesh beside the spec, or widen the workspace (--root).")
	}
	info, err := os.Stat(r.MeshPath)
	if err != nil {
		if errors.Is(err, os.ErrNotExist) {
			const help = "Correct the name (it is relative to this spec), or export the mesh."
			wrong := "Mesh file " + quoted(file.V) + " does not exist"
			if meant := e.otherMesh(part.File, file.V); meant != "" {
				return bad(Spec.Name, "mesh.file", file.At, wrong+"; did you mean "+quoted(meant)+"?", help,
					spec.Fix{Title: "Change to " + quoted(meant), At: file.At, Text: spec.Quote(meant)})
			}
			return bad(Spec.Name, "mesh.file", file.At, wrong+".", help)
		}
		return bad(Spec.Name, "mesh.file", file.At, "Mesh file "+quoted(file.V)+" can't be read: "+plainError(err).Error()+".", "")
	}
	if err := regular(info); err != nil {
		return bad(Spec.Name, "mesh.file", file.At, "Mesh file "+quoted(file.V)+" can't be read: "+err.Error()+".", "Name a file of triangles: .stl, .3mf, .obj or .ply.")
	}
	if mode == Text {
		return nil, true
	}
	src := &source{e: e, root: e.root(part.File), path: r.MeshPath, file: info, unit: part.Mesh.Units.V}
	f, ok, err := src.open(ctx, mode)
	switch {
	case err != nil:
		src.close()
		if !late(ctx) {
			r.fail("mesh", err.Error())
		}
		return nil, false
	case !ok:
		r.Complete = false
		return nil, false
	case f.err != nil:
		src.close()
		wrong := f.err
		if errors.Is(wrong, mesh.ErrUnit) && !part.Mesh.Units.Set { // the spec's own text says so already
			r.fail("mesh", bareHelp(r, "Mesh "+quoted(file.V)+" can't be read: "+strings.TrimSuffix(wrong.What, ".")+".", "Say it with --units: um, mm, cm, m, in or ft."))
			return nil, false
		}
		key, at, check := "mesh.file", file.At, Mesh.Name
		if errors.Is(wrong, mesh.ErrUnit) || errors.Is(wrong, mesh.ErrUnitConflict) {
			check, key = Spec.Name, "mesh.units"
			if part.Mesh.Units.Set {
				at = part.Mesh.Units.At
			}
		}
		return bad(check, key, at, "Mesh "+quoted(file.V)+" can't be read: "+strings.TrimSuffix(wrong.What, ".")+".", wrong.Help)
	}
	r.Info = f.info
	return src, true
}

// bareHelp puts what to do behind what is wrong where no spec is there to hold
// a finding that says it.
func bareHelp(r *PartReport, message, help string) string {
	if r.Bare && help != "" {
		return message + " " + help
	}
	return message
}

// Counts says how often something was computed since the engine was made; for tests.
type Counts struct {
	SpecParses, ShopParses, MeshLoads, MeshHashes, Judgements int
	Measurements                                              map[Need]int
}

// Counts returns the counters.
func (e *Engine) Counts() Counts {
	c := Counts{int(e.counts.SpecParses.Load()), int(e.counts.ShopParses.Load()), int(e.counts.MeshLoads.Load()),
		int(e.counts.MeshHashes.Load()), int(e.counts.Judgements.Load()), map[Need]int{}}
	e.counts.mu.Lock()
	defer e.counts.mu.Unlock()
	for n, k := range e.counts.measurements {
		c.Measurements[n] = k
	}
	return c
}
