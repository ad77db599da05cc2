package lsp

import (
	"context"
	"path/filepath"
	"strings"

	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/rules"
	"corbel/spec"
)

// This file keeps the paths in part specs right where an editor renames files:
// a mesh or a shop file that gets another name, a spec that goes to another
// folder, a folder with all of them in it.

// moves is asked before files are renamed. It edits every spec of the workspace
// so that it names the same files afterwards. The edits are of the files' old
// names, since the editor makes them first.
func (s *session) moves(ctx context.Context, snap *snapshot, p *protocol.RenameFilesParams) (*protocol.WorkspaceEdit, error) {
	renames := make(moved, len(p.Files))
	for i, f := range p.Files {
		renames[i] = [2]string{pathOf(uri.URI(f.OldURI)), pathOf(uri.URI(f.NewURI))}
	}
	edits := make(map[*document][]spec.Fix)
	places := s.places(snap)
	for _, path := range s.specsAround(ctx, snap, nil, "") {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if doc := places.open(path); doc != nil {
			if e := renames.edits(doc); len(e) > 0 {
				edits[doc] = e
			}
		}
	}
	return workspaceEdit(snap.client, edits), nil
}

// moved are the old and new paths of files and folders.
type moved [][2]string

// of returns where a file is afterwards.
func (m moved) of(path string) string {
	for _, r := range m {
		if path == r[0] {
			return r[1]
		}
		if rest, in := strings.CutPrefix(path, r[0]+string(filepath.Separator)); in {
			return filepath.Join(r[1], rest)
		}
	}
	return path
}

// edits returns what has to change in a spec for its paths to lead to the same
// files. Paths that still do keep their words.
func (m moved) edits(doc *document) []spec.Fix {
	var out []spec.Fix
	at := m.of(doc.path)
	doc.parse().Walk(func(_ []string, n *spec.Node, info *spec.KeyInfo) bool {
		target := linkTarget(doc, spec.Place{Where: spec.OnValue, Info: info, Node: n})
		if target == "" {
			return true
		}
		word, _ := n.Value.(string)
		next := m.of(target)
		if rules.Beside(at, word) == next {
			return true
		}
		if rel, err := filepath.Rel(filepath.Dir(at), next); err == nil && !filepath.IsAbs(filepath.FromSlash(word)) {
			next = rel
		}
		next = written(doc.text, occurrence{at: n.At}, filepath.ToSlash(next))
		out = append(out, spec.Fix{At: n.At, Text: next})
		return true
	})
	return out
}

// movable are the files whose renaming matters, and folders, which may hold them.
func movable() protocol.FileOperationRegistrationOptions {
	file := "file"
	var out protocol.FileOperationRegistrationOptions
	for _, glob := range watched {
		pattern := protocol.FileOperationPattern{Glob: glob, Matches: protocol.FileOperationPatternKindFile}
		out.Filters = append(out.Filters, protocol.FileOperationFilter{Scheme: &file, Pattern: pattern})
	}
	folders := protocol.FileOperationPattern{Glob: "**", Matches: protocol.FileOperationPatternKindFolder}
	out.Filters = append(out.Filters, protocol.FileOperationFilter{Scheme: &file, Pattern: folders})
	return out
}
