package page

import (
	"bytes"
	"compress/flate"
	"encoding/base64"
	"encoding/binary"
	"math"
)

// packer writes lists of whole numbers: the difference of each to the one
// before, its sign in the last bit, in groups of seven bits. Deflated, a mesh
// takes about six bytes a facet. The page's script reads the lists in order.
type packer struct{ buf []byte }

// add appends a list; numbers and their differences fit 31 bits.
func (p *packer) add(list []int32) {
	last := int32(0)
	for _, v := range list {
		d := v - last
		last = v
		p.buf = binary.AppendUvarint(p.buf, uint64(uint32(d<<1)^uint32(d>>31)))
	}
}

// addShares appends numbers from 0 to 1 in 65535 steps.
func (p *packer) addShares(n int, share func(i int) float64) {
	list := make([]int32, n)
	for i := range list {
		list[i] = int32(math.Round(65535 * min(1, max(0, share(i)))))
	}
	p.add(list)
}

// text deflates what was added and writes it in base64.
func (p *packer) text() string {
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestCompression)
	if err == nil {
		_, err = w.Write(p.buf)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		panic("page: " + err.Error()) // a buffer takes everything
	}
	return base64.StdEncoding.EncodeToString(b.Bytes())
}
