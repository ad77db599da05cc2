package rules

import "corbel/mesh"

// This file adds up what has to stand under a part: the one sum that estimate,
// measure, orient, compare and the report show.

// SupportNeed is what has to stand under a part, at the size of the drawing:
// columns under the overhang that breaks its limits and under the roofs of holes
// too wide to carry themselves, posts under places that start in the air, and
// what ties a part to the platform that rests on too little of it.
type SupportNeed struct {
	OverhangMM2 float64 // of surface under which columns stand
	ColumnMM3   float64 // columns, posts and tie, down to the part or the platform
	SolidMM3    float64 // the share of it that is solid
	FootMM2     float64 // footprint of the columns under overhang
	OnPartMM2   float64 // of FootMM2: what lands on the part
	TouchMM2    float64 // where all of it touches the part, above and below
	Anchored    bool    // the part has to be tied to the platform
}

// OnPartShare is the share of the footprint that lands on the part.
func (n *SupportNeed) OnPartShare() float64 {
	if !(n.FootMM2 > 0) {
		return 0
	}
	return n.OnPartMM2 / n.FootMM2
}

// SupportNeed returns what has to stand under the part as it stands; false where
// that was not measured.
func (r *PartReport) SupportNeed() (SupportNeed, bool) {
	p := r.subject()
	return p.supportNeed()
}

func (p *Subject) supportNeed() (SupportNeed, bool) {
	m := p.Measured
	if m.Support == nil || m.Overhang == nil || m.Cylinders == nil {
		return SupportNeed{}, false
	}
	var c mesh.Columns
	for _, i := range p.needing() {
		u := &m.Support.Columns[i]
		c.VolumeMM3 += u.VolumeMM3
		c.ProjectedMM2 += u.AreaMM2
		c.OnPartMM2 += u.AreaMM2 * u.OnPartShare
	}
	return p.supportOf(c), true
}

// needing are the numbers of the overhang regions that need support.
func (p *Subject) needing() []int {
	var out []int
	if p.supported() {
		for i, r := range p.Measured.Overhang.Regions {
			if needsSupport(p, r) {
				out = append(out, i)
			}
		}
	}
	return out
}

// supportOf adds to the columns under what needs support all that stands beside
// them. Processes whose powder carries the part need none.
func (p *Subject) supportOf(c mesh.Columns) SupportNeed {
	var n SupportNeed
	if !p.supported() {
		return n
	}
	m := p.Measured
	covered := facetSet{}
	for _, i := range p.needing() {
		r := &m.Overhang.Regions[i]
		n.OverhangMM2 += r.AreaMM2
		covered.add(r.Facets)
	}
	n.ColumnMM3, n.FootMM2, n.OnPartMM2 = c.VolumeMM3, c.ProjectedMM2, c.OnPartMM2
	n.TouchMM2 = n.OverhangMM2 + n.OnPartMM2
	posts, area := p.posts(&covered)
	n.ColumnMM3, n.TouchMM2 = n.ColumnMM3+posts, n.TouchMM2+area
	if m.Box != nil {
		lacks := anchor(m.Box.FootSize, m.Overhang.RestMM2, n.FootMM2-n.OnPartMM2)
		n.ColumnMM3, n.TouchMM2, n.Anchored = n.ColumnMM3+lacks*anchorMM, n.TouchMM2+lacks, lacks > 0
	}
	share := defaultShare
	if r := p.Shop.Rates().SupportShare; r.V > 0 {
		share = r.V
	}
	n.SolidMM3 = share * n.ColumnMM3
	return n
}

// NeedsSupport reports whether an overhang region, by its index in
// Measured.Overhang.Regions, needs support: one that breaks its limits, or the
// roof of a hole too wide to carry itself. It is what SupportNeed counts.
func (r *PartReport) NeedsSupport(region int) bool {
	if r.Measured.Overhang == nil || r.Measured.Cylinders == nil {
		return false
	}
	p := r.subject()
	return needsSupport(p, r.Measured.Overhang.Regions[region])
}

// StartCounts reports whether a place that starts in the air is more than the limits
// let pass.
func (r *PartReport) StartCounts(s mesh.FloatingStart) bool {
	return startCounts(r.subject(), s)
}
