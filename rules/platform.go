package rules

import (
	"context"
	"fmt"
	"math"

	"golang.org/x/sync/errgroup"

	"corbel/mesh"
)

// This file counts the parts that a platform takes.

// plating is a platform to be filled with a part; of no size without a machine.
type plating struct {
	plate            mesh.Platform
	spacingMM, scale float64 // scale makes the part as large as it is built
}

// plating returns what the part's machine offers.
func (p *Subject) plating(c *costs) plating {
	l := plating{spacingMM: c.spacing, scale: c.xy}
	if !c.hasMachine || !c.machine.Build.Set {
		return l
	}
	r := p.room(c.machine)
	l.plate = mesh.Platform{XMM: r.size[0], YMM: r.size[1]}
	if r.round {
		l.plate = mesh.Platform{DiameterMM: r.dia}
	}
	return l
}

func (l plating) known() bool { return l.plate != mesh.Platform{} }

func (l plating) recipe() string {
	return fmt.Sprintf("platform %g %g %g spacing %g scale %g", l.plate.XMM, l.plate.YMM, l.plate.DiameterMM, l.spacingMM, l.scale)
}

// rows is how many parts it takes by their smallest rectangles, set in rows; 0
// where none fits.
func (l plating) rows(foot [2]float64) int {
	a, b := foot[0]*l.scale, foot[1]*l.scale
	if d := l.plate.DiameterMM; d > 0 {
		if math.Hypot(a, b) > d+equalErr(d) {
			return 0
		}
		return max(1, rowsInCircle(d, a, b, l.spacingMM))
	}
	rows := func(a, b float64) int {
		return fitCount(l.plate.XMM, a, l.spacingMM) * fitCount(l.plate.YMM, b, l.spacingMM)
	}
	return max(rows(a, b), rows(b, a))
}

// count is how many it takes: in rows, or by their shadows as they stand or lie
// along its sides, where that finds room for more. A part whose rectangle does
// not fit along the sides may lie across, and a round one may be as wide as a
// round platform.
func (l plating) count(ctx context.Context, m *mesh.Mesh, frame mesh.Frame, box *mesh.OrientedBox) (int, error) {
	n := l.rows(box.FootSize)
	if !l.known() {
		return n, nil
	}
	frames := make([]mesh.Frame, 0, 5)
	for _, turn := range []float64{0, math.Pi / 2, box.FootTurn, box.FootTurn + math.Pi/2} {
		c, s := math.Cos(turn), math.Sin(turn)
		frames = append(frames, mesh.Frame{X: frame.X.Scale(c).Sub(frame.Y.Scale(s)), Y: frame.X.Scale(s).Add(frame.Y.Scale(c)), Z: frame.Z})
	}
	if n == 0 {
		room := mesh.Room{Platform: mesh.Platform{XMM: l.plate.XMM / l.scale, YMM: l.plate.YMM / l.scale, DiameterMM: l.plate.DiameterMM / l.scale}, ZMM: math.MaxFloat32}
		across, err := mesh.FitTurned(ctx, m, frame.Z, room)
		if err != nil || across.OverMM > equalErr(box.Radius) {
			return 0, err
		}
		n, frames = 1, append(frames, mesh.NewFrame(across.Up, across.TurnRad, 0))
	}
	found := make([]int, len(frames))
	g, ctx := errgroup.WithContext(ctx)
	for i, f := range frames {
		g.Go(func() error {
			var err error
			found[i], err = mesh.PlatformCount(ctx, m, f, l.plate, l.spacingMM, l.scale, math.MaxInt)
			return err
		})
	}
	err := g.Wait()
	for _, k := range found {
		n = max(n, k)
	}
	return n, err
}

// perJob is how many of the order a job holds, by rectangles alone; 0 where none
// fits. Without a machine it takes all.
func (p *Subject) perJob(c *costs, foot [2]float64) int {
	l := p.plating(c)
	if !l.known() {
		return c.quantity
	}
	return l.rows(foot)
}

// perPlatform is how many of the order a job holds, by shadows; 0 where none
// fits.
func (p *Subject) perPlatform(ctx context.Context, c *costs) (int, error) {
	l := p.plating(c)
	switch {
	case !l.known():
		return c.quantity, nil
	case p.Measured.Has(NeedPlatform):
		return p.Measured.PerPlatform, nil
	}
	return l.count(ctx, p.Mesh, p.Measured.Frame, p.Measured.Box)
}

// fitCount is how many of a length fit, with spaces between.
func fitCount(room, length, space float64) int {
	if length <= 0 {
		return 0
	}
	return max(0, int(math.Floor((room+space+equalErr(room))/(length+space))))
}

// rowsInCircle sets rectangles in rows through a round platform, the middle row
// or the middle gap on the centre line.
func rowsInCircle(dia, a, b, space float64) int {
	best := 0
	for _, side := range [][2]float64{{a, b}, {b, a}} {
		w, h := side[0], side[1]
		for _, first := range []float64{-h / 2, space / 2} {
			n := 0
			for y := first; ; y += h + space {
				far := max(math.Abs(y), math.Abs(y+h))
				if far > dia/2 {
					break
				}
				k := fitCount(2*math.Sqrt(dia*dia/4-far*far), w, space)
				if n += k; y > -h/4 {
					n += k // the mirrored row
				}
			}
			best = max(best, n)
		}
	}
	return best
}
