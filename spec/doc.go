// Package spec turns the text of part specs and shop files into typed values
// with a byte range for every key and value.
//
// Role: bytes in; a Part or a Shop and a list of problems out, never one or
// the other. Half-typed text keeps everything before and after the broken
// place. One table (keys.go) describes the language; the decoder, suggestions,
// hover, the schema and the manual come from it.
//
// Invariants: positions are byte offsets into the text, [start, end); lengths
// are millimetres, angles radians once they left Quantity.
//
// Absent on purpose: geometry, editor types, files (callers read and pass bytes).
package spec
