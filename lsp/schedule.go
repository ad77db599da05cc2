package lsp

import (
	"context"
	"fmt"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"corbel/rules"
	"corbel/spec"
)

// This file decides what is checked when.
//
// A change queues its text and the texts that rest on it. One goroutine takes
// them in turn and does what costs milliseconds: it judges the text and all
// that memory knows of the geometry, and publishes. Where something has yet to
// be measured, a goroutine of that text's own waits a little, measures, and
// publishes again. The next change of anything the text rests on stops both;
// what they found is then dropped, never shown.

// measuringAtOnce is how many texts may be measured at the same time. Each pass
// uses all cores; the second place lets a small part overtake a large one.
const measuringAtOnce = 2

// track is what is known about one open text. The session's lock guards it.
type track struct {
	path string
	doc  *document // the present text

	state  int64              // counts the changes of anything the findings rest on
	cancel context.CancelFunc // of the work for this state; nil where none runs
	edited bool               // the text itself has changed since the last final set
	halted bool               // the user has stopped the measuring of this state
	dirty  bool               // the text has changed since it was opened or saved
	closed bool               // the text is not open: it is followed on disk

	judging *judging // the newest quick judgement
	report  *report  // the last one that was published
	final   bool     // it is complete
	rests   []string // absolute paths of the files the last check rested on
}

// report is what a check found in a part spec or in a shop file.
type report struct {
	doc      *document // the text it is about
	findings []rules.Finding
	rests    []string // absolute paths of the files it rests on, missing ones too
	complete bool     // nothing was left unmeasured
	part     *rules.PartReport
	shop     *rules.ShopReport
}

// restsOn reports whether a change of a file may change the findings of t.
// Before the first report that is unknown, hence true.
func (t *track) restsOn(path string) bool {
	return t.rests == nil || slices.Contains(t.rests, path) || slices.Contains(shopsAbove(t.path), path)
}

// shopsAbove lists where a spec's shop file is looked for: its own folder and
// those above. A shop file that appears nearer than the one in force counts.
func shopsAbove(path string) []string {
	var shops []string
	for dir := filepath.Dir(path); ; dir = filepath.Dir(dir) {
		shops = append(shops, filepath.Join(dir, shopName))
		if dir == filepath.Dir(dir) {
			return shops
		}
	}
}

// outdate stops the work for a text and queues it. An edited text comes first.
// It is called with the lock held.
func (s *session) outdate(t *track, edited bool) {
	t.state++
	t.edited = t.edited || edited
	t.halted = false
	t.stop()
	s.queue = slices.DeleteFunc(s.queue, func(p string) bool { return p == t.path })
	if edited {
		s.queue = slices.Insert(s.queue, 0, t.path)
	} else {
		s.queue = append(s.queue, t.path)
	}
	signal(s.wake)
}

func (t *track) stop() {
	if t.cancel != nil {
		t.cancel()
		t.cancel = nil
	}
}

// forget stops the work for a text that is no longer open and clears what the
// editor shows for it. It is called with the lock held; t may be nil.
func (s *session) forget(t *track, old *document) {
	if t == nil {
		return
	}
	t.state++
	t.stop()
	delete(s.tracks, t.path)
	s.queue = slices.DeleteFunc(s.queue, func(p string) bool { return p == t.path })
	s.publish(old, nil)
}

// checkAll checks queued texts until the session ends.
func (s *session) checkAll() {
	for {
		select {
		case <-s.ctx.Done():
			return
		case <-s.wake:
		}
		for {
			t, p := s.next()
			if t == nil {
				break
			}
			s.quick(t, p)
		}
	}
}

// pass is one piece of work: the text it is about and the state it belongs to.
type pass struct {
	ctx   context.Context
	doc   *document
	state int64
	began time.Time
}

// next takes a text from the queue.
func (s *session) next() (*track, pass) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for len(s.queue) > 0 && s.ctx.Err() == nil {
		t := s.tracks[s.queue[0]]
		s.queue = s.queue[1:]
		if t != nil {
			return t, s.begin(t)
		}
	}
	return nil, pass{}
}

