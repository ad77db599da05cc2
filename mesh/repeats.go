package mesh

// leaveOutRepeats takes facets out that an earlier one repeats: the same three
// vertices, wound alike. It works in place and returns how many there were. A
// body that is in a file twice would have every edge shared by four facets, no
// inside, and no hole that is a bore; what is wound the other way bounds a sheet
// without thickness, and stays.
func leaveOutRepeats(facets [][3]int32) (kept [][3]int32, repeats int) {
	size := 4
	for size < 2*len(facets) {
		size *= 2
	}
	table := make([]int32, size) // open addressing; number of a kept facet and one
	kept = facets[:0]
	for _, f := range facets {
		c := leastFirst(f)
		slot := facetHash(c) & uint64(size-1)
		for table[slot] != 0 && leastFirst(kept[table[slot]-1]) != c {
			slot = (slot + 1) & uint64(size-1)
		}
		if table[slot] == 0 {
			kept = append(kept, f)
			table[slot] = int32(len(kept))
		}
	}
	return kept, len(facets) - len(kept)
}

// leastFirst turns a facet's corners round, its winding kept.
func leastFirst(f [3]int32) [3]int32 {
	switch {
	case f[1] < f[0] && f[1] < f[2]:
		return [3]int32{f[1], f[2], f[0]}
	case f[2] < f[0] && f[2] < f[1]:
		return [3]int32{f[2], f[0], f[1]}
	}
	return f
}

// facetHash mixes three numbers as splitmix64 does (Steele, Lea and Flood 2014).
func facetHash(f [3]int32) uint64 {
	z := uint64(uint32(f[0]))*0x9e3779b97f4a7c15 ^ uint64(uint32(f[1]))*0xbf58476d1ce4e5b9 ^ uint64(uint32(f[2]))*0x94d049bb133111eb
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	return z ^ z>>31
}
