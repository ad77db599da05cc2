package rules

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"corbel/mesh"
	"corbel/spec"
)

// This file says how a part that does not fit its machine as it stands could
// fit: at another turn, on another side, leaned, or on another machine.

// Way is a way to stand a part in a machine that holds it so.
type Way struct {
	Kind    string  // "as it stands", "turn", "side" or "tilt"
	Up      string  // what to write for orientation.up; of a turn nothing
	TurnDeg float64 // what to write for orientation.turn, where Turns
	Turns   bool    // the spec's own turn will not do
}

// Ways are those in which one machine holds a part.
type Ways struct {
	List []Way
	None bool // no direction and no turn fits: that is certain
}

// overflows reports whether the part as it stands is too large for its machine.
func (p *Subject) overflows() bool {
	m, ok := p.Shop.Machine(p.Spec.Machine.V)
	return ok && m.Build.Set && p.Measured.Box != nil && !p.room(m).holds(p.stand())
}

// others are the machines beside the spec's own that could build the part.
func (p *Subject) others() (out []Machine) {
	for _, m := range p.Shop.Machines() {
		if m.Name.V != p.Spec.Machine.V && m.Process.V == p.Spec.Process.V && m.Takes(p.Spec.Material.V) && m.Build.Set {
			out = append(out, m)
		}
	}
	return out
}

// rooms are what the spec's machine, then the others, offer a part that is
// built as large as drawn and without its lift.
func (p *Subject) rooms() []mesh.Room {
	m, ok := p.Shop.Machine(p.Spec.Machine.V)
	if !ok || !m.Build.Set {
		return nil
	}
	xy, z := p.greenScale()
	var out []mesh.Room
	for _, m := range append([]Machine{m}, p.others()...) {
		r := p.room(m)
		out = append(out, mesh.Room{Platform: mesh.Platform{XMM: r.size[0] / xy, YMM: r.size[1] / xy, DiameterMM: r.dia / xy}, ZMM: (r.size[2] - p.Measured.Frame.Lift) / z})
	}
	return out
}

// measureWays looks for ways to stand the part in each room: as it stands but
// for a turn, then on the sides of the mesh's axes, then leaned. In the first
// room a turn and a side are both told; leaning is looked for only where
// neither fits.
func measureWays(ctx context.Context, m *mesh.Mesh, par *params) ([]Ways, error) {
	out := make([]Ways, len(par.rooms))
	for i, r := range par.rooms {
		s := fitting{m, par, r, &out[i]}
		if err := s.run(ctx, i == 0); err != nil {
			return nil, err
		}
	}
	return out, nil
}

type fitting struct {
	m    *mesh.Mesh
	par  *params
	room mesh.Room
	out  *Ways
}

func (s *fitting) run(ctx context.Context, first bool) error {
	now := s.par.frame.Z
	if err := s.try(ctx, "turn", now); err != nil {
		return err
	}
	for k := range 3 {
		side := unitAxis(k)
		if math.Abs(now.Dot(side)) > 0.999 {
			continue // as it stands, or upside down
		}
		n := len(s.out.List)
		if n > 0 && !first || n > 0 && s.out.List[n-1].Kind == "side" {
			break
		}
		if err := s.try(ctx, "side", side); err != nil {
			return err
		}
		if n > 0 && len(s.out.List) > n && s.out.List[n].Turns {
			s.out.List = s.out.List[:n] // a turn alone does it
		}
	}
	if len(s.out.List) > 0 {
		return nil
	}
	f, err := mesh.FitTilted(ctx, s.m, s.room)
	if err != nil || !f.Fits() {
		s.out.None = f.Certain
		return err
	}
	if f.Up.Dot(now) < 0 {
		f.Up = f.Up.Scale(-1) // it needs the same room
	}
	return s.try(ctx, "tilt", f.Up)
}

