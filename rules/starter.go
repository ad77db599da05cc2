package rules

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"corbel/mesh"
	"corbel/spec"
)

// This file writes a part spec from a mesh. What the mesh can't tell is guessed
// and marked as a guess.

// Starter is a part spec made from a mesh.
type Starter struct {
	Text   []byte      // empty where the mesh could not be read
	Report *PartReport // of the mesh as the spec stands it; says what could not be read or measured
}

// StarterOptions say what is known of the part.
type StarterOptions struct {
	MeshOptions        // an empty unit, process, material or machine is guessed
	Spec        string // where the spec will lie; paths in it are relative to that. Empty is beside the mesh
}

const (
	starterHoles = 16
	starterFaces = 4
	starterVoids = 8
	// A flat face that is worth a name has this share of the surface.
	starterFaceShare = 0.03
	// The size that is believed of a part, in mm, when its unit is guessed.
	believedLeastMM = 3.0
	believedMostMM  = 1500.0
	// The size that most parts have, mm.
	everydayLeastMM = 10.0
	everydayMostMM  = 1000.0
)

// Starter measures a mesh and writes a spec for it that checks without errors
// of its text. The error is the context's, or says that the text is at fault.
func (e *Engine) Starter(ctx context.Context, meshPath string, o StarterOptions) (*Starter, error) {
	if o.Spec == "" {
		o.Spec = strings.TrimSuffix(meshPath, filepath.Ext(meshPath)) + ".part.toml"
	}
	ctx, stop := e.timed(ctx)
	defer stop()
	w := starter{engine: e, path: meshPath, o: o}
	err := w.pickUnit(ctx)
	if err == nil && w.report == nil {
		w.pickMaking()
		err = w.measure(ctx)
	}
	switch {
	case err != nil && late(ctx):
		return nil, fmt.Errorf("no spec was made of %q within the %s that a part may take (--max-time)", meshPath, e.o.MaxTime)
	case err != nil:
		return nil, err
	}
	out := &Starter{Report: w.report}
	if w.report.Mesh == nil && w.report.Info == nil {
		return out, nil
	}
	w.write()
	out.Text = []byte(w.text.String())
	_, problems := spec.ParsePart(o.Spec, out.Text)
	for _, p := range problems {
		if Level(p.Level) == Error {
			return nil, fmt.Errorf("the spec that was made is at fault, which is a fault of corbel: %s", p.Message)
		}
	}
	return out, nil
}

// starter is the work on one mesh.
type starter struct {
	engine *Engine
	path   string
	o      StarterOptions

	part   *spec.Part
	shop   *Shop
	size   mesh.Vec // in the file's own numbers
	unit   string   // as the file or the caller says it, or as guessed
	report *PartReport
	best   *Standing // the way up that is guessed; nil where none could be looked for
	flats  []mesh.FlatFace

	unitWhy, processWhy, materialWhy, machineWhy, bestWhy string // of a guess; empty where it is none

	text strings.Builder
}

// pickUnit reads the mesh and finds its unit. Where it can't be read, report
// says why.
func (w *starter) pickUnit(ctx context.Context) error {
	try := func(unit string) (*PartReport, error) {
		how := w.o.MeshOptions
		how.Unit = unit
		r := w.bare(how)
		_, src, _ := w.engine.prepare(ctx, r, Full)
		src.close()
		return r, ctx.Err()
	}
	r, err := try(w.o.Unit)
	if err != nil {
		return err
	}
	if r.Info == nil && w.o.Unit == "" && carriesNoUnit(w.path) {
		// The numbers alone, as millimetres.
		if r, err = try("mm"); err != nil {
			return err
		}
		if r.Info != nil {
			if w.unit, w.unitWhy, err = w.guessUnit(ctx, r.Info.Box.Size()); err != nil {
				return err
			}
			if w.unit != "mm" {
				if r, err = try(w.unit); err != nil {
					return err
				}
			}
		}
	}
	if r.Info == nil {
		w.report = r
		return nil
	}
	w.shop, w.part = r.Shop, r.Spec
	if w.unit == "" {
		w.unit = w.o.Unit
	}
	w.size = r.Info.Box.Size().Scale(1 / max(r.Info.Source.UnitMM, 1e-9))
	return nil
}

