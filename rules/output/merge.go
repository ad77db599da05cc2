package output

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"corbel/rules"
)

// This file reads documents back, and makes one of many.

// readMost bounds a document that is read: 2 kB a finding make it 100,000 findings.
const readMost = 256 << 20

// Read reads a document of check.
func Read(r io.Reader) (*Document, error) {
	text, err := io.ReadAll(io.LimitReader(r, readMost+1))
	switch {
	case err != nil:
		return nil, err
	case len(text) > readMost:
		return nil, fmt.Errorf("it is larger than %d MiB", readMost>>20)
	}
	var d Document
	dec := json.NewDecoder(bytes.NewReader(text))
	if err := dec.Decode(&d); err != nil {
		return nil, fmt.Errorf("it is not the JSON that check writes: %w", err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, errors.New("it is not the JSON that check writes: something follows the document")
	}
	if err := d.sound(); err != nil {
		return nil, err
	}
	for i := range d.Parts {
		d.Parts[i].Path = d.Parts[i].File()
	}
	d.Count()
	return &d, nil
}

// sound refuses what check does not write, so that nothing that follows has to
// wonder what an unknown level weighs.
func (d *Document) sound() error {
	if d.Tool.Name != "corbel" || d.Schema != 1 {
		return fmt.Errorf("it is not the JSON that check writes: tool %q, schema %d", d.Tool.Name, d.Schema)
	}
	if s := d.Shard; s != nil && (s.Index < 1 || s.Index > s.Of || s.Of > ShardsMax) {
		return fmt.Errorf("it says that it is shard %d of %d", s.Index, s.Of)
	}
	for i := range d.Parts {
		p := &d.Parts[i]
		if !slices.Contains([]string{rules.Checked, rules.Unchecked, Unchanged}, p.Status) {
			return fmt.Errorf("part %q has the status %q", p.File(), p.Status)
		}
		if p.Findings == nil {
			p.Findings = []Finding{}
		}
		for k := range p.Findings {
			if rules.Level(p.Findings[k].Level).Weight() == 0 {
				return fmt.Errorf("a finding of part %q has the level %q", p.File(), p.Findings[k].Level)
			}
		}
	}
	return nil
}

// ShardsMax is the most shards that a run may be cut into.
const ShardsMax = 100000

// Share returns the places of n that are in a shard: every Of-th, so that big
// parts that stand together in a folder are spread.
func (s Shard) Share(n int) []int {
	var out []int
	for i := s.Index - 1; i < n; i += s.Of {
		out = append(out, i)
	}
	return out
}

// Merge makes one document of many. Shards of one run become the document that
// the run would have written uncut, in whatever order they come; a shard that
// is missing is said. Other documents stand one after the other.
func Merge(docs []*Document) (*Document, error) {
	if len(docs) == 0 {
		return nil, errors.New("there is nothing to merge")
	}
	out := NewDocument(nil)
	out.Tool = docs[0].Tool
	var shards []*Document
	for _, d := range docs {
		if d.Tool != out.Tool {
			return nil, fmt.Errorf("the documents were written by version %s and version %s", out.Tool.Version, d.Tool.Version)
		}
		if d.Baseline != nil {
			out.Baseline = d.Baseline
		}
		for _, m := range d.Missing { // every shard searched every path
			if !slices.Contains(out.Missing, m) {
				out.Missing = append(out.Missing, m)
			}
		}
		if d.Shard != nil {
			shards = append(shards, d)
			continue
		}
		out.Parts = append(out.Parts, d.Parts...)
	}
	if err := out.join(shards); err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for i := range out.Parts {
		if f := out.Parts[i].File(); seen[f] {
			return nil, fmt.Errorf("part %q is in two of the documents", f)
		} else if f != "" {
			seen[f] = true
		}
	}
	out.Count()
	return out, nil
}

// join deals the parts of shards back into the order of the whole run.
func (d *Document) join(shards []*Document) error {
	if len(shards) == 0 {
		return nil
	}
	of := shards[0].Shard.Of
	byIndex := map[int]*Document{}
	parts := 0
	for _, s := range shards {
		switch {
		case s.Shard.Of != of:
			return fmt.Errorf("shards of %d and of %d don't belong together", of, s.Shard.Of)
		case byIndex[s.Shard.Index] != nil:
			return fmt.Errorf("shard %d of %d is there twice", s.Shard.Index, of)
		}
		byIndex[s.Shard.Index] = s
		parts = max(parts, len(s.Parts))
	}
	for i := range parts {
		for k := 1; k <= of; k++ {
			if s := byIndex[k]; s != nil && i < len(s.Parts) {
				d.Parts = append(d.Parts, s.Parts[i])
			}
		}
	}
	for k := 1; k <= of; k++ {
		if byIndex[k] == nil {
			d.Missing = append(d.Missing, Failure{"shard", fmt.Sprintf("shard %d of %d is missing", k, of)})
		}
	}
	return nil
}
