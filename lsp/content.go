package lsp

import (
	"bytes"
	"context"
	"fmt"
	"strings"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/rules"
	"corbel/rules/output"
)

// This file shows what is built in, read only: the limits that stand under
// every shop's, and a page about each check. An editor that asks for texts of a
// scheme gets them from memory, any other as files in the cache.

// scheme is that of the texts that are built in.
const scheme = source

const (
	builtinURI uri.URI = scheme + ":/builtin.toml"
	checkURI           = scheme + ":/check/" // with the check's name and ".txt"
)

// content returns a built-in text.
func (s *session) content(_ context.Context, _ *snapshot, p *protocol.TextDocumentContentParams) (*protocol.TextDocumentContentResult, error) {
	if p.URI == builtinURI {
		return &protocol.TextDocumentContentResult{Text: string(rules.BuiltinText())}, nil
	}
	if name, ok := strings.CutPrefix(string(p.URI), checkURI); ok {
		if text := manual(strings.TrimSuffix(name, ".txt")); text != nil {
			return &protocol.TextDocumentContentResult{Text: string(text)}, nil
		}
	}
	return nil, jsonrpc2.Errorf(jsonrpc2.InvalidParams, "there is no text %q", p.URI)
}

// manual is the page about a check; nil where there is none.
func manual(check string) []byte {
	c := rules.ByName(check)
	if c == nil {
		return nil
	}
	var b bytes.Buffer
	if output.Explain(&b, c) != nil {
		return nil
	}
	return b.Bytes()
}

// manualOf is where the page about a check can be opened; empty where it can't.
func (s *session) manualOf(check string, c client) uri.URI {
	if c.content {
		return uri.URI(checkURI + check + ".txt")
	}
	s.mu.Lock()
	path, laid := s.manuals[check]
	s.mu.Unlock()
	if !laid {
		if text := manual(check); text != nil {
			path = layFile(s.cache, fmt.Sprintf("check-%s.txt", check), text)
		}
		s.mu.Lock()
		s.manuals[check] = path
		s.mu.Unlock()
	}
	if path == "" {
		return ""
	}
	return uriOfFile(path)
}
