package rules

import (
	"corbel/mesh"
	"corbel/spec"
)

// Mode says how far a part is examined.
type Mode int

const (
	// Text judges the text alone: no mesh is opened. It answers at once.
	Text Mode = iota
	// Known judges what memory holds already and computes no measurement; the
	// report's Complete says whether that was everything. It answers at once.
	Known
	// Full measures what is missing and judges everything.
	Full
)

// Status of a report.
const (
	Checked   = "checked"   // every check that applies ran
	Unchecked = "unchecked" // something could not be checked; Failures say what
)

// PartReport is what is known about one part spec. It is immutable once
// returned and shares nothing with a later report that either may change.
type PartReport struct {
	Path     string     // as given to the engine
	Spec     *spec.Part // nil only where the file could not be read
	Shop     *Shop      // built-in file and shop chain, merged; never nil
	Limits   *Limits    // effective limits of the part's process, material and machine; never nil
	Findings []Finding  // in order: position in the text, check, place on the part
	Status   string     // Checked or Unchecked
	Complete bool       // nothing that this mode leaves out would have been measured
	Info     *MeshInfo  // nil where the mesh was not asked for or not readable
	Mesh     *mesh.Mesh // nil also where nothing needed more than Info and what was kept (see Options.Surface)
	MeshPath string     // of the mesh file the spec names, relative like Path; empty if it names none
	Measured *Measured  // never nil; fields are nil where not measured
	Judged   []string   // names of the checks that ran, in the order of the manual
	Failures []Failure  // what could not be checked, and why
	Cautions []Caution  // of the findings, and of process, material and use; each once
	Unseen   string     // what Powder may have missed, in one sentence; empty if nothing
	Bare     bool       // a mesh without a spec: Spec was made up, its places mean nothing
	Deps     []string   // absolute paths whose change changes the report: spec, shop chain, mesh
	Err      error      // the context's, where the work was cancelled; the rest is then partial
}

// MeshInfo is what is known of a mesh without its facets.
type MeshInfo struct {
	Source mesh.Source // of any file with the same bytes
	Facets int
	Box    mesh.Box
}

// Failure is something that could not be checked.
type Failure struct {
	What string // a check's name, or "spec", "mesh", "shop"
	Why  string // one sentence
}

// ShopReport is what is known about a shop file.
type ShopReport struct {
	Path     string
	File     *spec.Shop // nil only where the file could not be read
	Shop     *Shop      // merged over what it extends and the built-in file; never nil
	Findings []Finding
	Failures []Failure
	Deps     []string
	Err      error
}
