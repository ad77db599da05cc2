package lsp

import (
	"context"
	"crypto/sha256"
	"fmt"
	"path/filepath"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/rules"
	"corbel/spec"
)

// source is the name under which an editor lists our findings.
const source = "corbel"

// peer is the editor, as a connection shows it. A notification may wait for the
// editor to read; a call waits for its answer.
type peer interface {
	Notify(ctx context.Context, method string, params any) error
	Call(ctx context.Context, method string, params, result any) (jsonrpc2.ID, error)
}

// outbox holds the newest set of findings for each text until the editor takes
// it. A newer set replaces one that still waits, so that nothing old is shown
// late and an editor that does not read costs no memory. The session's lock
// guards it.
type outbox struct {
	waiting map[uri.URI]*protocol.PublishDiagnosticsParams
	order   []uri.URI // of waiting, next first
}

// publish puts a text's findings, none to clear them, into the outbox. The
// version is that of the text they came from. It is called with the lock held.
func (s *session) publish(doc *document, diagnostics []protocol.Diagnostic) {
	if s.ctx.Err() != nil {
		return
	}
	params := &protocol.PublishDiagnosticsParams{URI: doc.uri, Diagnostics: diagnostics}
	if doc.version != unopened {
		params.Version = protocol.NewOptional(doc.version)
	}
	if s.chosen.Diagnostics == "pull" {
		s.keep(doc, params)
		return
	}
	if s.outbox.waiting[doc.uri] == nil {
		s.outbox.order = append(s.outbox.order, doc.uri)
	}
	s.outbox.waiting[doc.uri] = params
	signal(s.post)
}

// publishAll sends what is in the outbox until the session ends.
func (s *session) publishAll() {
	for {
		select {
		case <-s.ctx.Done():
			return
		case <-s.post:
		}
		for set := s.takeSet(); set != nil; set = s.takeSet() {
			if err := s.editor.Notify(s.ctx, protocol.MethodTextDocumentPublishDiagnostics, set); err != nil {
				s.log.Debug("findings not sent", "uri", set.URI, "why", err)
			}
		}
	}
}

func (s *session) takeSet() *protocol.PublishDiagnosticsParams {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.outbox.order) == 0 || s.ctx.Err() != nil {
		return nil
	}
	next := s.outbox.order[0]
	s.outbox.order = s.outbox.order[1:]
	set := s.outbox.waiting[next]
	delete(s.outbox.waiting, next)
	return set
}

// diagnostics turns the findings of a report into the protocol's words. Waived
// findings are no problems and are left out; hover on the waiver shows them.
func (s *session) diagnostics(r *report, found []rules.Finding) []protocol.Diagnostic {
	snap := s.snapshot()
	places := s.places(snap)
	places.docs[r.doc.path] = r.doc
	out := make([]protocol.Diagnostic, 0, len(found))
	for i := range found {
		if f := &found[i]; f.Waived == nil && f.Level != rules.Off {
			out = append(out, diagnostic(r.doc, f, snap.client, places))
		}
	}
	return out
}

func diagnostic(doc *document, f *rules.Finding, c client, places *places) protocol.Diagnostic {
	d := protocol.Diagnostic{
		Range:    rangeIn(doc, f.Where),
		Severity: severity(f.Level),
		Code:     protocol.String(f.Check),
		Source:   protocol.NewOptional(source),
		Message:  protocol.String(sentence(f)),
	}
	if c.related {
		d.RelatedInformation = related(doc, f, places)
	}
	if c.describes && places != nil {
		if href := places.manual(f.Check); href != "" {
			d.CodeDescription = protocol.CodeDescription{Href: href}
		}
	}
	return d
}

// sentence is a finding's message with its caution: editors show little else.
func sentence(f *rules.Finding) string {
	if f.Caution == "" {
		return f.Message
	}
	return f.Message + " " + f.Caution
}

func severity(l rules.Level) protocol.DiagnosticSeverity {
	switch l {
	case rules.Error:
		return protocol.DiagnosticSeverityError
	case rules.Warning:
		return protocol.DiagnosticSeverityWarning
	}
	return protocol.DiagnosticSeverityInformation
}

// rangeIn returns where a finding stands in a text: its own place, or the
// text's first line for a place in another file (related information has it).
func rangeIn(doc *document, where rules.Location) protocol.Range {
	at := where.At
	if !sameFile(where.File, doc.path) {
		at = spec.Range{}
	}
	r := doc.lines().rangeOf(at, doc.unit)
	if r.Start == r.End {
		r = doc.lines().rangeOf(widen(doc, at.Start), doc.unit)
	}
	return r
}

