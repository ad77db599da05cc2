package lsp

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"go.lsp.dev/protocol"

	"corbel/rules"
)

// This file holds what a user may choose, in the words of an editor's settings.

// settings are what a user may choose. The zero settings are the usual ones.
type settings struct {
	Jobs   int   `json:"jobs"`   // parts measured at once; 0 is one a core
	Memory int64 `json:"memory"` // MiB for what is kept, and again for what is being measured; 0 is the server's own
	Delay  *int  `json:"delay"`  // ms between a change and the measuring it asks for

	// Measure says when what is unknown is measured: after a change ("type") or
	// when the text is saved ("save").
	Measure string `json:"measure"`
	// OnSave names checks whose findings are shown for saved texts only.
	OnSave []string `json:"onSave"`
	// Diagnostics is "push", or "pull" for an editor that asks by itself. It
	// counts at the start only.
	Diagnostics string `json:"diagnostics"`
	// Workspace shows findings of part specs that are not open, too.
	Workspace bool `json:"workspace"`

	Hints  *bool `json:"hints"`  // measurements beside what is written
	Lenses *bool `json:"lenses"` // a line above a part
	Format *bool `json:"format"` // lay texts out; off where another server does
}

// wanted reports whether something that is on unless it is switched off is on.
func wanted(b *bool) bool { return b == nil || *b }

// readSettings understands what an editor sends: our settings, or an object
// that holds them under our name. Nothing at all means the usual ones.
func readSettings(raw []byte) (settings, error) {
	var out settings
	if len(raw) == 0 || string(raw) == "null" {
		return out, nil
	}
	var outer map[string]json.RawMessage
	if err := json.Unmarshal(raw, &outer); err != nil {
		return out, fmt.Errorf("settings: %w", err)
	}
	if own, ok := outer[source]; ok {
		raw = own
	}
	if err := json.Unmarshal(raw, &out); err != nil {
		return settings{}, fmt.Errorf("settings: %w", err)
	}
	for _, name := range out.OnSave {
		if rules.ByName(name) == nil {
			return settings{}, fmt.Errorf("settings: onSave: there is no check %q", name)
		}
	}
	switch {
	case out.Measure != "" && out.Measure != "type" && out.Measure != "save":
		return settings{}, fmt.Errorf(`settings: measure is %q, neither "type" nor "save"`, out.Measure)
	case out.Diagnostics != "" && out.Diagnostics != "push" && out.Diagnostics != "pull":
		return settings{}, fmt.Errorf(`settings: diagnostics is %q, neither "push" nor "pull"`, out.Diagnostics)
	}
	return out, nil
}

// choose takes settings over. Where they change what is found or shown, every
// text is checked again; where they change the engine's bounds, it starts anew.
func (s *session) choose(next settings) {
	s.mu.Lock()
	old := s.chosen
	next.Diagnostics = old.Diagnostics
	s.chosen = next
	s.wait = s.usualWait
	if next.Delay != nil {
		s.wait = time.Duration(max(0, *next.Delay)) * time.Millisecond
	}
	if s.newChecker != nil && (old.Jobs != next.Jobs || old.Memory != next.Memory) {
		s.check = s.newChecker(next)
	}
	for _, t := range s.tracks {
		s.outdate(t, false)
	}
	if len(s.tracks) > 0 {
		s.refresh()
	}
	s.mu.Unlock()
	s.run(s.scan)
}

// settings returns what is chosen.
func (s *session) settings() settings {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.chosen
}

// rules returns what checks.
func (s *session) rules() checker {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.check
}

// reconfigured takes settings that an editor sends, or asks for them where it
// only says that they have changed.
func (s *session) reconfigured(raw []byte) {
	if s.snapshot().client.configures {
		s.run(s.askSettings)
		return
	}
	s.takeSettings(raw)
}

// askSettings asks an editor for our settings.
func (s *session) askSettings() {
	name := source
	var answer []json.RawMessage
	_, err := s.editor.Call(s.ctx, protocol.MethodWorkspaceConfiguration,
		&protocol.ConfigurationParams{Items: []protocol.ConfigurationItem{{Section: &name}}}, &raws{&answer})
	if err != nil || len(answer) == 0 {
		s.log.Debug("no settings", "why", err)
		return
	}
	s.takeSettings(answer[0])
}

// raws decodes a list without looking into its entries.
type raws struct{ list *[]json.RawMessage }

func (r *raws) UnmarshalJSON(data []byte) error { return json.Unmarshal(data, r.list) }

// takeSettings takes settings over, or tells the user what is wrong with them.
func (s *session) takeSettings(raw []byte) {
	if len(raw) == 0 || string(raw) == "null" {
		return // an editor without settings for us: those of the start stay
	}
	next, err := readSettings(raw)
	if err != nil {
		s.complain(err)
		return
	}
	s.choose(next)
}

// complain shows an error of the user's.
func (s *session) complain(err error) {
	s.log.Warn("refused", "why", err)
	note := &protocol.ShowMessageParams{Type: protocol.MessageTypeWarning, Message: source + ": " + err.Error()}
	if err := s.editor.Notify(s.ctx, protocol.MethodWindowShowMessage, note); err != nil {
		s.log.Debug("message not sent", "why", err)
	}
}

// shownNow drops findings that wait for the text to be saved.
func (c settings) shownNow(found []rules.Finding, dirty bool) []rules.Finding {
	if !dirty || len(c.OnSave) == 0 {
		return found
	}
	return slices.DeleteFunc(slices.Clone(found), func(f rules.Finding) bool { return slices.Contains(c.OnSave, f.Check) })
}
