package rules

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"corbel/mesh"
	"corbel/rules/estimate"
	"corbel/spec"
)

// This file measures one way to stand a part, says what speaks for it, and
// writes it into a spec.

// standing measures a direction as a check would.
func (s *search) standing(ctx context.Context, c *candidate, isNow, exact bool) (*Standing, error) {
	out := &Standing{IsNow: isNow, RestMM2: c.ContactMM2}
	out.Up, out.Text = writtenUp(c.Up)
	if isNow {
		out.Up = c.Up
		if o := s.Spec.Orientation.Up; o.Set {
			out.Text = strings.TrimSpace(string(s.Spec.Doc.Text[o.At.Start:o.At.End]))
		}
	}
	p, err := s.standAt(ctx, out.Up)
	if err != nil {
		return nil, err
	}
	out.HeightMM = p.Measured.Box.Size[2]
	sh := shape{heightMM: out.HeightMM + p.Measured.Frame.Lift, partMM3: s.partMM3, sideMM2: p.Measured.Box.SideMM2}
	if s.supported() {
		if err := s.support(ctx, p, out, exact); err != nil {
			return nil, err
		}
		sh.columnMM3, sh.touchMM2 = out.ColumnMM3, out.TouchMM2
	}
	for _, h := range p.Measured.Cylinders.Holes {
		if h.Share >= shareLeast && roofTooWide(p, h, tiltOf(p, h)) {
			out.Roofs++
		}
	}
	out.Harms = s.harms(out.Up, out.RestMM2 > 0)
	if out.Starts > 0 && s.level(FloatingStart) == Error {
		out.Harms = append(out.Harms, "starts in the air in "+plural(out.Starts, "place"))
	}
	if err := s.fit(ctx, p, out); err != nil {
		return nil, err
	}
	if sh.perJob, err = p.perPlatform(ctx, &s.costs); err != nil {
		return nil, err
	}
	sh.perJob = max(1, sh.perJob)
	s.priceStanding(out, sh)
	return out, nil
}

// standAt measures the part as it would stand.
func (s *search) standAt(ctx context.Context, up mesh.Vec) (*Subject, error) {
	turn := 0.0
	if t := s.Spec.Orientation.Turn; t.Set {
		turn = t.V.V
	}
	m := *s.Measured
	m.Frame = mesh.NewFrame(up, turn, s.Measured.Frame.Lift)
	m.Frame.Layer = s.Measured.Frame.Layer
	p := *s.Subject
	p.Measured = &m
	if m.Frame == s.Measured.Frame && m.Box != nil && (!s.supported() || m.Overhang != nil && m.Has(NeedStarts)) {
		return &p, nil // measured already
	}
	box, err := mesh.MeasureBox(ctx, s.Mesh, m.Frame)
	if err != nil {
		return nil, err
	}
	m.Box = &box
	if !s.supported() {
		return &p, nil
	}
	par := s.engine.paramsOf(&p)
	least, _ := s.Limit("overhang.area")
	o, err := mesh.MeasureOverhang(ctx, s.Mesh, m.Frame, mesh.OverhangParams{LeastMM2: least.V, AngleRad: par.angleRad, SlackRad: angleSlackRad, HoleOf: m.Cylinders.HoleOf, PinOf: m.Cylinders.PinOf(), EnoughMM: s.enough()})
	if err != nil {
		return nil, err
	}
	m.Overhang = &o
	m.have = map[Need]bool{NeedOverhang: true, NeedStarts: true}
	m.Starts, err = mesh.MeasureFloatingStarts(ctx, s.Mesh, m.Frame)
	return &p, err
}

// enough is a reach with which a region needs support, ledge or bridge.
func (p *Subject) enough() float64 {
	ledge, _ := p.Limit("overhang.ledge")
	bridge, _ := p.Limit("overhang.bridge")
	most := max(ledge.V, bridge.V/2)
	return 1.001*most + equalErr(2*most)
}