// widen makes a place without length visible: from there to the end of its
// line, or the whole line where that is empty.
func widen(doc *document, at int) spec.Range {
	lines := doc.lines()
	start, end := lines.line(int(lines.position(at, doc.unit).Line))
	if at < end {
		start = at
	}
	return spec.Range{Start: start, End: end}
}

// sameFile compares a path as the rules give it with a document's.
func sameFile(file, path string) bool { return file == path || filepath.Clean(file) == path }

// related points at what explains a finding: the line that set its limit, then
// what the check names.
func related(doc *document, f *rules.Finding, places *places) []protocol.DiagnosticRelatedInformation {
	var out []protocol.DiagnosticRelatedInformation
	add := func(l rules.Location, message string) {
		if at, ok := places.location(l); ok {
			out = append(out, protocol.DiagnosticRelatedInformation{Location: at, Message: message})
		}
	}
	if !sameFile(f.Where.File, doc.path) {
		add(f.Where, "found here")
	}
	if o := f.LimitFrom; o != nil {
		add(rules.Location{File: o.File, At: o.At}, limitNote(o))
	}
	for _, r := range f.Related {
		add(r.Location, r.Message)
	}
	return out
}

// limitNote says which layer set a limit, and why where the file says so.
func limitNote(o *rules.Origin) string {
	note := "the limit is set here, for the " + o.Layer
	if o.Source != "" {
		note += ": " + o.Source
	}
	return note
}

// places turns places in any file into the protocol's locations. It reads each
// file once and prefers the open text.
type places struct {
	snap    *snapshot
	builtin string // where the built-in shop file was laid
	manual  func(check string) uri.URI
	most    int64                // bytes of a text on disk
	docs    map[string]*document // by path
}

// places returns an empty one for a state of the texts.
func (s *session) places(snap *snapshot) *places {
	manual := func(check string) uri.URI { return s.manualOf(check, snap.client) }
	return &places{snap: snap, builtin: s.builtin(), manual: manual, most: s.textMost, docs: make(map[string]*document)}
}

// location returns where a place is; false for files that can't be read.
func (p *places) location(l rules.Location) (protocol.Location, bool) {
	if l.File == rules.BuiltinFile && p.snap.client.content {
		return protocol.Location{URI: builtinURI, Range: builtinDocument(p.snap.client.unit).lines().rangeOf(l.At, p.snap.client.unit)}, true
	}
	path := p.builtin
	if l.File != rules.BuiltinFile {
		path = absolutePath(l.File)
	}
	if path == "" {
		return protocol.Location{}, false
	}
	doc := p.open(path)
	if doc == nil {
		return protocol.Location{}, false
	}
	return protocol.Location{URI: doc.uri, Range: doc.lines().rangeOf(l.At, doc.unit)}, true
}

// builtinDocument is the built-in shop file as a text.
func builtinDocument(unit protocol.PositionEncodingKind) *document {
	return newDocument(builtinURI, unopened, rules.BuiltinText(), unit)
}

// open returns the text of a path, open or read from disk; nil where it can't
// be read.
func (p *places) open(path string) *document {
	if doc := p.docs[path]; doc != nil {
		return doc
	}
	doc := p.snap.docs[path]
	if doc == nil {
		text, err := rules.ReadText("", path, p.most)
		if err != nil {
			return nil
		}
		doc = newDocument(uriOfFile(path), unopened, text, p.snap.client.unit)
	}
	p.docs[path] = doc
	return doc
}

// absolutePath returns a file's absolute path, empty where it has none.
func absolutePath(file string) string {
	if file == "" {
		return ""
	}
	path, err := filepath.Abs(file)
	if err != nil {
		return ""
	}
	return path
}

// layBuiltin writes the built-in shop file where an editor can open it, read
// only, and returns its path; empty where that can't be done. The name holds
// the content's digest, so that no two versions meet.
func layBuiltin(folder string) string {
	text := rules.BuiltinText()
	digest := sha256.Sum256(text)
	return layFile(folder, fmt.Sprintf("builtin-%x.shop.toml", digest[:6]), text)
}

// haltedNote says that a text's geometry is unknown because the user stopped
// the measuring.
func haltedNote(r *report) protocol.Diagnostic {
	f := rules.Finding{
		Check:   "spec",
		Level:   rules.Note,
		Message: "Geometry is not checked: measuring was stopped; save the file or change it to measure again.",
		Where:   rules.Location{File: r.doc.path},
	}
	if r.part != nil && r.part.Spec != nil {
		f.Where.At = r.part.Spec.Mesh.File.At
	}
	return diagnostic(r.doc, &f, client{}, nil)
}
