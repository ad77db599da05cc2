package mesh

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// This file takes the measurements that hold on to their mesh apart into plain
// values, to be kept without it, and puts them together again. A measurement is
// kept in two forms: whole, which needs its mesh again, and as the answers that
// it gave, which need nothing and answer nothing else.

// KeptThickness is a ThicknessField as plain values: whole if it has nodes,
// else the answers to some limits.
type KeptThickness struct {
	Params             ThicknessParams
	Min                float64
	MinAt              Vec
	Err, MissMM        float64
	FacetMM            []float32
	NodeLo, NodeMid    []float32
	NodeWith, NodeKids []int32
	Limits             []float64
	Regions            [][]ThinRegion // by limit
}

// Keep returns all of a field but its mesh.
func (t *ThicknessField) Keep() KeptThickness {
	k := t.KeepAnswers()
	k.FacetMM = t.FacetMM
	for i := range t.nodes {
		nd := &t.nodes[i]
		k.NodeLo, k.NodeMid = append(k.NodeLo, nd.lo), append(k.NodeMid, nd.mid)
		k.NodeWith, k.NodeKids = append(k.NodeWith, nd.with), append(k.NodeKids, nd.kids)
	}
	return k
}

// KeepAnswers returns what a field says of some limits.
func (t *ThicknessField) KeepAnswers(limitsMM ...float64) KeptThickness {
	k := KeptThickness{Params: t.Params, Min: t.Min, MinAt: t.MinAt, Err: t.Err, MissMM: t.MissMM}
	for _, l := range limitsMM {
		k.Limits, k.Regions = append(k.Limits, l), append(k.Regions, t.Regions(l))
	}
	return k
}

// Answers returns a field without map or mesh. Its Regions panics for limits
// that it was not kept for.
func (k *KeptThickness) Answers() *ThicknessField {
	t := &ThicknessField{Params: k.Params, Min: k.Min, MinAt: k.MinAt, Err: k.Err, MissMM: k.MissMM}
	for i, l := range k.Limits {
		t.memo.keep(l, k.Regions[i])
	}
	return t
}

// Gap puts a whole field of gaps together with its mesh again; Thickness one of walls.
func (k *KeptThickness) Gap(ctx context.Context, m *Mesh) (*ThicknessField, error) {
	return k.field(ctx, m, -1)
}

// Thickness puts a whole field together with its mesh again.
func (k *KeptThickness) Thickness(ctx context.Context, m *Mesh) (*ThicknessField, error) {
	return k.field(ctx, m, 1)
}

func (k *KeptThickness) field(ctx context.Context, m *Mesh, side float64) (*ThicknessField, error) {
	n := len(k.NodeLo)
	skin, err := m.skinned.get(ctx)
	if err != nil {
		return nil, err
	}
	if len(k.FacetMM) != len(m.Facets) || n < skin.count() || len(k.NodeMid) != n || len(k.NodeWith) != n || len(k.NodeKids) != n {
		return nil, fmt.Errorf("a field of %d facets on %d cells does not fit a mesh of %d facets", len(k.FacetMM), n, len(m.Facets))
	}
	t := k.Answers()
	t.skin, t.m, t.side, t.FacetMM = skin, skin.m, side, k.FacetMM
	t.nodes = make([]node, n)
	for i := range t.nodes {
		t.nodes[i] = node{lo: k.NodeLo[i], mid: k.NodeMid[i], with: k.NodeWith[i], kids: k.NodeKids[i]}
	}
	t.findAbove()
	g, err := t.newGauge(ctx)
	t.gauge = g
	t.gauge.ctx = context.Background() // of what is asked later
	return t, err
}

// KeptSections is Sections as plain values, with the jumps that it was asked for.
type KeptSections struct {
	PitchMM              float64
	Z                    []float64
	AreaMM2, PerimeterMM []float64
	Islands              []int
	Largest              int
	WithinMM, Least      float64
	Jumps                []SectionJump
}

// Keep returns all of the sections but their mesh, and the jumps within a
// height with at least a ratio.
func (s *Sections) Keep(withinMM, least float64) KeptSections {
	k := KeptSections{PitchMM: s.PitchMM, Z: s.Z, AreaMM2: s.AreaMM2, PerimeterMM: s.PerimeterMM, Islands: s.Islands, Largest: s.Largest,
		WithinMM: withinMM, Least: least}
	if !math.IsNaN(withinMM) {
		k.Jumps = s.Jumps(withinMM, least)
	}
	return k
}

// Answers returns sections without their mesh. Their Jumps panics where it is
// asked for others than they were kept for.
func (k *KeptSections) Answers() *Sections {
	return &Sections{PitchMM: k.PitchMM, Z: k.Z, AreaMM2: k.AreaMM2, PerimeterMM: k.PerimeterMM, Islands: k.Islands, Largest: k.Largest, kept: k}
}

// Sections puts sections together with their mesh again, as the frame says
// that it stands.
func (k *KeptSections) Sections(m *Mesh, f Frame) *Sections {
	s := k.Answers()
	s.mesh, s.frame, s.kept = m, f, nil
	return s
}

// jumps are those that sections without a mesh were kept for.
func (k *KeptSections) jumps(withinMM, least float64) []SectionJump {
	if withinMM != k.WithinMM || least != k.Least {
		panic(fmt.Sprintf("mesh: jumps by %v within %v mm asked of sections that were kept for %v within %v mm", least, withinMM, k.Least, k.WithinMM))
	}
	return slices.Clone(k.Jumps)
}
