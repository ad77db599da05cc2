package rules

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"corbel/spec"
)

// ShopName is the file that is looked for upward from a part spec.
const ShopName = "shop.toml"

// chain is a shop file and what it extends.
type chain struct {
	files    []*spec.Shop // weakest first
	problems []fileProblem
	deps     []string
	failed   bool // a file could not be read
}

// fileProblem is a problem and the file it is in.
type fileProblem struct {
	spec.Problem
	file *spec.Shop
}

// parsed is a text understood once per content.
type parsed[T any] struct {
	file     T
	problems []spec.Problem
}

// text reads and parses a file, once per path and content.
func parseCached[T any](e *Engine, path string, kind string, counter func(), parse func(string, []byte) (T, []spec.Problem)) (parsed[T], error) {
	root := e.root(path)
	if err := within(root, path); err != nil {
		return parsed[T]{}, err
	}
	text, err := e.o.ReadFile(root, path)
	if err != nil {
		return parsed[T]{}, err
	}
	key := fmt.Sprintf("%s|%s|%x", kind, path, sha256.Sum256(text))
	v, err := e.texts.get(context.Background(), key, func(context.Context) (any, int64, error) {
		counter()
		file, problems := parse(path, text)
		return parsed[T]{file, problems}, 40*int64(len(text)) + 4096, nil // 35 bytes a byte, measured on a long spec
	})
	if err != nil {
		return parsed[T]{}, err
	}
	return v.(parsed[T]), nil
}

func (e *Engine) parsePart(path string) (parsed[*spec.Part], error) {
	return parseCached(e, path, "part", func() { e.counts.SpecParses.Add(1) }, e.bounds().ParsePart)
}

func (e *Engine) parseShop(path string) (parsed[*spec.Shop], error) {
	return parseCached(e, path, "shop", func() { e.counts.ShopParses.Add(1) }, e.bounds().ParseShop)
}

// bounds are those of a text, with the length that is read.
func (e *Engine) bounds() spec.Bounds {
	b := spec.DefaultBounds
	b.Bytes = int(e.o.MaxTextBytes)
	return b
}

// shopChain reads a shop file and the one it extends. A shop file extends
// once: what a second file would extend in turn is left out and said.
func (e *Engine) shopChain(path string) (*chain, error) {
	c := &chain{deps: []string{absolute(path)}}
	top, err := e.parseShop(path)
	if err != nil {
		return c, err
	}
	c.add(top)
	if !top.file.Extends.Set {
		return c, nil
	}
	x := top.file.Extends
	base := Beside(path, x.V)
	c.deps = append(c.deps, absolute(base))
	if err := e.extend(c, top.file, base); err != nil {
		c.problems = append(c.problems, fileProblem{spec.Problem{At: x.At, Key: "extends", Level: string(Error),
			Message: fmt.Sprintf("Shop file %q can't be extended: %s.", x.V, err),
			Help:    "Name a shop file relative to this one that extends no further file."}, top.file})
	}
	return c, nil
}

func (c *chain) add(p parsed[*spec.Shop]) {
	c.files = append([]*spec.Shop{p.file}, c.files...)
	for _, q := range p.problems {
		c.problems = append(c.problems, fileProblem{q, p.file})
	}
}

func (e *Engine) extend(c *chain, top *spec.Shop, base string) error {
	if absolute(base) == absolute(top.File) {
		return errors.New("it extends itself")
	}
	if err := within(e.root(top.File), base); err != nil {
		return err
	}
	p, err := e.parseShop(base)
	if err != nil {
		c.failed = true
		return err
	}
	c.add(p)
	switch next := p.file.Extends; {
	case !next.Set:
		return nil
	case absolute(Beside(base, next.V)) == absolute(top.File):
		return errors.New("the two files extend each other")
	default:
		return fmt.Errorf("it extends %q in turn, and a shop file extends once", next.V)
	}
}

// nearestShop looks for shop.toml from a spec's folder upward, to the root of
// the workspace if there is one. Paths stay relative where the spec's is.
func (e *Engine) nearestShop(specPath string) string {
	rel := !filepath.IsAbs(specPath)
	dir, root := filepath.Dir(absolute(specPath)), e.root(specPath)
	for {
		at := filepath.Join(dir, ShopName)
		if _, err := os.Stat(at); err == nil {
			if rel {
				return relative(at)
			}
			return at
		}
		if root != "" && within(dir, root) == nil || filepath.Dir(dir) == dir {
			return ""
		}
		dir = filepath.Dir(dir)
	}
}

// relative shortens a path for messages where it can.
func relative(path string) string {
	wd, err := os.Getwd()
	if err != nil {
		return path
	}
	if r, err := filepath.Rel(wd, path); err == nil {
		return r
	}
	return path
}

// shopOf finds the shop of a part: the one it names, else the nearest upward,
// else the built-in defaults alone. Problems of the shop are one finding of
// the part each file, at the key that chose it.
func (e *Engine) shopOf(part *spec.Part) (*Shop, []Finding, []Failure, []string) {
	named := part.Shop.Set
	path := ""
	if named {
		path = Beside(part.File, part.Shop.V)
		if err := within(e.root(part.File), path); err != nil {
			f, fail := e.shopUnread(part, path, err)
			return newShop(), f, fail, nil
		}
	} else if path = e.nearestShop(part.File); path == "" {
		return newShop(), nil, nil, nil
	}
	c, err := e.shopChain(path)
	if err != nil {
		f, fail := e.shopUnread(part, path, err)
		return newShop(), f, fail, c.deps
	}
	findings, failures := shopTrouble(part, c)
	return newShop(c.files...), findings, failures, c.deps
}

func (e *Engine) shopUnread(part *spec.Part, path string, err error) ([]Finding, []Failure) {
	why := fmt.Sprintf("Shop file %q can't be read: %s.", path, err)
	f := specFinding(part, Error, "shop", part.Shop.At, why, "Name a shop file relative to this spec, or remove the key to take the nearest shop.toml upward.")
	if errors.Is(err, fs.ErrNotExist) {
		f.Message = fmt.Sprintf("Shop file %q does not exist.", path)
	}
	return []Finding{f}, []Failure{{"shop", f.Message}}
}

// shopTrouble tells a part's reader that the shop file has errors.
func shopTrouble(part *spec.Part, c *chain) ([]Finding, []Failure) {
	var findings []Finding
	var failures []Failure
	for _, file := range c.files {
		var first *fileProblem
		n := 0
		for i, p := range c.problems {
			if p.file == file && Level(p.Level) == Error {
				if first == nil {
					first = &c.problems[i]
				}
				n++
			}
		}
		if first == nil {
			continue
		}
		line := lineOf(file.Doc, first.At.Start)
		what := "an error"
		if n > 1 {
			what = fmt.Sprintf("%d errors, the first", n)
		}
		f := specFinding(part, Error, "shop", part.Shop.At,
			fmt.Sprintf("Shop file %q has %s in line %d: %s", file.File, what, line, first.Message), "Mend the shop file: its limits may not be the ones in force.")
		f.Related = []Related{{Location{file.File, first.Key, first.At}, first.Message}}
		findings = append(findings, f)
	}
	if c.failed {
		failures = append(failures, Failure{"shop", findings[len(findings)-1].Message})
	}
	return findings, failures
}
