package lsp

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/rules"
	sheet "corbel/rules/page"
	"corbel/spec"
)

// This file does what a user asks for by name. Each command takes the URI of a
// part spec that is open.

const (
	measureAgain      = "corbel.measureAgain"
	betterOrientation = "corbel.betterOrientation"
	openReport        = "corbel.openReport"
	askReason         = "corbel.askReason" // follows a waiver
)

// commandNames are announced to the editor.
var commandNames = []string{measureAgain, betterOrientation, openReport, askReason}

// worthTurning is the share of the cost that another orientation must save to
// be offered: less is within what the estimate may be off by.
const worthTurning = 0.05

func (s *session) command(ctx context.Context, snap *snapshot, p *protocol.ExecuteCommandParams) (any, error) {
	doc, err := commandTarget(snap, p)
	if err != nil {
		return nil, err
	}
	switch p.Command {
	case measureAgain:
		s.again(doc.path)
		return nil, nil
	case betterOrientation:
		return nil, s.turn(ctx, snap, doc)
	case openReport:
		return nil, s.report(ctx, snap, doc)
	case askReason:
		return nil, s.askReason(ctx, doc)
	}
	return nil, jsonrpc2.Errorf(jsonrpc2.InvalidParams, "there is no command %q", p.Command)
}

// commandTarget is the part spec that a command is about.
func commandTarget(snap *snapshot, p *protocol.ExecuteCommandParams) (*document, error) {
	var u uri.URI
	if len(p.Arguments) != 1 || json.Unmarshal(p.Arguments[0], (*string)(&u)) != nil {
		return nil, jsonrpc2.Errorf(jsonrpc2.InvalidParams, "%s takes the URI of a part spec", p.Command)
	}
	doc := snap.docs[pathOf(u)]
	if doc == nil || doc.kind != partFile {
		return nil, jsonrpc2.Errorf(jsonrpc2.InvalidParams, "%s takes the URI of a part spec that is open, not %q", p.Command, u)
	}
	return doc, nil
}

// commandOn makes a command for a text.
func commandOn(doc *document, name, title string) protocol.Command {
	argument, _ := json.Marshal(string(doc.uri))
	return protocol.Command{Title: title, Command: name, Arguments: []protocol.LSPAny{argument}}
}

// orienter is a checker that can look for orientations.
type orienter interface {
	Orient(ctx context.Context, path string) (*rules.Orientation, error)
}

// turn looks for a better orientation and puts it into the text, if the text is
// still the one that was examined.
func (s *session) turn(ctx context.Context, snap *snapshot, doc *document) error {
	engine, ok := s.rules().(orienter)
	if !ok {
		return errors.New("orientations can't be looked for")
	}
	looking, done := s.job(ctx, doc)
	o, err := engine.Orient(looking, doc.path)
	done()
	if err != nil {
		return err
	}
	best := o.Better(worthTurning)
	switch {
	case o.Now == nil:
		s.tell(protocol.MessageTypeWarning, "No orientation can be looked for: the part's mesh could not be measured.")
	case best == nil:
		s.tell(protocol.MessageTypeInfo, "The part stands well: no other orientation is better by more than the estimate may be off.")
	case !bytes.Equal(o.Report.Spec.Doc.Text, doc.text) || s.snapshot().docs[doc.path] != doc:
		s.tell(protocol.MessageTypeInfo, "The text has changed meanwhile; ask again for a better orientation.")
	case !snap.client.applies:
		s.tell(protocol.MessageTypeInfo, "Better orientation: up = "+best.Text+". "+best.Reason)
	default:
		return s.apply(ctx, snap, doc, best)
	}
	return nil
}

