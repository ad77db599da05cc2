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

// quickFix is the kind of most actions here, acceptAll of the one that is about
// a whole text.
var quickFix = protocol.CodeActionKindQuickFix

var acceptAll = protocol.CodeActionKindSource + "." + source + ".accept"

func (s *session) actions(ctx context.Context, snap *snapshot, p *protocol.CodeActionParams) ([]protocol.CommandOrCodeAction, error) {
	doc, from, err := snap.at(p.TextDocument.URI, p.Range.Start)
	if doc == nil || !snap.client.actions {
		return nil, err
	}
	asked := spec.Range{Start: from, End: max(from, doc.lines().offset(p.Range.End, doc.unit))}
	w := s.world(ctx, doc)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	a := actor{doc: doc, client: snap.client, world: w, places: s.places(snap), today: s.clock()}
	if wants(p.Context.Only, acceptAll) {
		a.acceptAll()
	}
	if !wants(p.Context.Only, quickFix) {
		return a.out, nil
	}
	for i := range w.found {
		f := &w.found[i]
		if f.Waived == nil && f.Level != rules.Off && sameFile(f.Where.File, doc.path) && meet(f.Where.At, asked) {
			a.mend(f)
			a.waive(f)
		}
	}
	if w.report != nil {
		a.declare(asked)
		a.turn(asked)
	}
	return a.out, nil
}

// wants reports whether an editor asks for a kind of action: by its name, by
// that of a wider kind, or for nothing in particular.
func wants(only []protocol.CodeActionKind, kind protocol.CodeActionKind) bool {
	return len(only) == 0 || slices.ContainsFunc(only, func(o protocol.CodeActionKind) bool {
		return o == "" || o == kind || strings.HasPrefix(string(kind), string(o)+".")
	})
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
	a.ask(action, edits)
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
			texts = append(texts, protocol.TextEdit{Range: doc.lines().rangeOf(e.At, doc.unit), NewText: strings.ReplaceAll(e.Text, reasonMark, "")})
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
			if text := edits[doc][i].Text; c.snippetEdits && strings.Contains(text, reasonMark) {
				change.Edits = append(change.Edits, &protocol.SnippetTextEdit{Range: texts[i].Range, Snippet: snippetValue(text)})
				continue
			}
			change.Edits = append(change.Edits, &texts[i])
		}
		out.DocumentChanges = append(out.DocumentChanges, change)
	}
	return out
}

// reasonMark stands in an edit where the user is to write a reason. It can't be
// part of a text that parses.
const reasonMark = "\x00"

// snippetValue makes an edit a snippet in which one reason is typed for all.
func snippetValue(text string) protocol.StringValue {
	text = strings.NewReplacer(`\`, `\\`, `$`, `\$`, `}`, `\}`, reasonMark, "${1:reason}").Replace(text)
	return protocol.StringValue{Kind: "snippet", Value: text}
}

// ask makes an action that leaves a reason to write lead there, in an editor
// that does not do so by the edit itself.
func (a *actor) ask(action *protocol.CodeAction, edits []spec.Fix) {
	marked := slices.ContainsFunc(edits, func(e spec.Fix) bool { return strings.Contains(e.Text, reasonMark) })
	if marked && a.client.shows && !a.client.snippetEdits {
		command := commandOn(a.doc, askReason, "Write the reason")
		action.Command = command
	}
}

// acceptAll offers to accept every finding that the shop lets be waived, with
// one reason to write.
func (a *actor) acceptAll() {
	var b strings.Builder
	n := 0
	for i := range a.world.found {
		if f := &a.world.found[i]; f.Waived == nil && f.Level != rules.Off && a.waivable(f) {
			if n++; n > 1 {
				b.WriteByte('\n')
			}
			b.WriteString(a.waiver(f))
		}
	}
	if n == 0 {
		return
	}
	title := fmt.Sprintf("Accept %d findings with waivers, with a reason to write", n)
	if n == 1 {
		title = "Accept 1 finding with a waiver, with a reason to write"
	}
	edits := []spec.Fix{a.append(b.String())}
	action := &protocol.CodeAction{Title: title, Kind: &acceptAll, Edit: a.edit(edits)}
	a.ask(action, edits)
	a.out = append(a.out, action)
}

// turn offers, on [orientation] and on what stands on it, to look for a better
// one.
func (a *actor) turn(asked spec.Range) {
	table := a.doc.parse().TableAt(asked.Start)
	if a.world.report.Mesh == nil || table == nil || table.Path[0] != "orientation" || !a.client.applies {
		return
	}
	command := commandOn(a.doc, betterOrientation, "Take the better orientation, if there is one")
	a.out = append(a.out, &protocol.CodeAction{Title: command.Title, Kind: &quickFix, Command: command})
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
	if a.waivable(f) {
		a.add("Waive this finding of "+f.Check+", with a reason to write", f, false, a.append(a.waiver(f)))
	}
}

// waivable reports whether the shop lets a finding be waived.
func (a *actor) waivable(f *rules.Finding) bool {
	return a.doc.kind == partFile && a.world.report != nil && a.world.shop.Policy().Allows(f.Check)
}

// waiver is the table that accepts a finding at its place.
func (a *actor) waiver(f *rules.Finding) string {
	days := a.world.shop.Policy().WaiverDays
	if days <= 0 {
		days = usualWaiverDays
	}
	var b strings.Builder
	fmt.Fprintf(&b, "[[waiver]]\ncheck  = %s\n", strconv.Quote(f.Check))
	if f.HasPlace {
		fmt.Fprintf(&b, "near   = %s\nwithin = \"%d mm\"\n", positionText(a.world.report, f.At), waiverReach(f))
	}
	fmt.Fprintf(&b, "reason = \"%s\"\nuntil  = %s\n", reasonMark, a.today.AddDate(0, 0, days).Format(time.DateOnly))
	return b.String()
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