// try adds a way to stand the part if the room holds it so, as a spec can say it.
func (s *fitting) try(ctx context.Context, kind string, up mesh.Vec) error {
	w := Way{Kind: kind}
	if kind != "turn" {
		up, w.Up = writtenUp(up)
	}
	holds := func(turnRad float64) (bool, error) {
		b, err := mesh.MeasureBox(ctx, s.m, mesh.NewFrame(up, turnRad, 0))
		return s.room.Over(b) <= equalErr(s.room.ZMM), err
	}
	ok, err := holds(s.par.turnRad)
	if ok || err != nil {
		if kind == "turn" {
			w.Kind = "as it stands"
		}
		s.out.List = append(s.out.List, w)
		return err
	}
	f, err := mesh.FitTurned(ctx, s.m, up, s.room)
	if err != nil || f.OverMM > equalErr(s.room.ZMM) {
		return err
	}
	for _, step := range []float64{90, 1, 0.1, 0.01, 1e-4} {
		w.TurnDeg, w.Turns = math.Round(degrees(f.TurnRad)/step)*step, true
		if ok, err = holds(w.TurnDeg * math.Pi / 180); ok || err != nil {
			s.out.List = append(s.out.List, w)
			return err
		}
	}
	return nil
}

// text says what to write for a way.
func (w *Way) text() string {
	var keys []string
	if w.Up != "" {
		keys = append(keys, "up = "+w.Up)
	}
	if w.Turns {
		keys = append(keys, fmt.Sprintf("turn = %q", w.turn()))
	}
	lead := "with "
	if w.Kind == "tilt" {
		lead = "leaned, with "
	}
	return lead + strings.Join(keys, " and ")
}

func (w *Way) turn() string { return plain(w.TurnDeg) + " deg" }

// sayWays says how a part that does not fit its machine would fit, or that it
// would not.
func (p *Subject) sayWays() string {
	var ways []string
	none, leaned := true, false
	for i, f := range p.Measured.Ways {
		none = none && f.None
		for _, w := range f.List {
			leaned = leaned || w.Kind == "tilt"
			switch {
			case i == 0:
				ways = append(ways, w.text())
			case w.Kind == "as it stands":
				ways = append(ways, "on machine "+strconv.Quote(p.others()[i-1].Name.V))
			default:
				ways = append(ways, "on machine "+strconv.Quote(p.others()[i-1].Name.V)+" "+w.text())
			}
		}
	}
	switch {
	case len(ways) > 0 && leaned:
		return "It would fit: " + strings.Join(ways, "; or ") + ". Run corbel orient to see what such a way costs."
	case len(ways) > 0:
		return "It would fit: " + strings.Join(ways, "; or ") + "."
	case none:
		return "It fits in no direction, at no turn, and on no other machine of the shop for this process and material: split the part, or find another machine."
	}
	return "No direction was found in which it fits, on this machine or on another of the shop for this process and material; one that leaves next to no room may be there. Split the part, or find another machine."
}

// wayFixes are the edits that stand the part so that its machine holds it.
func (p *Subject) wayFixes() (out []spec.Fix) {
	if len(p.Measured.Ways) == 0 {
		return nil
	}
	for _, w := range p.Measured.Ways[0].List {
		c := Standing{Text: w.Up, IsNow: w.Up == ""}
		if w.Turns {
			c.Turn = w.turn()
		}
		if edits := orientEdits(p.Spec, &c); len(edits) > 0 {
			f := joinEdits(p.Spec.Doc.Text, edits)
			f.Title = "Stand the part " + w.text()
			out = append(out, f)
		}
	}
	return out
}

// joinEdits makes one edit of several.
func joinEdits(text []byte, edits []spec.Fix) spec.Fix {
	out := edits[0]
	for _, e := range edits[1:] {
		out.At.Start, out.At.End = min(out.At.Start, e.At.Start), max(out.At.End, e.At.End)
	}
	moved := make([]spec.Fix, len(edits))
	for i, e := range edits {
		moved[i] = spec.Fix{At: spec.Range{Start: e.At.Start - out.At.Start, End: e.At.End - out.At.Start}, Text: e.Text}
	}
	out.Text = string(Apply(text[out.At.Start:out.At.End], moved))
	return out
}
