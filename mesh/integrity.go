package mesh

import "context"

// Integrity says how far the mesh is a closed, consistently wound surface.
type Integrity struct {
	OpenEdges, NonmanifoldEdges int
	FlippedFacets               int // facets wound against the majority of their shell
	DegenerateFacets            int // no area
	DuplicateFacets             int // same three vertices as an earlier facet
	SelfIntersections           int // pairs of facets that cross or overlap without sharing a vertex or edge there
	Shells, InvertedShells      int // inverted: a shell whose sign of volume does not fit its nesting

	// A few places of each kind, worst or first, mesh coordinates.
	OpenAt, NonmanifoldAt, FlippedAt, IntersectAt []Vec
}

// Sound reports whether volume and inside/outside have a meaning.
func (i Integrity) Sound() bool {
	return i.OpenEdges == 0 && i.NonmanifoldEdges == 0 && i.FlippedFacets == 0
}

// MeasureIntegrity examines the mesh.
func MeasureIntegrity(ctx context.Context, m *Mesh) (Integrity, error) {
	return Integrity{}, errNotYet
}
