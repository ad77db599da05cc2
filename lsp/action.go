package lsp

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/rules"
	"corbel/spec"
)

// This file offers edits: what a finding itself would mend, a waiver for a
// finding, and a declaration of what the mesh has. Each names the version of
// the text that it fits, so that an editor refuses it for another.

// quickFix is the kind of every action here.
var quickFix = protocol.CodeActionKindQuickFix

func (s *session) actions(ctx context.Context, snap *snapshot, p *protocol.CodeActionParams) ([]protocol.CommandOrCodeAction, error) {
	doc, from, err := snap.at(p.TextDocument.URI, p.Range.Start)
	if doc == nil || !snap.client.actions || !wants(p.Context.Only) {
		return nil, err
	}
	asked := spec.Range{Start: from, End: max(from, doc.lines().offset(p.Range.End, doc.unit))}
	w := s.world(ctx, doc)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	a := actor{doc: doc, client: snap.client, world: w, places: s.places(snap), today: s.clock()}
	for i := range w.found {
		f := &w.found[i]
		if f.Waived == nil && f.Level != rules.Off && sameFile(f.Where.File, doc.path) && meet(f.Where.At, asked) {
			a.mend(f)
			a.waive(f)
		}
	}
	if w.report != nil {
		a.declare(asked)
	}
	return a.out, nil
}

// wants reports whether an editor asks for quick fixes; one that asks for
// nothing in particular does.
func wants(only []protocol.CodeActionKind) bool {
	return len(only) == 0 || slices.Contains(only, quickFix)
}

// meet reports whether two ranges touch.
func meet(a, b spec.Range) bool { return a.Start <= b.End && b.Start <= a.End }

// actor collects actions on one text.
type actor struct {
	doc    *document
	client client
	world  *world
	places *places
	today  time.Time
	out    []protocol.CommandOrCodeAction
}

// add offers an edit of the text; f is the finding that it mends, or nil.
func (a *actor) add(title string, f *rules.Finding, preferred bool, edits ...spec.Fix) {
	action := &protocol.CodeAction{Title: title, Kind: &quickFix, Edit: a.edit(edits)}
	if f != nil {
		action.Diagnostics = []protocol.Diagnostic{diagnostic(a.doc, f, a.client, a.places)}
	}
	if preferred {
		action.IsPreferred = &preferred
	}
	a.out = append(a.out, action)
}

// edit turns edits of the text into the protocol's words, with the version
// where the editor takes one.
func (a *actor) edit(edits []spec.Fix) *protocol.WorkspaceEdit {
	return workspaceEdit(a.client, map[*document][]spec.Fix{a.doc: edits})
}

// workspaceEdit edits several texts, each with its version where the editor
// takes one. Texts that are not open have none.
func workspaceEdit(c client, edits map[*document][]spec.Fix) *protocol.WorkspaceEdit {
	docs := make([]*document, 0, len(edits))
	for doc := range edits {
		docs = append(docs, doc)
	}
	slices.SortFunc(docs, func(a, b *document) int { return strings.Compare(a.path, b.path) })
	out := &protocol.WorkspaceEdit{}
	for _, doc := range docs {
		var texts []protocol.TextEdit
		for _, e := range edits[doc] {
			texts = append(texts, protocol.TextEdit{Range: doc.lines().rangeOf(e.At, doc.unit), NewText: e.Text})
		}
		if !c.versionedEdits {
			if out.Changes == nil {
				out.Changes = make(map[uri.URI][]protocol.TextEdit)
			}
			out.Changes[doc.uri] = texts
			continue
		}
		change := &protocol.TextDocumentEdit{}
		change.TextDocument.URI = doc.uri
		if doc.version != unopened {
			change.TextDocument.Version = &doc.version
		}
		for i := range texts {
			change.Edits = append(change.Edits, &texts[i])
		}
		out.DocumentChanges = append(out.DocumentChanges, change)
	}
	return out
}

// mend offers the fixes that a finding brings.
func (a *actor) mend(f *rules.Finding) {
	for _, fix := range f.Fixes {
		a.add(fix.Title, f, len(f.Fixes) == 1, fix)
	}
}

// waive offers to accept a finding at its place. The reason is left to write:
// a waiver without one is a finding itself.
func (a *actor) waive(f *rules.Finding) {
	policy := a.world.shop.Policy()
	if a.doc.kind != partFile || a.world.report == nil || !policy.Allows(f.Check) {
		return
	}
	days := policy.WaiverDays
	if days <= 0 {
		days = usualWaiverDays
	}
	var b strings.Builder
	fmt.Fprintf(&b, "[[waiver]]\ncheck  = %s\n", strconv.Quote(f.Check))
	if f.HasPlace {
		fmt.Fprintf(&b, "near   = %s\nwithin = \"%d mm\"\n", positionText(a.world.report, f.At), waiverReach(f))
	}
	fmt.Fprintf(&b, "reason = \"\"\nuntil  = %s\n", a.today.AddDate(0, 0, days).Format(time.DateOnly))
	a.add("Waive this finding of "+f.Check+", with a reason to write", f, false, a.append(b.String()))
}

// waiverReach is how far from a finding its waiver reaches, in whole
// millimetres: as far as the places that the finding stands for, and one more
// for a mesh that is exported anew.
func waiverReach(f *rules.Finding) int {
	reach := 0.0
	for _, p := range f.Places {
		reach = max(reach, p.At.Sub(f.At).Norm())
	}
	return int(math.Ceil(reach)) + 1
}

// append makes an edit that puts a table at the end of the text.
func (a *actor) append(table string) spec.Fix {
	text := a.doc.text
	end := len(text)
	blank := "\n"
	switch {
	case end == 0 || strings.HasSuffix(string(text), "\n\n"):
		blank = ""
	case text[end-1] != '\n':
		blank = "\n\n"
	}
	if strings.Contains(string(text), "\r\n") {
		blank, table = strings.ReplaceAll(blank, "\n", "\r\n"), strings.ReplaceAll(table, "\n", "\r\n")
	}
	return spec.Fix{At: spec.Range{Start: end, End: end}, Text: blank + table}
}

// declaredAtOnce bounds how many holes are offered to be declared.
const declaredAtOnce = 8

// declare offers, on [mesh] and on a hole, to declare the holes of the mesh
// that the spec does not name.
func (a *actor) declare(asked spec.Range) {
	r := a.world.report
	table := a.doc.parse().TableAt(asked.Start)
	if r.Measured.Cylinders == nil || table == nil || table.Path[0] != "mesh" && table.Path[0] != "hole" {
		return
	}
	named := make(map[int]bool)
	for i := range r.Spec.Holes {
		if k, ok := r.HoleNumber(i); ok {
			named[k] = true
		}
	}
	offered := 0
	for k, h := range r.Measured.Cylinders.Holes {
		if named[k] || offered == declaredAtOnce {
			continue
		}
		offered++
		at := positionText(r, h.At)
		a.add(fmt.Sprintf("Declare the hole of %.2f mm at %s", h.DiameterMM, at), nil, false,
			a.append(fmt.Sprintf("[[hole]]\nname     = \"hole %d\"\nat       = %s\ndiameter = \"%s mm\"\n",
				len(r.Spec.Holes)+1, at, spec.FormatNumber(math.Round(h.DiameterMM*100)/100))))
	}
}