// bare is a report about the mesh as if the spec were written.
func (w *starter) bare(how MeshOptions) *PartReport {
	r := newReport(w.path)
	r.Spec, r.Bare = bareSpec(w.path, how), true
	r.Spec.File, r.Spec.Mesh.File.V = w.o.Spec, w.meshFile()
	return r
}

func carriesNoUnit(path string) bool { return !strings.EqualFold(filepath.Ext(path), ".3mf") }

// guessUnit is guessUnit by the size, but where that leaves a part small in millimetres and
// its features tell of inches.
func (w *starter) guessUnit(ctx context.Context, size mesh.Vec) (unit, why string, err error) {
	unit, why = guessUnit(size)
	if unit != "mm" || max(size[0], size[1], size[2]) >= everydayLeastMM {
		return unit, why, nil
	}
	how := w.o.MeshOptions
	how.Unit, how.Process = unit, cmp.Or(how.Process, LaserPBF)
	r := w.bare(how)
	_, src, ok := w.engine.prepare(ctx, r, Full)
	defer src.close()
	if !ok {
		return unit, why, ctx.Err()
	}
	if err := src.load(ctx); err != nil {
		return unit, why, err
	}
	c, err := mesh.MeasureCylinders(ctx, src.mesh)
	if err != nil {
		return unit, why, err
	}
	var holes []float64
	for _, h := range c.Holes {
		holes = append(holes, h.DiameterMM)
	}
	sizes := slices.Concat(holes, size[:])
	for _, p := range c.Pins {
		sizes = append(sizes, p.DiameterMM)
	}
	least := 0.0
	if l, ok := r.Limits.Get("hole.diameter"); ok {
		least = l.V
	}
	if tells := tellsInches(holes, sizes, least); tells != "" {
		unit, why = "in", saySize("in", size)+"; "+tells
	}
	return unit, why, nil
}

// tellsInches says what of a small part tells that its numbers are inches: that none of its
// holes would stay open in millimetres and all do in inches, or that all its sizes are whole
// 32nds and two of them at least nothing that is drawn in millimetres. Empty is nothing.
func tellsInches(holes, sizes []float64, leastMM float64) string {
	if len(holes) > 0 && slices.Max(holes) < leastMM && slices.Min(holes)*25.4 >= leastMM {
		return fmt.Sprintf("in millimetres its widest hole would be of %s mm, and none thinner than %s mm stays open", rounded(slices.Max(holes)), plain(leastMM))
	}
	const near = 2e-4 // that files round to
	whole := func(x float64) bool { return math.Abs(x-math.Round(x)) <= near }
	sizes = slices.Clone(sizes)
	slices.Sort(sizes)
	sizes = slices.CompactFunc(sizes, func(a, b float64) bool { return math.Abs(b-a) <= near })
	var odd []string
	for _, x := range sizes {
		switch {
		case math.Abs(x-math.Round(32*x)/32) > near:
			return ""
		case !whole(20 * x): // a 20th is 0.05 mm
			odd = append(odd, plain(math.Round(32*x)/32))
		}
	}
	if len(odd) < 2 {
		return ""
	}
	return fmt.Sprintf("its sizes are whole 32nds, such as %s and %s, as inches are drawn and millimetres are not", odd[0], odd[1])
}

// saySize says a size in the file's numbers and in millimetres if they are of a unit.
func saySize(unit string, size mesh.Vec) string {
	longest := max(size[0], size[1], size[2])
	mm := starterUnits[slices.IndexFunc(starterUnits, func(u starterUnit) bool { return u.name == unit })].mm
	why := fmt.Sprintf("the longest side is %s in the file's numbers, and as %s that is %s mm", plain(longest), unit, rounded(longest*mm))
	if unit != "mm" {
		why += fmt.Sprintf("; as millimetres the part would be %s mm", plain(longest))
	}
	return why
}

