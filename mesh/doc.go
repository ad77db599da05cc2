// Package mesh reads triangle meshes and measures them.
//
// Role: files in, facts out. A Mesh is welded, in millimetres, in the
// coordinates that the file uses (times its unit), and never changes after it
// was built. A measurement is a pure function of a Mesh, a Frame where the
// build direction matters, and its own parameters.
//
// Invariants: lengths are millimetres, angles radians, positions are mesh
// coordinates in millimetres unless a name says otherwise. The same input
// gives the same bytes for any number of cores. Every measurement that samples
// says what it may miss.
//
// Absent on purpose: limits, checks, spec keys, editor types, logging, clocks.
package mesh