// support adds up what has to stand under the part: the columns exactly as a
// check does, or by rays where many directions of a large mesh are to be told
// apart.
func (s *search) support(ctx context.Context, p *Subject, out *Standing, exact bool) error {
	for _, st := range p.Measured.Starts {
		if startCounts(p, st) && !lifted(p, st) {
			out.Starts++
		}
	}
	out.RestMM2 = p.Measured.Overhang.RestMM2
	need, known := p.supportNeed()
	if !known {
		c, err := s.columns(ctx, p, exact)
		if err != nil {
			return err
		}
		need, out.ByRays = p.supportOf(c), !exact
	}
	out.OverhangMM2, out.ColumnMM3, out.SupportMM3 = need.OverhangMM2, need.ColumnMM3, need.SolidMM3
	out.TouchMM2, out.FootMM2, out.OnPartMM2, out.Anchored = need.TouchMM2, need.FootMM2, need.OnPartMM2, need.Anchored
	var err error
	out.StuckMM2, err = s.stuck(ctx, p)
	return err
}

// stuck sums the overhang from which support can't be taken off, over the
// regions of which SupportAccess would tell.
func (s *search) stuck(ctx context.Context, p *Subject) (float64, error) {
	if _, ok := p.Limit("support-access.share"); !ok || !p.told(SupportAccess) {
		return 0, nil
	}
	m := *p.Measured
	m.Overhang = p.overhangNeeding()
	var err error
	if m.Access, err = mesh.MeasureSupportAccess(ctx, s.Mesh, m.Frame, m.Overhang, s.engine.paramsOf(p).access); err != nil {
		return 0, err
	}
	q := *p
	q.Measured = &m
	var sum float64
	for _, f := range judgeSupportAccess(&q) {
		sum += f.Measured * f.AreaMM2
	}
	return sum, nil
}

// overhangNeeding is the overhang that needs support.
func (p *Subject) overhangNeeding() *mesh.Overhang {
	some := mesh.Overhang{RestMM2: p.Measured.Overhang.RestMM2}
	for _, i := range p.needing() {
		some.Regions = append(some.Regions, p.Measured.Overhang.Regions[i])
	}
	return &some
}

// columns measures the columns under what needs support.
func (s *search) columns(ctx context.Context, p *Subject, exact bool) (mesh.Columns, error) {
	some := p.overhangNeeding()
	if !exact {
		var facets []int32
		for i := range some.Regions {
			facets = append(facets, some.Regions[i].Facets...)
		}
		return s.stands.Columns(ctx, p.Measured.Frame.Z, facets, orientRays)
	}
	u, err := mesh.MeasureSupport(ctx, s.Mesh, p.Measured.Frame, some)
	return mesh.Columns{VolumeMM3: u.VolumeMM3, ProjectedMM2: u.AreaMM2, OnPartMM2: u.AreaMM2 * u.OnPartShare}, err
}

// anchor is the area by which a part that stands on an edge, a point or a small
// face has to be tied to the platform over what rests and what its supports
// hold: a share of its footprint.
func anchor(foot [2]float64, restMM2, supportMM2 float64) float64 {
	return max(0, anchorShare*foot[0]*foot[1]-restMM2-supportMM2)
}

// fit says whether the machine holds it, turned or as the spec turns it.
func (s *search) fit(ctx context.Context, p *Subject, out *Standing) error {
	out.Fits = true
	if !p.overflows() {
		return nil
	}
	var found Ways
	par := s.engine.paramsOf(p)
	f := fitting{s.Mesh, &par, par.rooms[0], &found}
	if err := f.try(ctx, "turn", out.Up); err != nil {
		return err
	}
	if len(found.List) > 0 {
		if w := &found.List[0]; w.Turns {
			out.Turn = w.turn()
		}
		return nil
	}
	over, axis := p.room(s.machine).lacks(p.stand())
	out.Fits = false
	out.Lacks = fmt.Sprintf("%s mm too large along %s", number(over, 0.05), axis)
	if axis == "diameter" {
		out.Lacks = fmt.Sprintf("%s mm too large across", number(over, 0.05))
	}
	return nil
}