// guessUnit takes the most usual unit in which the part has a size that
// machines build: millimetres where they will do at all, else the first in which
// the size is an everyday one. It says why, and what else would be an everyday
// size.
func guessUnit(size mesh.Vec) (unit, why string) {
	longest := max(size[0], size[1], size[2])
	fits := func(u starterUnit, least, most float64) bool { return longest*u.mm >= least && longest*u.mm <= most }
	everyday := func(u starterUnit) bool { return fits(u, everydayLeastMM, everydayMostMM) }
	believed := func(u starterUnit) bool { return fits(u, believedLeastMM, believedMostMM) }
	at := 0
	if !believed(starterUnits[0]) {
		if at = slices.IndexFunc(starterUnits, everyday); at < 0 {
			at = slices.IndexFunc(starterUnits[:3], believed) // the others are too rare
		}
	}
	if at < 0 {
		return "mm", fmt.Sprintf("the longest side is %s in the file's numbers, which is unusual in any unit", plain(longest))
	}
	u := starterUnits[at]
	why = saySize(u.name, size)
	for i, o := range starterUnits {
		if rare := o.name == "cm" && everyday(starterUnits[0]); i != at && o.name != "mm" && everyday(o) && !rare {
			why += fmt.Sprintf("; were it %s, %s mm", o.name, rounded(longest*o.mm))
		}
	}
	return u.name, why
}

// starterUnit is a unit that meshes are written in, most usual first.
type starterUnit struct {
	name string
	mm   float64
}

var starterUnits = []starterUnit{{"mm", 1}, {"in", 25.4}, {"m", 1000}, {"um", 0.001}, {"cm", 10}}

// pickMaking chooses process, material and machine where they are not said:
// the first machine of the shop that goes with what is.
func (w *starter) pickMaking() {
	how := &w.o.MeshOptions
	if m, ok := w.shop.Machine(how.Machine); ok && m.Process.Set && how.Process == "" {
		how.Process = m.Process.V
	}
	if how.Process == "" {
		how.Process, w.processWhy = LaserPBF, "the usual one"
	}
	if how.Machine == "" {
		for _, m := range w.shop.Machines() {
			if m.Process.V == how.Process && (how.Material == "" || m.Takes(how.Material)) {
				how.Machine = m.Name.V
				w.machineWhy = "the first of the shop that runs " + how.Process
				if how.Material != "" {
					w.machineWhy += " and " + how.Material
				}
				break
			}
		}
	}
	if how.Material != "" {
		return
	}
	how.Material, w.materialWhy = "316L", "the shop does not say what it runs"
	if m, ok := w.shop.Machine(how.Machine); ok {
		if m.Materials.Set && len(m.Materials.V) > 0 {
			how.Material, w.materialWhy = m.Materials.V[0].V, fmt.Sprintf("the first that %q runs", m.Name.V)
		}
	}
}

// measure stands the part well and measures it so.
func (w *starter) measure(ctx context.Context) error {
	w.o.Unit = w.unit
	r := w.bare(w.o.MeshOptions)
	o, err := w.engine.orient(ctx, r)
	if err != nil {
		return err
	}
	how := w.o.MeshOptions
	if o.Now != nil {
		w.best, w.bestWhy = o.Now, "no other way is better by more than a twentieth"
		if b := o.Better(0.05); b != nil {
			w.best, w.bestWhy = b, "best of "+strconv.Itoa(o.Looked)+" directions"
		}
		how.Up = w.best.Up
	}
	w.report = w.bare(how)
	w.engine.judge(ctx, w.report, Full)
	if w.report.Err != nil {
		return w.report.Err
	}
	w.part = w.report.Spec
	if w.report.Mesh == nil {
		w.report.Mesh = r.Mesh
	}
	if m := w.report.Mesh; m != nil && w.report.Measured.Mass != nil {
		w.flats, err = mesh.FlatFaces(ctx, m, starterFaceShare*w.report.Measured.Mass.AreaMM2, 0)
	}
	return err
}

