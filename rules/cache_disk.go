package rules

import (
	"context"
	"fmt"
	"math"
	"slices"

	"corbel/mesh"
	"corbel/rules/store"
)

// This file keeps measurements on disk behind the cache in memory, so that a
// second check of an unchanged tree neither measures nor reads a mesh.
//
// A measurement that is plain values is kept as such. One that holds on to its
// mesh is kept in two forms: whole, for new limits, and as its answers to the
// limits in force, which need no mesh. Where there is a disk cache, checks are
// given the answers whether they were measured this time or not, so that both
// cases run the same way.

// form is how a measurement becomes bytes and comes back.
type form struct {
	encode func(v any) any // to plain values
	decode func(data []byte, with surface) (any, error)
}

// answers is the form of a measurement that needs no mesh, for the questions
// that the checks ask under the limits in force.
type answers struct {
	key func(p *params) string
	form
	ask func(v any, p *params) any // to plain values, by asking
}

// surface is what a whole measurement is put together with.
type surface struct {
	ctx  context.Context
	mesh *mesh.Mesh
	p    *params
}

// plainForm is the form of a *T of plain values.
func plainForm[T any]() *form {
	return &form{
		encode: func(v any) any { return *v.(*T) },
		decode: func(data []byte, _ surface) (any, error) {
			v := new(T)
			return v, store.Decode(data, v)
		},
	}
}

// listForm is the form of a []T of plain values.
func listForm[T any]() *form {
	return &form{
		encode: func(v any) any { return v.([]T) },
		decode: func(data []byte, _ surface) (any, error) {
			var v []T
			err := store.Decode(data, &v)
			return v, err
		},
	}
}

// fieldForm is the whole form of walls or gaps; put puts it together.
func fieldForm(put func(*mesh.KeptThickness, context.Context, *mesh.Mesh) (*mesh.ThicknessField, error)) *form {
	return &form{
		encode: func(v any) any { return v.(*mesh.ThicknessField).Keep() },
		decode: func(data []byte, with surface) (any, error) {
			var k mesh.KeptThickness
			if err := store.Decode(data, &k); err != nil {
				return nil, err
			}
			return put(&k, with.ctx, with.mesh)
		},
	}
}

// fieldAnswers answers for the regions below some limits.
func fieldAnswers(limits func(*params) []float64) *answers {
	return &answers{
		key: func(p *params) string { return fmt.Sprint("regions below ", limits(p)) },
		ask: func(v any, p *params) any { return v.(*mesh.ThicknessField).KeepAnswers(limits(p)...) },
		form: form{decode: func(data []byte, _ surface) (any, error) {
			var k mesh.KeptThickness
			if err := store.Decode(data, &k); err != nil {
				return nil, err
			}
			return k.Answers(), nil
		}},
	}
}

var wholeSections = &form{
	encode: func(v any) any { return v.(*mesh.Sections).Keep(math.NaN(), 0) },
	decode: func(data []byte, with surface) (any, error) {
		var k mesh.KeptSections
		if err := store.Decode(data, &k); err != nil {
			return nil, err
		}
		return k.Sections(with.mesh, with.p.frame), nil
	},
}

var sectionAnswers = &answers{
	key: func(p *params) string { return fmt.Sprintf("jumps by %v within %v", p.jumpLeast, p.jumpMM) },
	ask: func(v any, p *params) any { return v.(*mesh.Sections).Keep(p.jumpMM, p.jumpLeast) },
	form: form{decode: func(data []byte, _ surface) (any, error) {
		var k mesh.KeptSections
		if err := store.Decode(data, &k); err != nil {
			return nil, err
		}
		return k.Answers(), nil
	}},
}

// answering reports whether checks are given the answers of a measurement
// rather than the whole of it.
func (e *Engine) answering(s *measurement) bool {
	return e.disk != nil && s.answers != nil && !e.o.Surface
}

