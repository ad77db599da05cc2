package lsp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"runtime/debug"
	"strings"
	"sync"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
)

// server answers one editor. Its handler is called for one message after the
// other; it lets go of the messages' order only for requests, and only after it
// has taken the state of the texts that each is about.
type server struct {
	session *session
	log     *slog.Logger
	version string
	more    map[string]call // requests that only tests send

	stage  stageOfLife   // touched only where messages are read
	polite bool          // shutdown came before the end; likewise
	exit   chan struct{} // closed by the exit notification
	hangUp func()        // nothing more is read
	attend func(pid int) // watches the editor's process

	mu      sync.Mutex // guards what follows
	running map[jsonrpc2.ID]context.CancelFunc
}

// stageOfLife is where the conversation stands.
type stageOfLife int

const (
	fresh   stageOfLife = iota // before initialize
	serving                    // between initialize and shutdown
	shut                       // after shutdown
	over                       // after exit
)

// call answers a request from the state of the texts at the time it was sent.
type call func(ctx context.Context, snap *snapshot, params jsonrpc2.RawMessage) (any, error)

// calls are the requests that are known besides initialize and shutdown.
func (s *server) calls() map[string]call {
	calls := map[string]call{
		protocol.MethodTextDocumentHover:          answer(s.session.hover),
		protocol.MethodTextDocumentCompletion:     answer(s.session.complete),
		protocol.MethodTextDocumentCodeAction:     answer(s.session.actions),
		protocol.MethodTextDocumentDefinition:     answer(s.session.definition),
		protocol.MethodTextDocumentReferences:     answer(s.session.references),
		protocol.MethodTextDocumentPrepareRename:  answer(s.session.prepareRename),
		protocol.MethodTextDocumentRename:         answer(s.session.rename),
		protocol.MethodTextDocumentDocumentLink:   answer(s.session.links),
		protocol.MethodTextDocumentDocumentSymbol: answer(s.session.symbols),
		protocol.MethodTextDocumentFoldingRange:   answer(s.session.folds),
		protocol.MethodWorkspaceSymbol:            answer(s.session.workspaceSymbols),
		protocol.MethodTextDocumentInlayHint:      answer(s.session.hints),
		protocol.MethodTextDocumentCodeLens:       answer(s.session.lenses),
		protocol.MethodTextDocumentFormatting:     answer(s.session.format),

		protocol.MethodWorkspaceExecuteCommand:      answer(s.session.command),
		protocol.MethodWorkspaceTextDocumentContent: answer(s.session.content),
		protocol.MethodTextDocumentDiagnostic:       answer(s.session.pull),
		protocol.MethodWorkspaceDiagnostic:          answer(s.session.pullAll),

		protocol.MethodTextDocumentDocumentHighlight:   answer(s.session.highlights),
		protocol.MethodTextDocumentSelectionRange:      answer(s.session.selections),
		protocol.MethodTextDocumentSemanticTokensFull:  answer(s.session.tokens),
		protocol.MethodTextDocumentSemanticTokensRange: answer(s.session.tokensIn),

		protocol.MethodTextDocumentSemanticTokensFullDelta: answer(s.session.tokensSince),
		protocol.MethodWorkspaceWillRenameFiles:            answer(s.session.moves),
	}
	maps.Copy(calls, s.more)
	return calls
}

// answer decodes a request's parameters for the function that answers it.
func answer[P, R any](f func(context.Context, *snapshot, *P) (R, error)) call {
	return func(ctx context.Context, snap *snapshot, raw jsonrpc2.RawMessage) (any, error) {
		params := new(P)
		if err := decode(raw, params); err != nil {
			return nil, err
		}
		return f(ctx, snap, params)
	}
}

// decode reads parameters; what does not fit is the sender's mistake.
func decode(raw jsonrpc2.RawMessage, params any) error {
	if len(raw) == 0 {
		return jsonrpc2.Errorf(jsonrpc2.InvalidParams, "no parameters")
	}
	if err := protocol.Unmarshal(raw, params); err != nil {
		return jsonrpc2.Errorf(jsonrpc2.InvalidParams, "%v", err)
	}
	return nil
}