// write makes the text.
func (w *starter) write() {
	part := w.part
	w.line("# A starting point, made from the mesh. Lines marked \"guess\" are to be checked.")
	w.line("schema   = 1")
	w.line("part     = %s", spec.Quote(part.Name.V))
	w.line("process  = %s%s", spec.Quote(part.Process.V), guess(w.processWhy != "", w.processWhy))
	w.line("material = %s%s", spec.Quote(w.o.Material), guess(w.materialWhy != "", w.materialWhy))
	if w.o.Machine != "" {
		w.line("machine  = %s%s", spec.Quote(w.o.Machine), guess(w.machineWhy != "", w.machineWhy))
	}
	w.line("quantity = 1%s", guess(true, "set-up is shared among them"))
	w.line("use      = \"general\"%s", guess(true, "pressure, flight or medical raise cautions"))
	w.line("")
	w.line("[mesh]")
	w.line("file  = %s", spec.Quote(w.meshFile()))
	if w.unit != "" {
		w.line("units = %s%s", spec.Quote(w.unit), guess(w.unitWhy != "", w.unitWhy))
	}
	w.standing()
	w.holes()
	w.faces()
	w.voids()
	w.route()
}

func (w *starter) line(format string, args ...any) {
	if len(args) == 0 {
		w.text.WriteString(format)
	} else {
		fmt.Fprintf(&w.text, format, args...)
	}
	w.text.WriteByte('\n')
}

// guess is the comment behind a guess.
func guess(is bool, why string) string {
	if !is {
		return ""
	}
	return " # guess: " + comment(why)
}

// comment makes a text fit for one line of comment.
func comment(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
}

// meshFile is the mesh's path as the spec says it.
func (w *starter) meshFile() string {
	if rel, err := filepath.Rel(filepath.Dir(absolute(w.o.Spec)), absolute(w.path)); err == nil {
		return filepath.ToSlash(rel)
	}
	return filepath.ToSlash(w.path)
}

func (w *starter) standing() {
	w.line("")
	w.line("[orientation]")
	best := w.best
	if best == nil {
		w.line("up = \"+z\" # guess: no better one could be looked for")
		return
	}
	text := best.Text
	if best.IsNow {
		text = `"+z"`
	}
	w.line("# %s", comment(best.Facts))
	w.line("up = %s%s", text, guess(true, w.bestWhy))
	if best.Turn != "" {
		w.line("turn = %s%s", spec.Quote(best.Turn), guess(true, "so that it fits the machine"))
	}
}

func (w *starter) holes() {
	if w.report.Measured.Cylinders == nil {
		return
	}
	holes := starterHolesOf(w.report.Measured.Cylinders.Holes)
	if len(holes) > 0 {
		w.line("")
		w.line("# Round holes of the mesh, largest first; keep those whose size matters.")
		w.line("# Guess: all are left as built. A hole to be reamed is to be drawn smaller.")
	}
	for i, h := range holes {
		w.line("")
		w.line("[[hole]]")
		w.line("name     = %s # %s, %s mm deep, along %s", spec.Quote(starterHole(i)), SayEnds(h.Through), rounded(h.LengthMM), sayAxis(h.Axis))
		w.line("at       = %s", w.place(h.At))
		w.line("diameter = \"%s mm\"", plain(roundTo(h.DiameterMM, 3)))
		w.line("finish   = \"as-built\"")
	}
	if more := roundHoles(w.report.Measured.Cylinders.Holes)[len(holes):]; len(more) > 0 {
		w.line("")
		w.line("# There are %d more, of %s mm or less.", len(more), plain(roundTo(more[0].DiameterMM, 2)))
	}
}

// roundHoles returns holes that are more than scallops, largest first.
func roundHoles(all []mesh.Cylinder) []*mesh.Cylinder {
	var out []*mesh.Cylinder
	for i := range all {
		if all[i].Share >= shareLeast {
			out = append(out, &all[i])
		}
	}
	slices.SortStableFunc(out, func(a, b *mesh.Cylinder) int { return cmp.Compare(b.DiameterMM, a.DiameterMM) })
	return out
}

// starterHolesOf returns the holes that a starter declares, in its order.
func starterHolesOf(all []mesh.Cylinder) []*mesh.Cylinder {
	out := roundHoles(all)
	return out[:min(len(out), starterHoles)]
}

// starterHole is the name of a starter's hole.
func starterHole(i int) string { return fmt.Sprintf("hole %d", i+1) }

