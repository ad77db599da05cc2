package rules

import (
	"fmt"

	"corbel/mesh"
)

// Mesh looks at the mesh itself: is it a closed, consistently wound surface of
// a plausible size, so that inside, volume and thickness mean something?
var Mesh = &Check{
	Name:    "mesh",
	Summary: "The mesh is closed, wound one way, free of crossings, and of a plausible size.",
	Why: "Volume, wall thickness and trapped powder only mean something where inside and outside are told apart. " +
		"A mesh with holes or flipped facets is repaired by somebody later, by guess, and what is built is not what was drawn.",
	Wrong: "Layers are filled outside the part or left empty inside it; a part drawn in inches and read in millimetres comes out 25.4 times too small.",
	Sources: []Source{
		{"coarse or faulty export shows in the built part: Hällgren, Pejryd, Ekengren 2016, Procedia CIRP 50:518", "published, read in part"},
		{"a closed surface has exactly two facets at every edge", "geometry"},
	},
	Needs: []Need{NeedIntegrity},
	Judge: judgeMesh,
	Say:   sayMesh,
}

const (
	// A largest extent outside these betrays a wrong unit more often than an
	// unusual part (common practice, no source).
	extentLeastMM = 2.0
	extentMostMM  = 1500.0
)

// flaw is one kind of damage.
type flaw struct {
	kind, one, many string
	count           int
	mended          int // of them, on reading: they do not stand in the way of other checks
	at              []mesh.Vec
	shift           int // of the level: -1 a warning, -2 a note
	help            string
}

func judgeMesh(p *Subject) []Finding {
	i := p.Measured.Integrity
	const close = "Close the surface in CAD and export again; a repaired mesh is a guess."
	meeting := "They are measured as one body, but what prepares the build may melt twice what they share: unite them in CAD, or keep them apart."
	if !i.Sound() {
		meeting = "Closed ones are measured as one body, an open one apart: a face on it counts as free. What prepares the build may melt twice what they share: unite them in CAD, or keep them apart."
	}
	flaws := []flaw{
		{"open", "open edge", "open edges", i.OpenEdges, i.ClosedEdges, i.OpenAt, 0, close},
		{"nonmanifold", "edge shared by more than two facets", "edges shared by more than two facets", i.NonmanifoldEdges - i.PartedEdges, 0, i.NonmanifoldAt, 0,
			"Let bodies overlap or keep them apart; what hangs on an edge has no inside there."},
		{"fin", "facet that hangs on an edge of others", "facets that hang on edges of others", i.Fins, i.Fins, i.FinAt, 0,
			"Delete them in CAD and export again: they enclose nothing."},
		touchingEdges(i),
		{"flipped", "facet wound against its neighbours", "facets wound against their neighbours", i.FlippedFacets, i.TurnedFacets, i.FlippedAt, 0,
			"Make the normals point outwards and export again."},
		{"inverted", "shell turned inside out", "shells turned inside out", i.InvertedShells, i.TurnedShells, i.InvertedAt, 0,
			"Turn the shell's normals: solid bodies outwards, voids inwards; or unite a body with the one that it lies in."},
		{"crossing", "pair of facets that cross each other", "pairs of facets that cross each other", i.SelfIntersections - i.MeetingPairs, 0, i.IntersectAt, -1,
			"Mend the surface in CAD, so that it crosses itself nowhere."},
		{"meeting", "shell that runs into another", "shells that touch or run into each other", i.MeetingShells, 0, i.MeetAt, -1,
			meeting},
		{"degenerate", "facet without area", "facets without area", i.DegenerateFacets, 0, nil, -2,
			"Harmless in most machines; a finer or cleaner export avoids them."},
		{"duplicate", "facet that repeats another", "facets that repeat others", i.DuplicateFacets, 0, nil, -1,
			"Remove the second copy of the surface; what repeats exactly is measured once."},
	}
	var out []Finding
	for _, w := range flaws {
		if w.count == 0 {
			continue
		}
		f := Finding{HasValue: true, Measured: float64(w.count), Where: p.whereMesh(), Count: 1, shift: w.shift, feature: w.kind, detail: w}
		if len(w.at) > 0 {
			box := mesh.EmptyBox()
			for _, v := range w.at {
				box = box.Grow(v)
			}
			f.place(w.at[0], box, 0, nil)
		}
		out = append(out, f)
	}
	return append(out, judgeExtent(p)...)
}

// touchingEdges tells of edges along which bodies touch that meet nowhere else.
func touchingEdges(i *mesh.Integrity) flaw {
	f := flaw{"touching", "edge along which bodies touch", "edges along which bodies touch", i.PartedEdges, 0, i.NonmanifoldAt, -1,
		"They hold each other by nothing there: let them overlap, or keep them apart."}
	if i.MeetingShells > 0 || i.PartedEdges < i.NonmanifoldEdges {
		f.count = 0
	}
	return f
}

func judgeExtent(p *Subject) []Finding {
	size := p.Info.Box.Size()
	largest := max(size[0], size[1], size[2])
	limit := extentLeastMM
	switch {
	case largest > extentMostMM:
		limit = extentMostMM
	case largest >= extentLeastMM:
		return nil
	}
	f := Finding{HasValue: true, Measured: largest, Limit: limit, Unit: "mm", Count: 1, shift: -1, feature: "size", Where: p.whereMesh()}
	if u := p.Spec.Mesh.Units; u.Set {
		f.Where = Location{p.Spec.File, "mesh.units", u.At}
	}
	return []Finding{f}
}

func sayMesh(p *Subject, f *Finding) {
	w, ok := f.detail.(flaw)
	if !ok {
		word := "less"
		if f.Measured > f.Limit {
			word = "more"
		}
		f.Message = fmt.Sprintf("Largest extent is %s mm, %s than %s mm: the unit may be wrong.", plain(roundTo(f.Measured, 3)), word, plain(f.Limit))
		f.Help = "Compare with the drawing, and set mesh.units to the unit of the file's numbers."
		return
	}
	name := w.many
	if w.count == 1 {
		name = w.one
	}
	at := ""
	if f.HasPlace {
		at = " " + p.near(f.At)
		if w.count > 1 {
			at = ", first" + at
		}
	}
	f.Message = fmt.Sprintf("Mesh has %d %s%s%s.", w.count, name, at, w.sayMended())
	f.Help = w.help
}

// sayMended says how the flaws that were mended on reading are measured.
func (w flaw) sayMended() string {
	how := map[string]string{"open": "measured as closed", "fin": "measured without", "flipped": "measured as turned", "inverted": "measured as turned"}[w.kind]
	switch w.mended {
	case 0:
		return ""
	case w.count:
		return ", " + how
	}
	return fmt.Sprintf(", %d of them %s", w.mended, how)
}
