package rules

// NeedsSupport reports whether an overhang region, by its index in
// Measured.Overhang.Regions, needs support: one that breaks its limits, or the
// roof of a hole too wide to carry itself. It is what Estimate counts.
func (r *PartReport) NeedsSupport(region int) bool {
	if r.Measured.Overhang == nil || r.Measured.Cylinders == nil {
		return false
	}
	p := &Subject{Spec: r.Spec, Shop: r.Shop, Limits: r.Limits, Mesh: r.Mesh, Measured: r.Measured}
	return needsSupport(p, r.Measured.Overhang.Regions[region])
}
