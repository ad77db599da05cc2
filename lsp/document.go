package lsp

import (
	"math"
	"path/filepath"
	"strings"
	"sync"

	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"
)

// kind says what a text is, by its name.
type kind uint8

const (
	otherFile kind = iota // not ours: kept, never checked
	partFile
	shopFile
)

func kindOf(path string) kind {
	switch base := filepath.Base(path); {
	case strings.HasSuffix(base, ".part.toml"):
		return partFile
	case base == shopName || strings.HasSuffix(base, "."+shopName):
		return shopFile
	}
	return otherFile
}

// shopName is the name under which a shop file is looked for.
const shopName = "shop.toml"

// document is one state of an open text. It never changes: an edit makes a new one.
type document struct {
	uri     uri.URI // as the editor spells it; answers must use the same letters
	path    string  // absolute and clean where the URI names a file
	kind    kind
	version int32
	text    []byte
	unit    protocol.PositionEncodingKind
	lines   func() *lineTable // made when first asked
	parse   func() *parsed    // likewise; nil for a file that is not ours
}

func newDocument(u uri.URI, version int32, text []byte, unit protocol.PositionEncodingKind) *document {
	path := pathOf(u)
	d := document{uri: u, path: path, kind: kindOf(path), unit: unit}
	return d.with(version, text, nil)
}

// with returns the document with another text.
func (d document) with(version int32, text []byte, lines *lineTable) *document {
	d.version, d.text = version, text
	d.lines = sync.OnceValue(func() *lineTable {
		if lines != nil {
			return lines
		}
		return newLineTable(text)
	})
	d.parse = sync.OnceValue(func() *parsed { return parse(d.path, d.kind, text) })
	return &d
}

// unopened is the version of a text that was read from disk.
const unopened = math.MinInt32

// pathOf is the key under which a document is kept. Editors spell one file's
// URI in several ways (%3A for a colon), so the decoded path is compared and
// not the URI. A URI that names no file is its own key.
func pathOf(u uri.URI) string {
	if !u.IsFile() {
		return strings.Clone(string(u))
	}
	return filepath.Clean(u.FsPath())
}

// uriOfFile is the URI of a file that is not open.
func uriOfFile(path string) uri.URI { return uri.File(path) }

// edited returns the document after the editor's changes, each of which counts
// in the text that the one before it left.
func (d *document) edited(version int32, changes []protocol.TextDocumentContentChangeEvent) *document {
	text, lines := d.text, d.lines()
	for _, change := range changes {
		switch c := change.(type) {
		case *protocol.TextDocumentContentChangeWholeDocument:
			text = []byte(c.Text)
		case *protocol.TextDocumentContentChangePartial:
			start, end := lines.offset(c.Range.Start, d.unit), lines.offset(c.Range.End, d.unit)
			start, end = min(start, end), max(start, end)
			next := make([]byte, 0, len(text)-(end-start)+len(c.Text))
			next = append(next, text[:start]...)
			next = append(next, c.Text...)
			text = append(next, text[end:]...)
		}
		lines = newLineTable(text)
	}
	return d.with(version, text, lines)
}
