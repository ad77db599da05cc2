package spec

// Doc is a text with its index of keys and values and its line table.
type Doc struct {
	Text []byte
}

// ParsePart understands a part spec as far as it can. Problems are in order of place.
func ParsePart(file string, text []byte) (*Part, []Problem) {
	return &Part{File: file, Doc: &Doc{Text: text}}, nil
}

// ParseShop understands a shop file as far as it can.
func ParseShop(file string, text []byte) (*Shop, []Problem) {
	return &Shop{File: file, Doc: &Doc{Text: text}}, nil
}

// Position is a 1-based line and a 1-based column in Unicode code points.
type Position struct{ Line, Column int }

// Position returns the line and column of a byte offset. Lines end at LF, CRLF or a lone CR.
func (d *Doc) Position(offset int) Position { return Position{1, 1} }
