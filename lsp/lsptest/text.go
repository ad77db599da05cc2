package lsptest

import (
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"
)

// Position counts the lines and characters before a byte offset, the plain way.
func Position(text string, offset int, unit protocol.PositionEncodingKind) protocol.Position {
	line, start := 0, 0
	for i := 0; i < offset; i++ {
		if text[i] == '\n' || text[i] == '\r' && (i+1 == len(text) || text[i+1] != '\n') {
			line, start = line+1, i+1
		}
	}
	return protocol.Position{Line: uint32(line), Character: uint32(length(text[start:offset], unit))}
}

func length(s string, unit protocol.PositionEncodingKind) int {
	switch unit {
	case protocol.PositionEncodingKindUTF8:
		return len(s)
	case protocol.PositionEncodingKindUTF32:
		return utf8.RuneCountInString(s)
	}
	return len(utf16.Encode([]rune(s)))
}

// Range is the range between two byte offsets.
func Range(text string, start, end int, unit protocol.PositionEncodingKind) protocol.Range {
	return protocol.Range{Start: Position(text, start, unit), End: Position(text, end, unit)}
}

// Open opens a text under a path.
func (e *Editor) Open(path, content string) {
	e.t.Helper()
	e.text[path] = &Text{Version: 1, Content: content}
	e.Notify(protocol.MethodTextDocumentDidOpen, &protocol.DidOpenTextDocumentParams{
		TextDocument: protocol.TextDocumentItem{URI: uri.File(path), LanguageID: "toml", Version: 1, Text: content},
	})
}

// Content returns an open text.
func (e *Editor) Content(path string) string { return e.text[path].Content }

// Version returns the version of an open text.
func (e *Editor) Version(path string) int32 { return e.text[path].Version }

// Edit replaces the bytes between two offsets of an open text.
func (e *Editor) Edit(path string, start, end int, insert string) {
	e.t.Helper()
	text := e.text[path]
	e.change(path, &protocol.TextDocumentContentChangePartial{
		Range: Range(text.Content, start, end, e.Unit),
		Text:  insert,
	})
	text.Content = text.Content[:start] + insert + text.Content[end:]
}

// Replace replaces the first occurrence of a piece of an open text.
func (e *Editor) Replace(path, old, new string) {
	e.t.Helper()
	at := strings.Index(e.text[path].Content, old)
	if at < 0 {
		e.t.Fatalf("%s has no %q", path, old)
	}
	e.Edit(path, at, at+len(old), new)
}

// Rewrite replaces the whole of an open text.
func (e *Editor) Rewrite(path, content string) {
	e.t.Helper()
	e.change(path, &protocol.TextDocumentContentChangeWholeDocument{Text: content})
	e.text[path].Content = content
}

func (e *Editor) change(path string, c protocol.TextDocumentContentChangeEvent) {
	e.t.Helper()
	text := e.text[path]
	text.Version++
	e.Notify(protocol.MethodTextDocumentDidChange, &protocol.DidChangeTextDocumentParams{
		TextDocument: protocol.VersionedTextDocumentIdentifier{
			TextDocumentIdentifier: protocol.TextDocumentIdentifier{URI: uri.File(path)},
			Version:                text.Version,
		},
		ContentChanges: []protocol.TextDocumentContentChangeEvent{c},
	})
}

// Save tells that an open text was written to disk. It does not write it.
func (e *Editor) Save(path string) {
	e.t.Helper()
	e.Notify(protocol.MethodTextDocumentDidSave, &protocol.DidSaveTextDocumentParams{
		TextDocument: protocol.TextDocumentIdentifier{URI: uri.File(path)},
	})
}

// Close closes an open text.
func (e *Editor) Close(path string) {
	e.t.Helper()
	delete(e.text, path)
	e.Notify(protocol.MethodTextDocumentDidClose, &protocol.DidCloseTextDocumentParams{
		TextDocument: protocol.TextDocumentIdentifier{URI: uri.File(path)},
	})
}

// Shown returns every set that was published for a path so far.
func (e *Editor) Shown(path string) []*protocol.PublishDiagnosticsParams {
	e.mu.Lock()
	defer e.mu.Unlock()
	return append([]*protocol.PublishDiagnosticsParams(nil), e.shown[uri.File(path)]...)
}

// WaitShown waits for a published set of the present version of a text that
// satisfies want, and returns it. A nil want takes the first.
func (e *Editor) WaitShown(path, what string, want func([]protocol.Diagnostic) bool) []protocol.Diagnostic {
	e.t.Helper()
	version := e.text[path].Version
	var got []protocol.Diagnostic
	e.Wait(what, func() bool {
		sets := e.shown[uri.File(path)]
		if len(sets) == 0 {
			return false
		}
		last := sets[len(sets)-1]
		v, _ := last.Version.Get()
		if v != version || want != nil && !want(last.Diagnostics) {
			return false
		}
		got = last.Diagnostics
		return true
	})
	return got
}

// Messages returns the messages of findings, in order.
func Messages(ds []protocol.Diagnostic) []string {
	out := make([]string, len(ds))
	for i, d := range ds {
		s, _ := d.Message.(protocol.String)
		out[i] = string(s)
	}
	return out
}

// ShownLocked is Shown for the conditions of Wait.
func (e *Editor) ShownLocked(path string) []*protocol.PublishDiagnosticsParams {
	return e.shown[uri.File(path)]
}

// Opened reports whether a text is open.
func (e *Editor) Opened(path string) bool { return e.text[path] != nil }