func (s *search) priceStanding(out *Standing, sh shape) {
	pr := s.price(sh)
	out.Hours, out.Cost = s.bands(sh, pr)
	out.PerJob, out.Jobs, out.JobH, out.HandH = pr.PerJob, pr.Jobs, pr.Job.Sum, pr.HandH
	out.Machine = pr.Cost.Machine + pr.Cost.Gas
	bare := sh
	bare.columnMM3, bare.touchMM2 = 0, 0
	out.Support = pr.Cost.Sum - s.price(bare).Cost.Sum
}

// declaredPlace is a declared face or hole that is left as the process makes it.
type declaredPlace struct {
	what   string
	hole   *mesh.Cylinder
	normal mesh.Vec // of a face
	raUM   float64  // asked of a face; 0 nothing
}

// cut reports whether a finish takes the built surface off.
func cut(finish string) bool { return machined(finish) && finish != "blast" }

// places collects the declared faces and holes that no tool cuts: they must
// come out well as built. Of a mesh without a spec these are the holes that a
// starter declares, so that what it is stood by holds for what it says.
func (s *search) places() []declaredPlace {
	var out []declaredPlace
	for i := range s.Spec.Faces {
		f := &s.Spec.Faces[i]
		if !f.At.Set || cut(f.Finish.V) {
			continue
		}
		at := s.facetAt(f.At.V)
		if at < 0 {
			continue
		}
		d := declaredPlace{what: "face " + strconv.Quote(f.Name.V), normal: s.Mesh.Normal(at)}
		if f.Roughness.Set {
			d.raUM = f.Roughness.V.V * 1000
		}
		out = append(out, d)
	}
	for i, h := range matchHoles(s.Subject) {
		if d := &s.Spec.Holes[i]; !cut(d.Finish.V) {
			out = append(out, declaredPlace{what: "hole " + strconv.Quote(d.Name.V), hole: &s.Measured.Cylinders.Holes[h]})
		}
	}
	if s.bare {
		for i, h := range starterHolesOf(s.Measured.Cylinders.Holes) {
			out = append(out, declaredPlace{what: "hole " + strconv.Quote(starterHole(i)), hole: h})
		}
	}
	sortBy(out, func(d declaredPlace) string { return d.what })
	return out
}

// harms says which declared places a direction spoils.
func (s *search) harms(up mesh.Vec, rests bool) []string {
	var out []string
	for i := range s.declared {
		d := &s.declared[i]
		if d.hole != nil {
			if why := s.holeHarm(d.hole, up); why != "" {
				out = append(out, d.what+" "+why)
			}
		} else if why := s.faceHarm(d, up, rests); why != "" {
			out = append(out, d.what+" "+why)
		}
	}
	return out
}

func (s *search) holeHarm(h *mesh.Cylinder, up mesh.Vec) string {
	tilt := math.Acos(min(1, math.Abs(h.Axis.Dot(up))))
	if !s.supported() || !s.told(Hole) || !roofTooWide(s.Subject, *h, tilt) {
		return ""
	}
	return sayTilt(tilt) + ", and its roof is too wide to carry itself"
}

// roofsHarmed counts the holes of which the harms tell that their roof is too wide.
func (s *search) roofsHarmed(up mesh.Vec) int {
	harmed := map[*mesh.Cylinder]bool{}
	for i := range s.declared {
		if h := s.declared[i].hole; h != nil && s.holeHarm(h, up) != "" {
			harmed[h] = true
		}
	}
	return len(harmed)
}

// faceHarm looks at a face by its direction alone: support marks it, the
// platform's cut does, or it comes out rougher than asked.
func (s *search) faceHarm(d *declaredPlace, up mesh.Vec, rests bool) string {
	n := d.normal.Dot(up)
	lies := degrees(math.Acos(min(1, math.Abs(n)))) // from the horizontal
	if angle, ok := s.Limit("overhang.angle"); ok && s.supported() && n < 0 && lies*math.Pi/180 < angle.V-angleSlackRad {
		if lies < 0.1 && rests {
			return "faces the platform, from which it would be cut"
		}
		return fmt.Sprintf("faces down at %.0f deg and would carry support", lies)
	}
	if ra, ok := s.expected(n, lies); d.raUM > 0 && s.told(Roughness) && (!ok || ra > d.raUM) {
		if !ok {
			return fmt.Sprintf("faces down at %.0f deg, too flat for the %s um it asks", lies, plain(d.raUM))
		}
		return fmt.Sprintf("would come out near %.0f um where it asks %s um", ra, plain(d.raUM))
	}
	return ""
}