// apply asks the editor to stand the part otherwise, and says why.
func (s *session) apply(ctx context.Context, snap *snapshot, doc *document, best *rules.Standing) error {
	label := "Stand the part with up = " + best.Text
	params := &protocol.ApplyWorkspaceEditParams{Label: &label, Edit: *workspaceEdit(snap.client, map[*document][]spec.Fix{doc: best.Edits})}
	var result protocol.ApplyWorkspaceEditResult
	if _, err := s.editor.Call(ctx, protocol.MethodWorkspaceApplyEdit, params, &result); err != nil {
		return fmt.Errorf("edit the text: %w", err)
	}
	if result.Applied {
		s.tell(protocol.MessageTypeInfo, label+". "+best.Reason)
	}
	return nil
}

// report writes the page about a part into the cache and opens it.
func (s *session) report(ctx context.Context, snap *snapshot, doc *document) error {
	ctx, done := s.job(ctx, doc)
	defer done()
	r := s.rules().Part(ctx, doc.path, rules.Full)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	var b bytes.Buffer
	if err := sheet.Write(ctx, &b, r, sheet.Options{}); err != nil {
		return fmt.Errorf("make the page: %w", err)
	}
	of := sha256.Sum256([]byte(doc.path)) // specs of one name in two folders have two pages
	name := fmt.Sprintf("%s-%x.html", strings.TrimSuffix(filepath.Base(doc.path), ".part.toml"), of[:4])
	file := layFile(s.cache, name, b.Bytes())
	if file == "" {
		return errors.New("the page could not be written into the cache")
	}
	if !snap.client.shows {
		s.tell(protocol.MessageTypeInfo, "The page about the part is "+file)
		return nil
	}
	yes := true
	_, err := s.editor.Call(ctx, protocol.MethodWindowShowDocument, &protocol.ShowDocumentParams{URI: uriOfFile(file), External: &yes}, nil)
	return err
}

// askReason shows the place where the reason of a new waiver is to be written.
func (s *session) askReason(ctx context.Context, doc *document) error {
	part := doc.parse().part
	for i := len(part.Waivers) - 1; i >= 0; i-- {
		if w := &part.Waivers[i]; w.Reason.V == "" && w.Reason.At.End > w.Reason.At.Start+1 {
			inside := spec.Range{Start: w.Reason.At.Start + 1, End: w.Reason.At.End - 1}
			at := doc.lines().rangeOf(inside, doc.unit)
			yes := true
			_, err := s.editor.Call(ctx, protocol.MethodWindowShowDocument, &protocol.ShowDocumentParams{URI: doc.uri, TakeFocus: &yes, Selection: &at}, nil)
			return err
		}
	}
	return nil
}

// job shows work on a text that a user asked for, with a way to stop it. The
// returned function ends it.
func (s *session) job(ctx context.Context, doc *document) (context.Context, func()) {
	ctx, cancel := context.WithCancel(ctx)
	s.mu.Lock()
	s.jobs[doc.path] = cancel
	s.mu.Unlock()
	end := s.showProgress(pass{ctx: ctx, doc: doc})
	return ctx, func() {
		end()
		cancel()
		s.mu.Lock()
		delete(s.jobs, doc.path)
		s.mu.Unlock()
	}
}

// tell shows the user a message.
func (s *session) tell(kind protocol.MessageType, text string) {
	err := s.editor.Notify(s.ctx, protocol.MethodWindowShowMessage, &protocol.ShowMessageParams{Type: kind, Message: text})
	if err != nil {
		s.log.Debug("message not sent", "why", err)
	}
}

// layFile writes a file into the cache, whole or not at all, and returns its
// path; empty where that can't be done.
func layFile(folder, name string, text []byte) string {
	path := filepath.Join(folder, name)
	if there, err := os.ReadFile(path); err == nil && bytes.Equal(there, text) {
		return path
	}
	if folder == "" || os.MkdirAll(folder, 0o755) != nil {
		return ""
	}
	f, err := os.CreateTemp(folder, "new-*")
	if err != nil {
		return ""
	}
	defer os.Remove(f.Name()) // gone once it was renamed
	_, err = f.Write(text)
	if err = errors.Join(err, f.Chmod(0o444), f.Close()); err != nil {
		return ""
	}
	if os.Rename(f.Name(), path) != nil {
		return ""
	}
	return path
}
