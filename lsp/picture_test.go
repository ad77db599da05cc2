package lsp

import (
	"bytes"
	"encoding/base64"
	"image/png"
	"strings"
	"testing"

	"go.lsp.dev/protocol"
)

// An editor that shows pictures gets one with the hover on a finding of the
// mesh; any other gets none.
func TestHoverShowsAPicture(t *testing.T) {
	for _, parser := range []string{picturesParser, "other"} {
		t.Run(parser, func(t *testing.T) {
			e := startReal(t, Options{})
			c := &protocol.ClientCapabilities{
				General:      &protocol.GeneralClientCapabilities{Markdown: protocol.MarkdownClientCapabilities{Parser: parser}},
				TextDocument: &protocol.TextDocumentClientCapabilities{Hover: &protocol.HoverClientCapabilities{ContentFormat: []protocol.MarkupKind{protocol.MarkupKindMarkdown}}},
			}
			e.Initialize(c)
			path := openPlate(t, e)
			const start = "![](data:image/png;base64,"
			if parser != picturesParser {
				if got := hoverOn(t, e, path, "plate.obj"); strings.Contains(got, "image/png") || !strings.Contains(got, "Wall is") {
					t.Errorf("hover is %q", got)
				}
				return
			}
			var got string
			e.Eventually("a picture", func() bool {
				got = hoverOn(t, e, path, "plate.obj")
				return strings.Contains(got, start)
			})
			_, rest, _ := strings.Cut(got, start)
			raw, err := base64.StdEncoding.DecodeString(rest[:strings.IndexByte(rest, ')')])
			if err != nil {
				t.Fatal(err)
			}
			if img, err := png.Decode(bytes.NewReader(raw)); err != nil || img.Bounds().Dx() != pictureWidthPX {
				t.Errorf("no picture: %v", err)
			}
		})
	}
}