// handler is called for every message, in the order of the wire.
func (s *server) handler() jsonrpc2.Handler {
	calls := s.calls()
	return func(ctx context.Context, req *jsonrpc2.Request) (any, error) {
		if !req.IsCall() {
			s.notified(req)
			return nil, nil // an error here would end the connection
		}
		switch method := req.Method(); {
		case method == protocol.MethodInitialize:
			return s.initialize(req)
		case s.stage == fresh:
			return nil, jsonrpc2.Errorf(jsonrpc2.ServerNotInitialized, "%s before initialize", method)
		case s.stage != serving:
			return nil, jsonrpc2.Errorf(jsonrpc2.InvalidRequest, "%s after shutdown", method)
		case method == protocol.MethodShutdown:
			s.stage, s.polite = shut, true
			s.session.end()
			return nil, nil
		case calls[method] == nil:
			return nil, jsonrpc2.Errorf(jsonrpc2.MethodNotFound, "%s is not served", method)
		default:
			return s.run(ctx, req, calls[method])
		}
	}
}

// run answers a request beside those that follow it. Order matters: the state
// of the texts and the way to cancel are settled before the next message is
// read. The request's own context is reused by the library once it is let go,
// so the work gets one of the connection. A cancelled request is answered at
// once, whatever its work still does.
func (s *server) run(ctx context.Context, req *jsonrpc2.Request, f call) (any, error) {
	snap := s.session.snapshot()
	id, method, params := req.ID(), strings.Clone(req.Method()), jsonrpc2.RawMessage(bytes.Clone(req.Params()))
	work, cancel := context.WithCancel(s.session.ctx)
	s.mu.Lock()
	s.running[id] = cancel
	s.mu.Unlock()
	jsonrpc2.Async(ctx)
	defer func() {
		s.mu.Lock()
		delete(s.running, id)
		s.mu.Unlock()
		cancel()
	}()
	done := make(chan outcome, 1)
	s.session.run(func() { done <- s.try(work, method, snap, params, f) })
	select {
	case o := <-done:
		if o.err == nil || work.Err() == nil {
			return o.result, o.err
		}
	case <-work.Done():
	}
	return nil, protocol.ErrRequestCancelled
}

// outcome is what became of a request.
type outcome struct {
	result any
	err    error
}

// try answers a request; a panic costs this one and no more.
func (s *server) try(ctx context.Context, method string, snap *snapshot, params jsonrpc2.RawMessage, f call) (o outcome) {
	defer func() {
		if v := recover(); v != nil {
			s.log.Error("request failed", "method", method, "why", v, "stack", string(debug.Stack()))
			o.err = jsonrpc2.Errorf(jsonrpc2.InternalError, "%s failed: %v", method, v)
		}
	}()
	o.result, o.err = f(ctx, snap, params)
	return o
}

// notified takes a notification. Whatever is wrong with it is logged.
func (s *server) notified(req *jsonrpc2.Request) {
	method := strings.Clone(req.Method())
	defer func() {
		if v := recover(); v != nil {
			s.log.Error("notification failed", "method", method, "why", v, "stack", string(debug.Stack()))
		}
	}()
	if method == protocol.MethodExit {
		s.stage = over
		s.hangUp()
		close(s.exit)
		return
	}
	if s.stage != serving {
		s.log.Debug("notification ignored", "method", method)
		return
	}
	if err := s.take(method, req.Params()); err != nil {
		s.log.Warn("notification dropped", "method", method, "why", err)
	}
}

