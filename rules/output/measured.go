package output

import (
	"math"

	"corbel/mesh"
	"corbel/rules"
)

func degrees(rad float64) float64 { return rad * 180 / math.Pi }

// measured turns what was measured into the document's names and units.
func measured(r *rules.PartReport) *Measured {
	m, out := r.Measured, &Measured{}
	box := r.Info.Box
	if r.Info.Facets > 0 {
		out.Box = &Box{box.Min, box.Max}
	}
	if v := m.Mass; v != nil {
		out.Volume, out.Area, out.Centroid = number(v.VolumeMM3), number(v.AreaMM2), &v.Centroid
	}
	e := r.Estimate()
	if e.MassG > 0 {
		out.Mass = number(e.MassG)
	}
	if e.HasTime {
		out.Time, out.TimeBand = number(e.TimeH), &Span{e.Hours.Low, e.Hours.High}
		out.Inputs = inputs(e.Inputs)
	}
	if e.HasCost {
		out.Cost, out.CostBand = number(e.Cost), &Span{e.Price.Low, e.Price.High}
		c := e.Made
		out.CostShares = &CostShares{c.Machine, c.Job, c.Powder, c.Gas, c.Removal, c.Finish}
	}
	if v := m.Box; v != nil {
		out.OrientedBox, out.Height = &OrientedBox{v.Size}, number(v.Size[2]+m.Frame.Lift)
	}
	if v := m.Integrity; v != nil {
		out.Integrity = &Integrity{v.OpenEdges, v.NonmanifoldEdges, v.PartedEdges, v.FlippedFacets, v.DegenerateFacets, v.DuplicateFacets,
			v.SelfIntersections, v.Shells, v.InvertedShells, v.Fins, v.ClosedEdges, v.TurnedFacets, v.TurnedShells}
	}
	if v := m.Ball; v != nil {
		out.LargestBall = &Ball{v.DiameterMM, v.At}
	}
	out.Wall, out.Gap = thickness(m.Wall), thickness(m.Gap)
	measuredStanding(r, out)
	measuredFeatures(r, out)
	out.Fits = holeFits(r)
	return out
}

// holeFits says what the tolerances of the declared holes mean.
func holeFits(r *rules.PartReport) []HoleFit {
	var out []HoleFit
	for _, f := range r.Fits() {
		size := f.Decl.Diameter.V.V
		h := HoleFit{Name: f.Decl.Name.V, Tolerance: f.Decl.Tolerance.V, Diameter: size, Hole: Span{size + f.Zone.LowerMM, size + f.Zone.UpperMM},
			BuiltGrade: f.BuiltGrade, NeedsFinish: f.NeedsFinish, Draw: f.DrawMM, Stock: f.StockMM}
		if f.HasFit {
			h.Shaft, h.Clearance, h.Kind = &Span{size + f.Shaft.LowerMM, size + f.Shaft.UpperMM}, &Span{f.Fit.LeastMM, f.Fit.MostMM}, f.Fit.Kind()
			if f.BuiltGrade > 0 {
				h.Built = (*Span)(&f.Built)
			}
		}
		out = append(out, h)
	}
	return out
}

// measuredStanding is what depends on how the part stands.
func measuredStanding(r *rules.PartReport, out *Measured) {
	m := r.Measured
	if v := m.Overhang; v != nil {
		o := Overhang{Area: v.AreaMM2, Regions: []Region{}}
		for _, g := range v.Regions {
			o.Regions = append(o.Regions, Region{g.AreaMM2, g.ProjectedMM2, degrees(g.InclinationRad), g.ReachMM, string(g.Kind), g.Hole >= 0, g.At})
		}
		out.Overhang = &o
	}
	if n, ok := r.SupportNeed(); ok {
		out.Support = &Support{n.ColumnMM3, n.SolidMM3, n.OverhangMM2, n.FootMM2, n.OnPartMM2, n.OnPartShare(), n.TouchMM2}
	}
	if m.Has(rules.NeedStarts) {
		list := []Start{}
		for _, s := range m.Starts {
			list = append(list, Start{s.At, s.Kind, s.AreaMM2, s.Height})
		}
		out.FloatingStarts = &list
	}
	if m.Has(rules.NeedSlender) {
		list := []Slender{}
		for _, s := range m.Slender {
			list = append(list, Slender{s.Ratio, s.HeightMM, s.WidthMM, s.Kind, s.At})
		}
		out.Slender = &list
	}
	if s := m.Sections; s != nil && len(s.AreaMM2) > 0 {
		out.Section = &LargestSection{s.AreaMM2[s.Largest], s.Z[s.Largest]}
	}
}

func measuredFeatures(r *rules.PartReport, out *Measured) {
	m := r.Measured
	if m.Has(rules.NeedFeather) {
		list := []FeatherEdge{}
		for _, e := range m.Feather {
			list = append(list, FeatherEdge{degrees(e.AngleRad), e.LengthMM, e.At})
		}
		out.FeatherEdges = &list
	}
	if v := m.Cylinders; v != nil {
		holes, pins := []Hole{}, []Pin{}
		for _, c := range v.Holes {
			holes = append(holes, Hole{c.DiameterMM, c.LengthMM, c.Through, c.Axis, c.At, tilt(m, c.Axis), c.Share})
		}
		for _, c := range v.Pins {
			pins = append(pins, Pin{c.DiameterMM, c.LengthMM, c.Axis, c.At, c.Free, tilt(m, c.Axis)})
		}
		out.Holes, out.Pins = &holes, &pins
	}
	if v := m.Voids; v != nil {
		list := []Void{}
		for _, s := range v.Voids {
			list = append(list, Void{s.VolumeMM3, s.Sealed, s.EscapeMM, s.Openings, r.PowderIn(s.VolumeMM3), s.BallMM, s.WayMM, s.At})
		}
		out.Voids = &list
		ways := []Passage{}
		for _, w := range r.Passages() {
			ways = append(ways, Passage{w.WidthMM, w.LengthMM, w.ErrMM, w.Through, r.PowderIn(w.VolumeMM3), w.At, w.NarrowAt})
		}
		out.Passages = &ways
	}
}

// tilt is the angle between an axis and the build direction, degrees.
func tilt(m *rules.Measured, axis mesh.Vec) float64 {
	return degrees(math.Acos(math.Min(1, math.Abs(axis.Dot(m.Frame.Z)))))
}

func thickness(f *mesh.ThicknessField) *Thickness {
	if f == nil {
		return nil
	}
	t := &Thickness{Min: number(f.Min), Cap: f.Params.CapMM}
	if t.Min != nil {
		t.At = &f.MinAt
	}
	return t
}