// begin makes the pass for a text's present state. It is called with the lock held.
func (s *session) begin(t *track) pass {
	t.stop()
	ctx, cancel := context.WithCancel(s.ctx)
	t.cancel = cancel
	return pass{ctx, t.doc, t.state, time.Now()}
}

// quick judges a text and what is known of its geometry.
func (s *session) quick(t *track, p pass) {
	for _, shop := range shopsAbove(t.path) {
		s.see(shop)
	}
	if t.closed && !s.reread(t, &p) {
		s.run(s.scan)
		return
	}
	s.finish(t, p, rules.Known, s.examine(p, rules.Known))
}

// measure makes the measurements that a text still lacks, after a wait in which
// the next key may be pressed.
func (s *session) measure(t *track, p pass, wait time.Duration) {
	select {
	case <-p.ctx.Done():
		return
	case <-time.After(wait):
	}
	select {
	case <-p.ctx.Done():
		return
	case s.slotOf(p) <- struct{}{}:
	}
	defer func() { <-s.slotOf(p) }()
	end := s.showProgress(p)
	r := s.examine(p, rules.Full)
	end()
	s.finish(t, p, rules.Full, r)
}

// slotOf is where a pass waits for its turn to measure: texts that are not open
// have one place of their own.
func (s *session) slotOf(p pass) chan struct{} {
	if p.doc.version == unopened {
		return s.idle
	}
	return s.slot
}

// examine asks the rules. A panic of theirs costs this pass and no more.
func (s *session) examine(p pass, mode rules.Mode) (r *report) {
	defer func() {
		if v := recover(); v != nil {
			s.log.Error("check failed", "path", p.doc.path, "why", v, "stack", string(debug.Stack()))
			r = &report{doc: p.doc, complete: true, findings: []rules.Finding{failed(p.doc, v)}}
		}
	}()
	if p.doc.kind == shopFile {
		shop := s.rules().ShopFile(p.ctx, p.doc.path)
		found := append(slices.Clone(shop.Findings), failures(p.doc, shop.Findings, shop.Failures)...)
		return &report{doc: p.doc, findings: found, rests: shop.Deps, complete: true, shop: shop}
	}
	part := s.judge(p, mode)
	found := append(slices.Clone(part.Findings), failures(p.doc, part.Findings, part.Failures)...)
	return &report{doc: p.doc, findings: found, rests: part.Deps, complete: part.Complete || mode == rules.Full, part: part}
}

// judging is the quick judgement of one state of a part spec. The pass over the
// text and requests about it ask for the same one, often at the same time.
type judging struct {
	state int64
	done  chan struct{} // closed once part is there
	part  *rules.PartReport
}

// judge asks the rules about a part, or shares the answer to whoever asks the
// same right now.
func (s *session) judge(p pass, mode rules.Mode) *rules.PartReport {
	if mode != rules.Known {
		return s.rules().Part(p.ctx, p.doc.path, mode)
	}
	s.mu.Lock()
	t := s.tracks[p.doc.path]
	if t == nil || t.state != p.state {
		s.mu.Unlock()
		return s.rules().Part(p.ctx, p.doc.path, mode)
	}
	j, first := t.judging, false
	if j == nil || j.state != p.state {
		j, first = &judging{state: p.state, done: make(chan struct{})}, true
		t.judging = j
	}
	s.mu.Unlock()
	if first {
		defer close(j.done)
		part := s.rules().Part(p.ctx, p.doc.path, mode)
		if p.ctx.Err() == nil {
			j.part = part
		}
		return part
	}
	select {
	case <-j.done:
	case <-p.ctx.Done():
	}
	if part := j.judged(); part != nil {
		return part
	}
	return s.rules().Part(p.ctx, p.doc.path, mode) // the other one was stopped
}

// judged returns what a judging has come to; nil where it did not end.
func (j *judging) judged() *rules.PartReport {
	select {
	case <-j.done:
		return j.part
	default:
		return nil
	}
}

