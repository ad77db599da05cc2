package lsp

import (
	"context"
	"encoding/base64"
	"time"

	"corbel/mesh"
	"corbel/rules"
	"corbel/rules/still"
)

// This file draws findings for hovers, in editors that show pictures. Drawing
// takes longer than a hover may: it starts when findings are published, and a
// hover shows the picture that is there.

const (
	picturesKept    = 64                   // of all texts
	picturesEach    = 6                    // drawn ahead for a text, the first findings
	pictureWait     = 5 * time.Millisecond // of a hover
	pictureWidthPX  = 320
	pictureHeightPX = 220
)

// picturesParser is the Markdown parser of editors that show pictures from data
// addresses; in others the address would be read as text.
const picturesParser = "marked"

// pictureKey is what a picture shows: the place that a finding names, on a mesh.
type pictureKey struct {
	mesh  string // digest and unit: no mesh is kept for its pictures
	up    mesh.Frame
	check string
	at    mesh.Vec
	level rules.Level
}

// picture is one that is drawn or being drawn.
type picture struct {
	done chan struct{} // closed once uri is there
	uri  string        // empty where nothing could be drawn
}

// draw starts to draw a finding, unless that was done. It is nil where there is
// nothing to draw.
func (s *session) draw(r *rules.PartReport, f *rules.Finding) *picture {
	if r == nil || r.Mesh == nil || !f.HasPlace || f.Level == rules.Off {
		return nil
	}
	key := pictureKey{r.Mesh.Source.SHA256 + r.Mesh.Source.Unit, r.Measured.Frame, f.Check, f.At, f.Level}
	s.mu.Lock()
	defer s.mu.Unlock()
	if p := s.pictures[key]; p != nil {
		return p
	}
	if s.ctx.Err() != nil {
		return nil
	}
	if s.pictures == nil || len(s.pictures) >= picturesKept {
		s.pictures = make(map[pictureKey]*picture) // they are drawn anew where still wanted
	}
	p := &picture{done: make(chan struct{})}
	s.pictures[key] = p
	s.run(func() {
		defer close(p.done)
		s.drawing.Lock() // one at a time
		defer s.drawing.Unlock()
		png, err := still.Finding(s.ctx, r, f, still.Options{Width: pictureWidthPX, Height: pictureHeightPX})
		if err != nil {
			s.log.Debug("no picture", "check", f.Check, "why", err)
			return
		}
		p.uri = "data:image/png;base64," + base64.StdEncoding.EncodeToString(png)
	})
	return p
}

// drawAhead starts to draw the findings of a report that was published.
func (s *session) drawAhead(r *report) {
	if r.part == nil || r.doc.version == unopened || !s.snapshot().client.pictures {
		return
	}
	left := picturesEach
	for i := range r.findings {
		if left > 0 && s.draw(r.part, &r.findings[i]) != nil {
			left--
		}
	}
}

// wait returns a picture's address, empty where it is not there in time.
func (p *picture) wait(ctx context.Context) string {
	if p == nil {
		return ""
	}
	late := time.NewTimer(pictureWait)
	defer late.Stop()
	select {
	case <-p.done:
		return p.uri
	case <-late.C:
	case <-ctx.Done():
	}
	return ""
}