// expected is the roughness as built, in um, of a face whose normal has the
// cosine n to the build direction and that lies at an angle from the horizontal.
func (s *search) expected(n, lies float64) (float64, bool) {
	up, ok1 := s.Limit("roughness.up")
	down, ok2 := s.Limit("roughness.down")
	if !ok1 || !ok2 {
		return 0, true
	}
	if n >= 0 {
		return estimate.UpskinRoughness(lies, up.V*1000, s.job.LayerMM*1000), true
	}
	flat := down.V
	if l, ok := s.Limit("roughness.flat"); ok {
		flat = l.V
	}
	return estimate.DownskinRoughness(lies, up.V*1000, down.V*1000, flat*1000)
}

// reason says in one sentence what a way up has and how it differs from the
// spec's own.
func (s *search) reason(c, now *Standing) string {
	var words []string
	switch {
	case c.RestMM2 >= 1:
		words = append(words, fmt.Sprintf("rests on %s mm2", rounded(c.RestMM2)))
	case c.Anchored:
		words = append(words, "stands on an edge or a point and has to be tied down")
	}
	switch {
	case !s.supported():
		words = append(words, "the powder carries it, so no support stands under it in the build")
	case c.ColumnMM3 < 0.5 && c.TouchMM2 < 0.5:
		words = append(words, "needs no support")
	default:
		words = append(words, fmt.Sprintf("needs %s mm3 of support columns on %s mm2", rounded(c.ColumnMM3), rounded(c.TouchMM2)))
		if c.OnPartMM2 > 0.005*c.FootMM2 {
			words[len(words)-1] += fmt.Sprintf(", %.0f %% of their foot on the part", 100*c.OnPartMM2/c.FootMM2)
		}
	}
	if !c.IsNow && s.supported() && math.Abs(c.ColumnMM3-now.ColumnMM3) > 0.02*max(c.ColumnMM3, now.ColumnMM3)+0.5 {
		words[len(words)-1] += fmt.Sprintf(", against %s as written", rounded(now.ColumnMM3))
	}
	if c.StuckMM2 >= 0.5 && !c.stuck {
		words = append(words, c.sayStuck())
	}
	if d := c.HeightMM - now.HeightMM; !c.IsNow && math.Abs(d) >= 0.05 {
		words = append(words, fmt.Sprintf("stands %s mm %s", number(math.Abs(d), 0.05), pick(d > 0, "taller", "lower")))
	}
	if n := c.Roofs - s.roofsHarmed(c.Up); n > 0 && s.told(Hole) {
		words = append(words, fmt.Sprintf("leaves %s whose roof is too wide", plural(n, "hole")))
	}
	if c.Starts > 0 && s.told(FloatingStart) && s.level(FloatingStart) != Error { // else it is among the harms
		words = append(words, fmt.Sprintf("starts in the air in %s", plural(c.Starts, "place")))
	}
	if c.Jobs > 1 {
		words = append(words, fmt.Sprintf("takes %d jobs of %d", c.Jobs, c.PerJob))
	}
	if !c.Fits {
		words = append(words, "does not fit the machine: "+c.Lacks)
	}
	words = append(words, c.Harms...)
	if len(words) == 0 {
		return "Nothing tells it from others."
	}
	return upperFirst(strings.Join(words, "; ")) + "."
}

func (c *Standing) sayStuck() string {
	return fmt.Sprintf("no straight tool takes off the support under %s mm2", rounded(c.StuckMM2))
}

