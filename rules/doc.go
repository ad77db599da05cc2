// Package rules holds the limits, the checks, findings and waivers, and the
// one driver that runs them for the command line and for the editor.
//
// Invariants: a check is a pure function of measurements, limits and the spec;
// it opens no file, reads no clock, starts no goroutine. Findings come in one
// total order. Measurements are made once and judged often.
//
// Absent on purpose: editor types, command-line flags, drawing of geometry.
package rules
