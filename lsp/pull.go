package lsp

import (
	"context"
	"strconv"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"
)

// This file answers editors that ask for findings, where the user has chosen
// that. The answers are the sets that would have been pushed.

// set is what an editor is to show for a text.
type set struct {
	*protocol.PublishDiagnosticsParams
	doc    *document
	serial int64 // tells one set of a text from another
}

func (v *set) id() *string {
	id := strconv.FormatInt(v.serial, 10)
	return &id
}

// keep keeps a set for those who ask and wakes them. It is called with the lock
// held.
func (s *session) keep(doc *document, params *protocol.PublishDiagnosticsParams) {
	s.serial++
	s.sets[doc.path] = &set{params, doc, s.serial}
	close(s.news)
	s.news = make(chan struct{})
}

// pull returns the findings of one text, once there are some for it.
func (s *session) pull(ctx context.Context, snap *snapshot, p *protocol.DocumentDiagnosticParams) (any, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if err != nil {
		return nil, err
	}
	if doc == nil {
		return &protocol.RelatedFullDocumentDiagnosticReport{FullDocumentDiagnosticReport: fullReport(nil, nil)}, nil
	}
	for {
		s.mu.Lock()
		got, news, now := s.sets[doc.path], s.news, s.now.docs[doc.path]
		s.mu.Unlock()
		switch {
		case got != nil && got.doc == doc && p.PreviousResultID != nil && *p.PreviousResultID == *got.id():
			return &protocol.RelatedUnchangedDocumentDiagnosticReport{UnchangedDocumentDiagnosticReport: unchangedReport(got)}, nil
		case got != nil && got.doc == doc:
			return &protocol.RelatedFullDocumentDiagnosticReport{FullDocumentDiagnosticReport: fullReport(got.id(), got.Diagnostics)}, nil
		case now != doc:
			return nil, jsonrpc2.Errorf(jsonrpc2.Code(protocol.LSPErrorCodesContentModified), "the text has changed since")
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-news:
		}
	}
}

// pullAll returns the findings of every text that has others than the editor
// knows. It waits until there is one: editors ask again as soon as they have an
// answer.
func (s *session) pullAll(ctx context.Context, _ *snapshot, p *protocol.WorkspaceDiagnosticParams) (*protocol.WorkspaceDiagnosticReport, error) {
	known := make(map[string]string)
	for _, r := range p.PreviousResultIds {
		known[pathOf(r.URI)] = r.Value
	}
	for {
		out := &protocol.WorkspaceDiagnosticReport{}
		s.mu.Lock()
		news := s.news
		for path, got := range s.sets {
			if known[path] != *got.id() {
				out.Items = append(out.Items, workspaceReport(got))
			}
		}
		s.mu.Unlock()
		if len(out.Items) > 0 {
			return out, nil
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-news:
		}
	}
}

func workspaceReport(got *set) *protocol.WorkspaceFullDocumentDiagnosticReport {
	r := &protocol.WorkspaceFullDocumentDiagnosticReport{FullDocumentDiagnosticReport: fullReport(got.id(), got.Diagnostics), URI: uri.URI(got.URI)}
	if v, ok := got.Version.Get(); ok {
		r.Version = &v
	}
	return r
}

func fullReport(id *string, found []protocol.Diagnostic) protocol.FullDocumentDiagnosticReport {
	if found == nil {
		found = []protocol.Diagnostic{}
	}
	return protocol.FullDocumentDiagnosticReport{Kind: "full", ResultID: id, Items: found}
}

func unchangedReport(got *set) protocol.UnchangedDocumentDiagnosticReport {
	return protocol.UnchangedDocumentDiagnosticReport{Kind: "unchanged", ResultID: *got.id()}
}
