package spec

// ParsePart understands a part spec as far as it can. The part is never nil
// and holds everything that could be understood; problems are in the order of
// the text. The text must not be changed afterwards.
func ParsePart(file string, text []byte) (*Part, []Problem) {
	return DefaultBounds.ParsePart(file, text)
}

// ParseShop understands a shop file as far as it can, in the same way.
func ParseShop(file string, text []byte) (*Shop, []Problem) {
	return DefaultBounds.ParseShop(file, text)
}

// ParsePart is the package's ParsePart with bounds of the caller's.
func (b Bounds) ParsePart(file string, text []byte) (*Part, []Problem) {
	doc, problems := newDoc(text, PartFile, b)
	d := &decoder{doc: doc, problems: problems}
	p := d.part(file)
	return p, problems.sorted()
}

// ParseShop is the package's ParseShop with bounds of the caller's.
func (b Bounds) ParseShop(file string, text []byte) (*Shop, []Problem) {
	doc, problems := newDoc(text, ShopFile, b)
	d := &decoder{doc: doc, problems: problems}
	s := d.shop(file)
	return s, problems.sorted()
}
