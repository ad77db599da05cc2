package lsp

import (
	"fmt"
	"path/filepath"
	"strings"

	"go.lsp.dev/protocol"

	"corbel/rules"
)

// page is a text for people, written once and shown as Markdown or plain, by
// what the editor can. Everything from files is escaped: a name in a spec must
// not become a link or a picture.
type page struct{ blocks []block }

// block is one paragraph.
type block struct {
	kind blockKind
	text string
}

type blockKind uint8

const (
	titleBlock   blockKind = iota // a key or name
	textBlock                     // our own words; `code` may stand in them
	dataBlock                     // words from files: shown as they are
	codeBlock                     // a piece of a file
	listBlock                     // an entry of a list, as dataBlock
	pictureBlock                  // the address of a picture, for editors that show it
)

func (p *page) title(format string, args ...any) { p.add(titleBlock, format, args...) }
func (p *page) say(format string, args ...any)   { p.add(textBlock, format, args...) }
func (p *page) data(text string)                 { p.add(dataBlock, "%s", text) }
func (p *page) code(text string)                 { p.blocks = append(p.blocks, block{codeBlock, text}) }
func (p *page) picture(address string)           { p.add(pictureBlock, "%s", address) }
func (p *page) item(format string, args ...any)  { p.add(listBlock, format, args...) }

func (p *page) add(kind blockKind, format string, args ...any) {
	if text := fmt.Sprintf(format, args...); text != "" {
		p.blocks = append(p.blocks, block{kind, text})
	}
}

// contents renders the page, or nil for an empty one.
func (p *page) contents(markdown bool) *protocol.MarkupContent {
	if len(p.blocks) == 0 {
		return nil
	}
	kind := protocol.MarkupKindPlainText
	if markdown {
		kind = protocol.MarkupKindMarkdown
	}
	var b strings.Builder
	for i, bl := range p.blocks {
		if i > 0 {
			b.WriteString("\n")
			if bl.kind != listBlock || p.blocks[i-1].kind != listBlock {
				b.WriteString("\n")
			}
		}
		b.WriteString(bl.render(markdown))
	}
	return &protocol.MarkupContent{Kind: kind, Value: b.String()}
}

func (b block) render(markdown bool) string {
	if !markdown {
		if b.kind == listBlock {
			return "- " + b.text
		}
		return b.text
	}
	switch b.kind {
	case titleBlock:
		return "**" + escape(b.text) + "**"
	case dataBlock:
		return escape(b.text)
	case codeBlock:
		fence := "```"
		for strings.Contains(b.text, fence) {
			fence += "`"
		}
		return fence + "toml\n" + b.text + "\n" + fence
	case listBlock:
		return "- " + escape(b.text)
	case pictureBlock:
		return "![](" + b.text + ")"
	}
	return b.text
}

// escaper keeps words from files from being read as Markdown.
var escaper = strings.NewReplacer(
	`\`, `\\`, "`", "\\`", `*`, `\*`, `_`, `\_`, `[`, `\[`, `]`, `\]`, `<`, `\<`, `>`, `\>`, `&`, `\&`, `~`, `\~`, `#`, `\#`, "\n", " ",
)

func escape(s string) string { return escaper.Replace(s) }

// inCode shows a word from a file as code inside a text of ours.
func inCode(s string) string {
	return "`" + strings.ReplaceAll(strings.ReplaceAll(s, "`", "'"), "\n", " ") + "`"
}

// placeName names a line of a file for people.
func placeName(file string, line int) string {
	if file == rules.BuiltinFile {
		return "built-in"
	}
	return fmt.Sprintf("%s:%d", filepath.Base(file), line)
}
