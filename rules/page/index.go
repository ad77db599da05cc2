package page

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"html/template"
	"io"
	"path/filepath"
	"strings"

	"corbel/rules"
	"corbel/rules/output"
	"corbel/rules/still"
)

// Card is what the index of a folder shows of one part.
type Card struct {
	File     string // of its page, relative to the index
	Part     string
	Path     string
	Setup    string
	Worst    string // level of its gravest finding
	Checked  bool
	Totals   output.Totals
	Overview template.URL
}

// NewCard makes the card of a part whose page is in a file.
func NewCard(ctx context.Context, r *rules.PartReport, file string) (Card, error) {
	c := Card{File: file, Part: partName(r), Path: filepath.ToSlash(r.Path), Checked: r.Status == rules.Checked,
		Totals: output.Count([]*rules.PartReport{r}), Worst: "none"}
	for _, l := range []rules.Level{rules.Note, rules.Warning, rules.Error} {
		if c.Totals.AtLeast(l) > 0 {
			c.Worst = string(l)
		}
	}
	if s := r.Spec; s != nil {
		var words []string
		for _, v := range []string{s.Process.V, s.Material.V, s.Machine.V} {
			if v != "" {
				words = append(words, v)
			}
		}
		c.Setup = strings.Join(words, ", ")
	}
	png, err := still.Part(ctx, r, still.Options{})
	switch {
	case errors.Is(err, still.ErrNoMesh):
	case err != nil:
		return c, err
	default:
		c.Overview = picture(png)
	}
	return c, nil
}

// Index writes the page that leads to the pages of a folder's parts. Problems
// are told above them.
func Index(w io.Writer, title string, cards []Card, problems []string) error {
	d := struct {
		frameOfPage
		Cards    []Card
		Problems []string
		Totals   output.Totals
		General  string
	}{newFrame(output.Clean(title)), cards, problems, output.Totals{}, rules.GeneralNote}
	for _, c := range cards {
		d.Totals.Error += c.Totals.Error
		d.Totals.Warning += c.Totals.Warning
		d.Totals.Note += c.Totals.Note
		d.Totals.Waived += c.Totals.Waived
		d.Totals.Unchecked += c.Totals.Unchecked
	}
	var b bytes.Buffer
	if err := templates().ExecuteTemplate(&b, "index", d); err != nil {
		return fmt.Errorf("write index: %w", err)
	}
	_, err := w.Write(b.Bytes())
	return err
}
