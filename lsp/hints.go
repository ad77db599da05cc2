package lsp

import (
	"context"
	"fmt"
	"strings"

	"go.lsp.dev/protocol"

	"corbel/rules"
	"corbel/spec"
)

// This file shows what the mesh has to say beside what is written: measured
// diameters beside declared ones, the box beside the orientation, mass and cost
// beside the budget, and how many findings a part has.

// hints are shown at the ends of values. Without a measurement there are none.
func (s *session) hints(ctx context.Context, snap *snapshot, p *protocol.InlayHintParams) ([]protocol.InlayHint, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if doc == nil || doc.kind != partFile || !wanted(s.settings().Hints) {
		return nil, err
	}
	w := s.world(ctx, doc)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	out := []protocol.InlayHint{}
	if w.report == nil {
		return out, nil
	}
	asked := spec.Range{Start: doc.lines().offset(p.Range.Start, doc.unit), End: doc.lines().offset(p.Range.End, doc.unit)}
	add := func(at spec.Range, text string) {
		if text == "" || at.End < asked.Start || at.End > asked.End {
			return
		}
		yes := true
		out = append(out, protocol.InlayHint{Position: doc.lines().position(at.End, doc.unit), Label: protocol.String(text), PaddingLeft: &yes})
	}
	r := w.report
	if b := r.Measured.Box; b != nil && r.Spec.Orientation.Up.Set {
		add(r.Spec.Orientation.Up.At, fmt.Sprintf("%s x %s x %s mm", mm(b.Size[0]), mm(b.Size[1]), mm(b.Size[2])))
	}
	for i := range r.Spec.Holes {
		if h, ok := r.HoleOf(i); ok && r.Spec.Holes[i].Diameter.Set {
			add(r.Spec.Holes[i].Diameter.At, fmt.Sprintf("measured %.2f mm", h.DiameterMM))
		}
	}
	if b := &r.Spec.Budget; b.Mass.Set {
		add(b.Mass.At, hintOf(massText(r)))
	}
	if b := &r.Spec.Budget; b.Cost.Set {
		add(b.Cost.At, hintOf(costText(r)))
	}
	for _, e := range r.Spec.Limits {
		if l, ok := r.Limits.Get(e.Name); ok && len(l.Under) > 0 && e.Value.Set {
			add(e.Value.At, "instead of "+quantityText(l.Under[len(l.Under)-1].Q))
		}
	}
	return out, nil
}

// hintOf shortens a sentence of the hover.
func hintOf(sentence string) string {
	_, value, ok := strings.Cut(strings.TrimSuffix(sentence, "."), ": ")
	if !ok {
		return ""
	}
	return "estimated " + value
}

// lenses say at the top of a part spec how its part stands.
func (s *session) lenses(ctx context.Context, snap *snapshot, p *protocol.CodeLensParams) ([]protocol.CodeLens, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if doc == nil || doc.kind != partFile || !wanted(s.settings().Lenses) {
		return nil, err
	}
	w := s.world(ctx, doc)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	out := []protocol.CodeLens{}
	if w.report == nil || len(doc.parse().Statements) == 0 {
		return out, nil
	}
	title := findingsText(w.found)
	if !w.report.Complete {
		title += " so far, measuring"
	}
	if b := w.report.Measured.Box; b != nil {
		title += fmt.Sprintf("; %s x %s x %s mm", mm(b.Size[0]), mm(b.Size[1]), mm(b.Size[2]))
	}
	at := doc.lines().rangeOf(doc.parse().Statements[0].At, doc.unit)
	out = append(out, protocol.CodeLens{Range: at, Command: protocol.Command{Title: title}})
	if w.report.Mesh != nil {
		out = append(out, protocol.CodeLens{Range: at, Command: commandOn(doc, openReport, "Open report")})
		if snap.client.applies {
			out = append(out, protocol.CodeLens{Range: at, Command: commandOn(doc, betterOrientation, "Better orientation")})
		}
		if !w.report.Complete {
			out = append(out, protocol.CodeLens{Range: at, Command: commandOn(doc, measureAgain, "Measure again")})
		}
	}
	return out, nil
}

// findingsText counts findings by level.
func findingsText(found []rules.Finding) string {
	counts := make(map[string]int)
	for _, f := range found {
		switch {
		case f.Waived != nil:
			counts["waived"]++
		case f.Level != rules.Off:
			counts[string(f.Level)]++
		}
	}
	var parts []string
	for _, level := range []string{"error", "warning", "note", "waived"} {
		switch n := counts[level]; {
		case n == 1 || level == "waived" && n > 0:
			parts = append(parts, fmt.Sprintf("%d %s", n, level))
		case n > 1:
			parts = append(parts, fmt.Sprintf("%d %ss", n, level))
		}
	}
	if parts == nil {
		return "nothing found"
	}
	return strings.Join(parts, ", ")
}

// refresh asks an editor that can to ask again for hints and lenses: they hang
// on measurements, which come later than the text. While the editor has not
// answered, it is not asked twice. It is called with the lock held.
func (s *session) refresh() {
	c := s.now.client
	for method, can := range map[string]bool{
		protocol.MethodWorkspaceInlayHintRefresh:  c.refreshesHints,
		protocol.MethodWorkspaceCodeLensRefresh:   c.refreshesLenses,
		protocol.MethodWorkspaceDiagnosticRefresh: c.refreshesFindings && s.chosen.Diagnostics == "pull",
	} {
		if !can {
			continue
		}
		if _, asked := s.asked[method]; asked {
			s.asked[method] = true
			continue
		}
		s.asked[method] = false
		s.run(func() { s.askRefresh(method) })
	}
}

// askRefresh asks until nothing has changed since the last answer.
func (s *session) askRefresh(method string) {
	for again := true; again; {
		if _, err := s.editor.Call(s.ctx, method, nil, nil); err != nil {
			s.log.Debug("editor does not ask again", "method", method, "why", err)
		}
		s.mu.Lock()
		again = s.asked[method] && s.ctx.Err() == nil
		s.asked[method] = false
		if !again {
			delete(s.asked, method)
		}
		s.mu.Unlock()
	}
}
