// Package output turns reports into bytes: text for people, JSON for programs.
//
// Role: reports in, one document out, written to the given writer. Nothing is
// measured or judged here, and no file is opened: the source lines that the
// text shows come from the parsed spec.
//
// Invariants: the same reports give the same bytes. Text that came from input
// never reaches a terminal with its control characters. JSON follows the
// documented names and holds no NaN and no infinity.
package output