// take acts on a notification.
func (s *server) take(method string, raw jsonrpc2.RawMessage) error {
	switch method {
	case protocol.MethodInitialized:
		s.session.watch()
		if s.session.snapshot().client.configures {
			s.session.run(s.session.askSettings)
		}
	case protocol.MethodTextDocumentDidOpen:
		return on(raw, func(p *protocol.DidOpenTextDocumentParams) {
			s.session.open(p.TextDocument.URI, p.TextDocument.Version, p.TextDocument.Text)
		})
	case protocol.MethodTextDocumentDidChange:
		return on(raw, func(p *protocol.DidChangeTextDocumentParams) {
			s.session.edit(p.TextDocument.URI, p.TextDocument.Version, p.ContentChanges)
		})
	case protocol.MethodTextDocumentDidSave:
		return on(raw, func(p *protocol.DidSaveTextDocumentParams) {
			s.session.saved(pathOf(p.TextDocument.URI))
		})
	case protocol.MethodTextDocumentDidClose:
		return on(raw, func(p *protocol.DidCloseTextDocumentParams) {
			s.session.close(p.TextDocument.URI)
		})
	case protocol.MethodWorkspaceDidChangeWatchedFiles:
		return on(raw, func(p *protocol.DidChangeWatchedFilesParams) {
			for _, c := range p.Changes {
				s.session.look(pathOf(c.URI), false)
			}
			s.session.run(s.session.scan)
		})
	case protocol.MethodWorkspaceDidChangeWorkspaceFolders:
		return on(raw, func(p *protocol.DidChangeWorkspaceFoldersParams) { s.session.moveFolders(&p.Event) })
	case protocol.MethodWorkspaceDidChangeConfiguration:
		return on(raw, func(p *protocol.DidChangeConfigurationParams) { s.session.reconfigured(p.Settings) })
	case protocol.MethodWindowWorkDoneProgressCancel:
		return on(raw, func(p *protocol.WorkDoneProgressCancelParams) {
			s.session.halt(s.session.stages.pathOf(p.Token))
		})
	case protocol.MethodCancelRequest:
		return on(raw, s.cancel)
	default:
		s.log.Debug("notification unknown", "method", method)
	}
	return nil
}

// on decodes a notification's parameters for the function that acts on it.
func on[P any](raw jsonrpc2.RawMessage, f func(*P)) error {
	params := new(P)
	if err := decode(raw, params); err != nil {
		return err
	}
	f(params)
	return nil
}