func (s *measurement) answersKey(meshKey string, par *params) string {
	return s.recipe(meshKey, par) + "|" + s.answers.key(par)
}

// known returns a measurement that memory holds.
func (e *Engine) known(s *measurement, meshKey string, par *params) (any, bool) {
	if e.answering(s) {
		if v, ok := e.cache.peek(s.answersKey(meshKey, par)); ok {
			return v, true
		}
	}
	return e.cache.peek(s.recipe(meshKey, par))
}

// kept returns a measurement that memory holds, or the disk in a form that
// needs no mesh.
func (e *Engine) kept(s *measurement, meshKey string, par *params) (any, bool) {
	key, f := s.recipe(meshKey, par), s.form
	if e.answering(s) {
		key, f = s.answersKey(meshKey, par), &s.answers.form
	}
	if v, ok := e.cache.peek(key); ok || s.answers != nil && f == s.form {
		return v, ok
	}
	v, size, ok := e.fromDisk(key, f, surface{})
	if ok {
		e.cache.put(key, v, size)
	}
	return v, ok
}

// measureOne returns a measurement that is not kept: from its whole form on
// disk, or made anew.
func (e *Engine) measureOne(ctx context.Context, s *measurement, m *mesh.Mesh, meshKey string, par params) (any, error) {
	key := s.recipe(meshKey, &par)
	whole, err := e.cache.get(ctx, key, func(ctx context.Context) (any, int64, error) {
		if s.answers != nil { // plain ones were looked for
			if v, size, ok := e.fromDisk(key, s.form, surface{ctx, m, &par}); ok {
				return v, size, nil
			}
		}
		e.count(s.need)
		par.also = func(need Need, v any, size int64) {
			i := slices.IndexFunc(measurements, func(o measurement) bool { return o.need == need })
			o := &measurements[i]
			e.count(need)
			e.cache.put(o.recipe(meshKey, &par), v, size)
			e.toDisk(o.recipe(meshKey, &par), o.form.encode, v)
		}
		v, size, err := guarded(ctx, func(ctx context.Context) (any, int64, error) { return s.run(ctx, m, &par) })
		switch {
		case ctx.Err() != nil:
			return nil, 0, ctx.Err()
		case err != nil:
			return failed{err}, 1024, nil
		}
		e.toDisk(key, s.form.encode, v)
		return v, size, nil
	})
	if _, bad := whole.(failed); err != nil || bad || !e.answering(s) {
		return whole, err
	}
	key = s.answersKey(meshKey, &par)
	return e.cache.get(ctx, key, func(ctx context.Context) (any, int64, error) {
		if s.ready != nil {
			if err := s.ready(ctx, whole, &par); err != nil {
				return nil, 0, err
			}
		}
		data := e.toDisk(key, func(v any) any { return s.answers.ask(v, &par) }, whole)
		v, err := s.answers.decode(data, surface{})
		return v, 512 + 2*store.Size(data), err
	})
}

// count notes that a measurement was made.
func (e *Engine) count(n Need) {
	e.counts.mu.Lock()
	defer e.counts.mu.Unlock()
	e.counts.measurements[n]++
}

// fromDisk returns a kept value and about what it takes in memory. Whatever is
// wrong with the entry is a miss.
func (e *Engine) fromDisk(key string, f *form, with surface) (v any, size int64, ok bool) {
	data, ok := e.disk.Get(key)
	if !ok {
		return nil, 0, false
	}
	v, err := f.decode(data, with)
	if err != nil {
		return nil, 0, false
	}
	return v, 512 + 2*store.Size(data), true
}

// toDisk keeps a value as the plain values that encode makes of it, and returns
// their bytes; without a disk cache, nothing.
func (e *Engine) toDisk(key string, encode func(any) any, v any) []byte {
	if e.disk == nil {
		return nil
	}
	data := store.Encode(encode(v))
	e.disk.Put(key, data)
	return data
}