// failures turns what could not be checked into findings: in an editor, an
// empty list must not look like a clean bill. What a finding says already is
// not said twice.
func failures(doc *document, found []rules.Finding, failed []rules.Failure) []rules.Finding {
	var out []rules.Finding
	for _, f := range failed {
		if slices.ContainsFunc(found, func(g rules.Finding) bool { return g.Message == f.Why }) {
			continue
		}
		check := f.What
		if rules.ByName(check) == nil {
			check = rules.Spec.Name
		}
		out = append(out, rules.Finding{
			Check: check, Level: rules.Warning, Message: f.Why, Count: 1,
			Where: rules.Location{File: doc.path, At: failurePlace(doc.parse(), f.What)},
		})
	}
	return out
}

// failurePlace is the text that names what could not be checked: the shop file,
// or the mesh for everything that is measured on it.
func failurePlace(p *parsed, what string) spec.Range {
	switch {
	case p.part == nil || what == "spec":
		return spec.Range{}
	case what == "shop":
		return p.part.Shop.At
	case p.part.Mesh.File.Set:
		return p.part.Mesh.File.At
	}
	return p.part.Mesh.Table
}

// finish publishes what a pass found, unless something it rests on has changed
// since, and starts to measure where the pass left something unmeasured.
//
// The findings of a partial pass replace complete ones only where the text has
// changed: the old ones then stand against text that is gone. Where only a
// mesh or a shop file changed, they stay until the new ones are there.
func (s *session) finish(t *track, p pass, mode rules.Mode, r *report) {
	s.mu.Lock()
	dirty, chosen := t.dirty, s.chosen
	s.mu.Unlock()
	diagnostics := s.diagnostics(r, chosen.shownNow(r.findings, dirty))
	s.seeAll(r.rests, p.began)
	s.mu.Lock()
	defer s.mu.Unlock()
	if t.state != p.state || p.ctx.Err() != nil && !t.halted {
		return
	}
	partial := !r.complete || t.halted
	if t.halted {
		diagnostics = append(diagnostics, haltedNote(r))
	}
	if !partial || t.edited || t.halted {
		t.report, t.final = r, !partial
		s.publish(p.doc, diagnostics)
		if !partial {
			s.run(func() { s.drawAhead(r) })
		}
		if mode == rules.Full || !t.edited {
			s.refresh()
		}
	}
	t.rests = r.rests
	t.edited = t.edited && partial
	if r.complete || t.halted {
		t.judging = nil // the report says as much
		t.stop()
		return
	}
	if t.dirty && chosen.Measure == "save" {
		t.stop()
		return
	}
	wait := s.wait
	if !t.edited {
		wait = 0
	}
	s.run(func() { s.measure(t, p, wait) })
}

// halt stops the measuring of a text at the user's wish. What is known stays.
func (s *session) halt(path string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if cancel := s.jobs[path]; cancel != nil {
		cancel()
		return
	}
	if t := s.tracks[path]; t != nil && t.cancel != nil {
		t.halted = true
		t.cancel()
	}
}

// saved checks a text once more where its last check did not come to an end, or
// where something waited for the text to be saved.
func (s *session) saved(path string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	t := s.tracks[path]
	if t == nil {
		return
	}
	waited := t.dirty && (s.chosen.Measure == "save" || len(s.chosen.OnSave) > 0)
	t.dirty = false
	if t.halted || waited {
		s.outdate(t, false)
	}
}

// again checks a text once more, whatever is known of it.
func (s *session) again(path string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if t := s.tracks[path]; t != nil {
		s.outdate(t, false)
	}
}

// signal wakes the reader of a channel that holds one.
func signal(c chan<- struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// failed is the finding that says that a whole check went wrong.
func failed(doc *document, why any) rules.Finding {
	return rules.Finding{
		Check:   "spec",
		Level:   rules.Error,
		Message: "This file could not be checked: a fault in the checker stopped it (" + strings.SplitN(fmt.Sprint(why), "\n", 2)[0] + ").",
		Count:   1,
		Where:   rules.Location{File: doc.path},
	}
}