// sayAxis says a direction in a comment, to three decimals where small whole
// numbers don't say it.
func sayAxis(v mesh.Vec) string {
	w, text := writtenUp(v)
	if strings.Contains(text, ".") {
		for k := range w {
			w[k] = roundTo(w[k], 3) + 0
		}
		text = sayUp(w)
	}
	return strings.Trim(text, `"`)
}

// place is a position in the mesh's own numbers.
func (w *starter) place(at mesh.Vec) string {
	unit := w.report.Info.Source.UnitMM
	digits := 3 + int(math.Round(math.Log10(max(unit, 1e-6))))
	var s [3]string
	for k := range s {
		s[k] = strconv.FormatFloat(roundTo(at[k]/unit, max(0, digits))+0, 'f', -1, 64)
	}
	return "[" + strings.Join(s[:], ", ") + "]"
}

func (w *starter) faces() {
	var faces []mesh.FlatFace
	for _, f := range w.flats {
		if f.Outer {
			faces = append(faces, f)
		}
	}
	if len(faces) == 0 {
		return
	}
	w.line("")
	w.line("# Large flat faces on the outside; keep those that mate or seal.")
	w.line("# Guess: all are left as built. One to be milled takes finish = \"mill\" and its stock.")
	for i, f := range faces {
		if i == starterFaces {
			break
		}
		at, ok := w.onFace(&f)
		if !ok {
			continue
		}
		w.line("")
		if w.best != nil && Overhang.Applies(w.part.Process.V) && f.Normal.Dot(w.best.Up) < -math.Sqrt2/2 {
			w.line("# A face of %s mm2, facing %s, is cut from the platform or carries support as the part stands.", rounded(f.AreaMM2), sayAxis(f.Normal))
			w.line("# Name it if it matters, with a finish that cuts and the stock for that.")
			continue
		}
		w.line("[[face]]")
		w.line("name   = \"face %d\" # %s mm2, facing %s", i+1, rounded(f.AreaMM2), sayAxis(f.Normal))
		w.line("at     = %s", w.place(at))
		w.line("finish = \"as-built\"")
	}
}

// onFace is a place well inside a face: the middle of its largest facet, since
// the centroid may lie in a hole.
func (w *starter) onFace(f *mesh.FlatFace) (mesh.Vec, bool) {
	m, best, at := w.report.Mesh, -1.0, mesh.Vec{}
	for _, g := range f.Facets {
		if a := m.Area(g); a > best {
			best, at = a, m.Centre(g)
		}
	}
	return at, best > 0
}

func (w *starter) voids() {
	if w.report.Measured.Voids == nil || len(w.report.Measured.Voids.Voids) == 0 {
		return
	}
	w.line("")
	w.line("# Inner spaces of the mesh, largest first.")
	for i, v := range w.report.Measured.Voids.Voids {
		if i == starterVoids {
			w.line("# There are %d more.", len(w.report.Measured.Voids.Voids)-i)
			break
		}
		way := fmt.Sprintf("a ball of %s mm gets out", plain(roundTo(v.EscapeMM, 1)))
		if v.Sealed {
			way = "sealed in the mesh, so powder stays in: true only after a review"
		}
		w.line("")
		w.line("[[void]]")
		w.line("name   = \"space %d\" # %s mm3; %s", i+1, rounded(v.VolumeMM3), way)
		w.line("at     = %s", w.place(v.At))
		w.line("sealed = false")
	}
}

func (w *starter) route() {
	p := &Subject{Spec: w.part, Shop: w.report.Shop, Limits: w.report.Limits, Info: w.report.Info, Mesh: w.report.Mesh, Measured: w.report.Measured}
	w.line("")
	w.line("[route]")
	w.line("steps = [%s]%s", quoteList(workSteps(p, w.best)), guess(true, "the usual steps after "+w.part.Process.V))
}

// NewFile says whether a spec may be written there: never over another file.
func NewFile(path string) error {
	switch _, err := os.Lstat(path); {
	case err == nil:
		return fmt.Errorf("%q is there already; nothing written", path)
	case !errors.Is(err, os.ErrNotExist):
		return plainError(err)
	}
	return nil
}
