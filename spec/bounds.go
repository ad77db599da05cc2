package spec

// Bounds are the sizes that a text may have. They protect time and memory from
// a hostile text before any library reads it; no text that a person writes
// comes near them.
type Bounds struct {
	Bytes    int // of the whole text
	Keys     int // headers and keys together
	Values   int // list entries and keys of inline tables together
	Depth    int // of lists and inline tables in each other
	KeyParts int // of one dotted key or header
	Problems int // that are reported; what comes after is counted in one last problem
}

// DefaultBounds is what ParsePart and ParseShop use.
var DefaultBounds = Bounds{
	Bytes:    1 << 20,
	Keys:     10_000,
	Values:   20_000,
	Depth:    8,
	KeyParts: 8,
	Problems: 200,
}
