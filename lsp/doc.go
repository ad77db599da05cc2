// Package lsp serves part specs and shop files to editors over the language
// server protocol.
//
// Role: it keeps the open texts, asks the rules about them, and turns findings,
// keys and values into the protocol's words. wire.go owns the order and the
// framing of messages, session.go the texts, schedule.go what is checked when,
// publish.go what the editor sees; one file per feature follows.
//
// Invariants:
//   - Messages take effect in the order in which they were sent.
//   - Every change enters by one function, session.change.
//   - Findings are published with the version of the text they came from, and
//     only if nothing they rest on has changed since.
//   - Nothing slow, and no call to the editor, runs where messages are read.
//   - Byte offsets inside, the editor's positions only at the edge (position.go).
//
// Absent on purpose: geometry, limits, the wording of findings.
package lsp
