package lsp

import (
	"context"
	"fmt"
	"path/filepath"
	"sync"
	"time"

	"go.lsp.dev/protocol"
)

const (
	// progressAfter is how long measuring may take before the editor is told.
	progressAfter = 500 * time.Millisecond
	// progressEvery bounds how often it is told more.
	progressEvery = 100 * time.Millisecond
)

// stages keeps the newest word about each part that is being measured.
type stages struct {
	mu    sync.Mutex
	parts map[string]*measuring             // by path
	paths map[protocol.ProgressToken]string // of the progress that is shown
	next  int                               // number of the next token
}

// measuring is a part that one pass or more are measuring; a pass that was
// stopped may still be ending when the next begins.
type measuring struct {
	passes int
	last   stage
}

type stage struct {
	name  string
	share float64 // done, of 1
}

// note is told by the rules how far they are. It returns at once.
func (g *stages) note(path, name string, share float64) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if m := g.parts[path]; m != nil {
		m.last = stage{name, share}
	}
}

func (g *stages) of(path string) stage {
	g.mu.Lock()
	defer g.mu.Unlock()
	if m := g.parts[path]; m != nil {
		return m.last
	}
	return stage{}
}

// begin notes that a pass measures a part.
func (g *stages) begin(path string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.parts == nil {
		g.parts, g.paths = make(map[string]*measuring), make(map[protocol.ProgressToken]string)
	}
	if g.parts[path] == nil {
		g.parts[path] = &measuring{}
	}
	g.parts[path].passes++
}

func (g *stages) end(path string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.parts[path].passes--; g.parts[path].passes == 0 {
		delete(g.parts, path)
	}
}

// show makes a token for a part's progress; hide forgets it.
func (g *stages) show(path string) protocol.ProgressToken {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.next++
	token := protocol.String(fmt.Sprintf("%s/%d", source, g.next))
	g.paths[token] = path
	return token
}

func (g *stages) hide(token protocol.ProgressToken) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.paths, token)
}

// pathOf returns what a token is about; empty for one that is not shown.
func (g *stages) pathOf(token protocol.ProgressToken) string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.paths[token]
}

// showProgress shows a pass that takes long, with a way to stop it, in editors
// that can. An editor that does not answer sees none and loses nothing else.
// The returned function ends it.
func (s *session) showProgress(p pass) (end func()) {
	if !s.snapshot().client.progress {
		return func() {}
	}
	s.stages.begin(p.doc.path)
	ctx, cancel := context.WithCancel(p.ctx)
	s.run(func() {
		defer s.stages.end(p.doc.path)
		select {
		case <-ctx.Done():
		case <-time.After(s.patience):
			s.progress(ctx, p.doc.path)
		}
	})
	return cancel
}

// progress shows one progress until ctx ends.
func (s *session) progress(ctx context.Context, path string) {
	token := s.stages.show(path)
	defer s.stages.hide(token)
	_, err := s.editor.Call(ctx, protocol.MethodWindowWorkDoneProgressCreate, &protocol.WorkDoneProgressCreateParams{Token: token}, nil)
	if err != nil {
		s.log.Debug("no progress", "why", err)
		return
	}
	yes, none := true, uint32(0)
	s.tellProgress(token, &protocol.WorkDoneProgressBegin{
		Kind:        "begin",
		Title:       "Measuring " + filepath.Base(path),
		Cancellable: &yes,
		Percentage:  &none,
	})
	tick := time.NewTicker(progressEvery)
	defer tick.Stop()
	shown := stage{}
	for {
		select {
		case <-ctx.Done():
			s.tellProgress(token, &protocol.WorkDoneProgressEnd{Kind: "end"})
			return
		case <-tick.C:
			if now := s.stages.of(path); now != shown {
				shown = now
				percent := uint32(100 * max(0, min(1, now.share)))
				s.tellProgress(token, &protocol.WorkDoneProgressReport{
					Kind:       "report",
					Message:    &now.name,
					Percentage: &percent,
				})
			}
		}
	}
}

func (s *session) tellProgress(token protocol.ProgressToken, value any) {
	raw, err := protocol.Marshal(value)
	if err == nil {
		err = s.editor.Notify(s.ctx, protocol.MethodProgress, &protocol.ProgressParams{Token: token, Value: raw})
	}
	if err != nil {
		s.log.Debug("progress not sent", "why", err)
	}
}