// cancel stops the request that is named.
func (s *server) cancel(p *protocol.CancelParams) {
	var id jsonrpc2.ID
	switch v := p.ID.(type) {
	case protocol.Integer:
		id = jsonrpc2.NewNumberID(int64(v))
	case protocol.String:
		id = jsonrpc2.NewStringID(string(v))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if cancel := s.running[id]; cancel != nil {
		cancel()
	}
}

// initialize agrees with the editor on what either can do.
func (s *server) initialize(req *jsonrpc2.Request) (*protocol.InitializeResult, error) {
	if s.stage != fresh {
		return nil, jsonrpc2.Errorf(jsonrpc2.InvalidRequest, "initialize was sent before")
	}
	params := new(protocol.InitializeParams)
	if err := decode(req.Params(), params); err != nil {
		return nil, err
	}
	c := clientOf(&params.Capabilities)
	c.folders = foldersOf(params)
	s.stage = serving
	chosen, err := readSettings(params.InitializationOptions)
	if err != nil {
		s.session.complain(err)
	}
	s.session.start(c, chosen)
	if params.ProcessID != nil {
		s.attend(int(*params.ProcessID))
	}
	info := protocol.ServerInfo{Name: source}
	if s.version != "" {
		info.Version = protocol.NewOptional(s.version)
	}
	return &protocol.InitializeResult{Capabilities: capabilities(c, chosen), ServerInfo: info}, nil
}

// client is what the editor told about itself.
type client struct {
	unit     protocol.PositionEncodingKind // of characters in positions
	related  bool                          // shows related information
	markdown bool                          // shows hovers as Markdown
	progress bool                          // shows progress
	watches  bool                          // takes registrations for watched files

	snippets       bool // takes completions with places to fill in
	markdownItems  bool // shows the documentation of completions as Markdown
	actions        bool // takes code actions with edits in them
	versionedEdits bool // takes edits that name the version they fit
	tree           bool // shows an outline as a tree

	refreshesHints, refreshesLenses, refreshesFindings bool // asks again for them when told to

	configures   bool // answers when asked for settings
	pictures     bool // shows pictures in hovers
	content      bool // asks for texts of our scheme
	describes    bool // follows the link of a finding's check
	applies      bool // edits a text when asked
	shows        bool // shows a text when asked
	snippetEdits bool // takes edits with places to fill in
	deltas       bool // asks for what has changed among semantic tokens
	renames      bool // asks before it renames files

	folders []string // of the workspace
}

func clientOf(c *protocol.ClientCapabilities) client {
	out := client{unit: protocol.PositionEncodingKindUTF16}
	if g := c.General; g != nil {
		out.unit = agreeUnit(g.PositionEncodings)
		out.pictures = g.Markdown.Parser == picturesParser
	}
	if t := c.TextDocument; t != nil {
		out.related = t.PublishDiagnostics != nil && is(t.PublishDiagnostics.RelatedInformation)
		out.describes = t.PublishDiagnostics != nil && is(t.PublishDiagnostics.CodeDescriptionSupport)
		out.markdown = t.Hover != nil && len(t.Hover.ContentFormat) > 0 && t.Hover.ContentFormat[0] == protocol.MarkupKindMarkdown
		out.pictures = out.pictures && out.markdown
		out.tree = t.DocumentSymbol != nil && is(t.DocumentSymbol.HierarchicalDocumentSymbolSupport)
		if tokens, ok := t.SemanticTokens.Requests.Full.(*protocol.ClientSemanticTokensRequestFullDelta); ok {
			out.deltas = is(tokens.Delta)
		}
		out.actions = t.CodeAction != nil && len(t.CodeAction.CodeActionLiteralSupport.CodeActionKind.ValueSet) > 0
		if t.Completion != nil && t.Completion.CompletionItem != nil {
			item := t.Completion.CompletionItem
			out.snippets = is(item.SnippetSupport)
			out.markdownItems = len(item.DocumentationFormat) > 0 && item.DocumentationFormat[0] == protocol.MarkupKindMarkdown
		}
	}
	if w := c.Workspace; w != nil {
		out.versionedEdits = w.WorkspaceEdit != nil && is(w.WorkspaceEdit.DocumentChanges)
		out.refreshesHints = w.InlayHint != nil && is(w.InlayHint.RefreshSupport)
		out.refreshesFindings = w.Diagnostics != nil && is(w.Diagnostics.RefreshSupport)
		out.configures = is(w.Configuration)
		out.renames = w.FileOperations != nil && is(w.FileOperations.WillRename)
		out.content = w.TextDocumentContent != nil
		out.applies = is(w.ApplyEdit)
		out.snippetEdits = out.versionedEdits && is(w.WorkspaceEdit.SnippetEditSupport)
		out.refreshesLenses = w.CodeLens != nil && is(w.CodeLens.RefreshSupport)
		out.watches = w.DidChangeWatchedFiles != nil && is(w.DidChangeWatchedFiles.DynamicRegistration)
	}
	out.shows = c.Window != nil && c.Window.ShowDocument != nil && c.Window.ShowDocument.Support
	out.progress = c.Window != nil && is(c.Window.WorkDoneProgress)
	return out
}

// foldersOf returns the folders of the workspace, as new or old editors name them.
func foldersOf(p *protocol.InitializeParams) []string {
	var out []string
	if folders, ok := p.WorkspaceFolders.Get(); ok {
		for _, f := range folders {
			out = append(out, pathOf(f.URI))
		}
	}
	//lint:ignore SA1019 editors of before 2018's protocol send nothing else
	if root := p.RootURI; len(out) == 0 && root != nil && root.IsFile() {
		out = append(out, pathOf(*root))
	}
	return out
}

func is(b *bool) bool { return b != nil && *b }

// capabilities is what the server offers. It names a diagnostic provider only
// where nothing is pushed: an editor that has both shows every finding twice.
func capabilities(c client, chosen settings) protocol.ServerCapabilities {
	out := usualCapabilities(c)
	if chosen.Diagnostics == "pull" {
		name := source
		out.DiagnosticProvider = &protocol.DiagnosticOptions{Identifier: &name, InterFileDependencies: true, WorkspaceDiagnostics: true}
	}
	if c.renames {
		out.Workspace.FileOperations = &protocol.FileOperationOptions{WillRename: movable()}
	}
	if c.content {
		out.Workspace.TextDocumentContent = &protocol.TextDocumentContentOptions{Schemes: []string{scheme}}
	}
	return out
}

func usualCapabilities(c client) protocol.ServerCapabilities {
	yes, incremental := true, protocol.TextDocumentSyncKindIncremental
	folders := &protocol.WorkspaceFoldersServerCapabilities{Supported: &yes, ChangeNotifications: protocol.Boolean(true)}
	return protocol.ServerCapabilities{
		PositionEncoding: c.unit,
		TextDocumentSync: &protocol.TextDocumentSyncOptions{
			OpenClose: &yes,
			Change:    &incremental,
			Save:      protocol.Boolean(true),
		},
		HoverProvider:              protocol.Boolean(true),
		DefinitionProvider:         protocol.Boolean(true),
		ReferencesProvider:         protocol.Boolean(true),
		RenameProvider:             &protocol.RenameOptions{PrepareProvider: &yes},
		DocumentLinkProvider:       &protocol.DocumentLinkOptions{},
		DocumentSymbolProvider:     protocol.Boolean(true),
		InlayHintProvider:          protocol.Boolean(true),
		CodeLensProvider:           &protocol.CodeLensOptions{},
		DocumentFormattingProvider: protocol.Boolean(true),
		FoldingRangeProvider:       protocol.Boolean(true),
		WorkspaceSymbolProvider:    protocol.Boolean(true),
		DocumentHighlightProvider:  protocol.Boolean(true),
		SelectionRangeProvider:     protocol.Boolean(true),
		SemanticTokensProvider: &protocol.SemanticTokensOptions{
			Legend: protocol.SemanticTokensLegend{TokenTypes: tokenTypes, TokenModifiers: tokenModifiers},
			Full:   &protocol.SemanticTokensFullDelta{Delta: &c.deltas},
			Range:  protocol.Boolean(true),
		},
		Workspace:              &protocol.WorkspaceOptions{WorkspaceFolders: folders},
		CodeActionProvider:     &protocol.CodeActionOptions{CodeActionKinds: []protocol.CodeActionKind{quickFix, acceptAll}},
		ExecuteCommandProvider: protocol.ExecuteCommandOptions{Commands: commandNames},
		CompletionProvider:     &protocol.CompletionOptions{TriggerCharacters: []string{"\"", "'", "[", ".", "=", "/", " "}},
	}
}

// watch asks an editor that can to watch files, beside our own looking.
func (s *session) watch() {
	if !s.snapshot().client.watches {
		return
	}
	s.run(func() {
		if err := s.register(); err != nil && !errors.Is(err, context.Canceled) {
			s.log.Debug("editor does not watch files", "why", err)
		}
	})
}

// watched are the files that findings rest on.
var watched = []string{"**/*.toml", "**/*.{stl,STL,3mf,3MF,obj,OBJ,ply,PLY}"}

func (s *session) register() error {
	var watchers []protocol.FileSystemWatcher
	for _, glob := range watched {
		watchers = append(watchers, protocol.FileSystemWatcher{GlobPattern: protocol.Pattern(glob)})
	}
	options, err := protocol.Marshal(&protocol.DidChangeWatchedFilesRegistrationOptions{Watchers: watchers})
	if err != nil {
		return fmt.Errorf("encode watchers: %w", err)
	}
	_, err = s.editor.Call(s.ctx, protocol.MethodClientRegisterCapability, &protocol.RegistrationParams{
		Registrations: []protocol.Registration{{
			ID:              source + "/watched",
			Method:          protocol.MethodWorkspaceDidChangeWatchedFiles,
			RegisterOptions: options,
		}},
	}, nil)
	return err
}
