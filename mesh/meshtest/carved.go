package meshtest

import (
	"slices"

	"corbel/mesh"
)

// Carved is a block from lo to hi with rooms taken out, each given by its least
// and largest corner. Rooms may overlap, and reach through the block's faces.
func Carved(lo, hi mesh.Vec, rooms ...[2]mesh.Vec) *mesh.Mesh {
	var at [3][]float64
	for k := range at {
		at[k] = []float64{lo[k], hi[k]}
		for _, r := range rooms {
			at[k] = append(at[k], min(max(r[0][k], lo[k]), hi[k]), min(max(r[1][k], lo[k]), hi[k]))
		}
		slices.Sort(at[k])
		at[k] = slices.Compact(at[k])
	}
	return Blocks(at[0], at[1], at[2], func(i, j, k int) bool {
		mid := mesh.Vec{(at[0][i] + at[0][i+1]) / 2, (at[1][j] + at[1][j+1]) / 2, (at[2][k] + at[2][k+1]) / 2}
		return !slices.ContainsFunc(rooms, func(r [2]mesh.Vec) bool {
			for d := range mid {
				if mid[d] < r[0][d] || mid[d] > r[1][d] {
					return false
				}
			}
			return true
		})
	})
}