func pick(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// writtenUp is a direction as a spec says it, and the direction that such a
// text means: an axis, small whole numbers where they say it exactly, else six
// decimals, which turn a part of a metre by a micrometre.
func writtenUp(v mesh.Vec) (mesh.Vec, string) {
	v = v.Unit()
	most := max(math.Abs(v[0]), math.Abs(v[1]), math.Abs(v[2]))
	for n := 1; n <= 12; n++ {
		var w mesh.Vec
		for k := range w {
			w[k] = math.Round(v[k]/most*float64(n)) + 0
		}
		if w.Unit().Dot(v) > 1-1e-12 {
			return w.Unit(), sayUp(w)
		}
	}
	var w mesh.Vec
	for k := range w {
		w[k] = roundTo(v[k], 6) + 0
	}
	return w.Unit(), sayUp(w)
}

func sayUp(w mesh.Vec) string {
	for k, name := range []string{"x", "y", "z"} {
		switch w {
		case unitAxis(k):
			return strconv.Quote("+" + name)
		case unitAxis(k).Scale(-1):
			return strconv.Quote("-" + name)
		}
	}
	var s [3]string
	for k := range s {
		s[k] = strconv.FormatFloat(w[k]+0, 'f', -1, 64)
	}
	return "[" + strings.Join(s[:], ", ") + "]"
}

// orientEdits writes a choice into the spec: the value of up where there is
// one, else a new key or table. The rest of the text, comments too, stays.
func orientEdits(part *spec.Part, c *Standing) []spec.Fix {
	if c.IsNow && c.Turn == "" || part.Doc == nil || len(part.Doc.Text) == 0 {
		return nil
	}
	title := "Stand the part with up = " + c.Text
	o := &part.Orientation
	var out []spec.Fix
	missing := ""
	set := func(key string, at spec.Range, has bool, text string) {
		if has {
			out = append(out, spec.Fix{Title: title, At: at, Text: text})
		} else {
			missing += key + " = " + text + "\n"
		}
	}
	if !c.IsNow {
		set("up", o.Up.At, o.Up.Key != (spec.Range{}), c.Text)
	}
	if c.Turn != "" {
		set("turn", o.Turn.At, o.Turn.Key != (spec.Range{}), strconv.Quote(c.Turn))
	}
	if missing != "" {
		out = append(out, insertOrientation(part, title, missing))
	}
	return out
}

// insertOrientation puts keys into the table [orientation], or adds it.
func insertOrientation(part *spec.Part, title, keys string) spec.Fix {
	text := part.Doc.Text
	t := part.Orientation.Table
	if t != (spec.Range{}) && text[t.Start] == '[' {
		end := part.Doc.LineRange(part.Doc.LineOf(t.Start)).End
		return spec.Fix{Title: title, At: spec.Range{Start: end, End: end}, Text: "\n" + strings.TrimSuffix(keys, "\n")}
	}
	if t != (spec.Range{}) && text[t.Start] == '{' {
		at := t.Start + 1
		inline := strings.ReplaceAll(strings.TrimSuffix(keys, "\n"), "\n", ", ")
		sep := ", "
		if strings.TrimSpace(string(text[at:t.End-1])) == "" {
			sep = " "
		}
		return spec.Fix{Title: title, At: spec.Range{Start: at, End: at}, Text: " " + inline + sep}
	}
	end := len(text)
	lead := "\n"
	if end > 0 && text[end-1] != '\n' {
		lead = "\n\n"
	}
	return spec.Fix{Title: title, At: spec.Range{Start: end, End: end}, Text: lead + "[orientation]\n" + keys}
}

// Apply lays edits over a text. Edits must not overlap.
func Apply(text []byte, edits []spec.Fix) []byte {
	edits = append([]spec.Fix(nil), edits...)
	sortBy(edits, func(f spec.Fix) int { return f.At.Start })
	var out []byte
	at := 0
	for _, f := range edits {
		out = append(out, text[at:f.At.Start]...)
		out = append(out, f.Text...)
		at = f.At.End
	}
	return append(out, text[at:]...)
}

func sortBy[T any, K cmp.Ordered](list []T, key func(T) K) {
	slices.SortStableFunc(list, func(a, b T) int { return cmp.Compare(key(a), key(b)) })
}
